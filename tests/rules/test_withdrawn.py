"""What was taken away is a finding: nobody gets a clean check by removing rules."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import table_digest
from calib_model.core.record_items import Decision, Outcome
from calib_model.core.rule import Severity
from calib_model.core.table import Table
from calib_model.rules.check import check
from calib_model.rules.limits import Bounds, Locked
from calib_model.rules.shape import Monotone
from calib_model.rules.withdrawn import withdrawn

RISES = Monotone("pedal", reason="as agreed")
BEFORE = CalibrationSet(
    [
        Table(
            "a", [1.0, 2.0, 3.0], (Axis([0, 50, 100], quantity="pedal", unit="%"),), unit="N.m",
            lower=0, upper=9, role="slip_target", relations={"low": ">="},
            rules=(RISES, Bounds(0, 5), Locked(((0.0,),), (1.0,))),
        ),
        Table("b", 1.0),
    ],
    mode="normal", base_mode="normal",
)  # fmt: skip
A = BEFORE["a"]


def found(after: Table | None) -> list[tuple[str, str]]:
    content = BEFORE.replaced({"a": after})
    return [(str(f.severity), f.message) for f in withdrawn(content, BEFORE)]


@pytest.mark.parametrize(
    ("edit", "severity", "said"),
    [
        (lambda: replace(A, rules=A.rules[1:]), "warning", "`never falls with pedal` is gone"),
        (lambda: replace(A, rules=(replace(RISES, off=True), *A.rules[1:])), "warning",
         "is turned off"),
        (lambda: replace(A, rules=(replace(RISES, severity=Severity.NOTE), *A.rules[1:])),
         "warning",
         "weighs less: note, not error"),
        (lambda: replace(A, rules=(RISES, Bounds(0, 4))), "note", "is `within 0 to 4 N·m` now"),
        (lambda: replace(A, relations={}), "warning", "(>=) is gone"),
        (lambda: replace(A, relations={"low": "free"}), "warning", "is free now"),
        (lambda: replace(A, role=""), "warning", "no longer plays slip_target; no table does"),
        (lambda: replace(A, upper=float("inf")), "warning", "upper limit is gone"),
        (lambda: replace(A, lower=-5), "note", "lower limit is wider"),
        (lambda: None, "warning", "The table is gone (since the reference)."),
    ],
)  # fmt: skip
def test_each_way_of_taking_away_is_named(
    edit: Callable[[], Table | None], severity: str, said: str
) -> None:
    ((weight, message),) = found(edit())
    assert weight == severity
    assert said in message


def test_an_axis_that_reads_nothing_is_named() -> None:
    bare = replace(A.axes[0], quantity="", name="pedal")
    ((severity, message),) = found(replace(A, axes=(bare,)))
    assert (severity, "read pedal and reads nothing now" in message) == ("warning", True)


@pytest.mark.parametrize(
    "edit",
    [
        lambda: A,
        lambda: replace(A, values=[1.0, 2.5, 3.0], name="Other", description="x"),
        lambda: replace(A, rules=(replace(RISES, reason="said better"), *A.rules[1:])),
        lambda: replace(A, rules=(*A.rules, Bounds(0, 3))),
        lambda: replace(A, rules=A.rules[:2]),  # a lock is let go in daily work
        lambda: replace(A, upper=8),
        lambda: replace(A, rules=(replace(RISES, severity=Severity.ERROR), *A.rules[1:])),
    ],
)
def test_what_takes_nothing_away_is_not_named(edit: Callable[[], Table]) -> None:
    assert found(edit()) == []


def test_a_rule_loosened_over_a_breach_says_what_it_hides() -> None:
    """Where the rule as it stood would speak up now, its change is what made the check clean."""
    high = replace(A, values=[1.0, 2.0, 8.0], rules=(RISES, Bounds(0, 9)))
    after = BEFORE.with_table(high)
    assert check(after).findings == ()
    (one,) = withdrawn(after, BEFORE)
    assert one.severity is Severity.WARNING
    assert "it would say now: 8 N·m at 100 % is above the largest allowed value" in one.message


def test_a_role_that_another_table_took_over_is_a_note() -> None:
    after = BEFORE.replaced(
        {"a": replace(A, role=""), "b": replace(BEFORE["b"], role="slip_target")}
    )
    (one,) = withdrawn(after, BEFORE)
    assert (one.severity, "b does now" in one.message) == (Severity.NOTE, True)


@pytest.mark.parametrize("gone", [False, True])
def test_a_reviewer_who_accepts_it_settles_it(gone: bool) -> None:
    bare = None if gone else replace(A, rules=())
    after = BEFORE.replaced({"a": bare})
    digest = table_digest(bare) if bare is not None else ""
    decision = Decision(table="a", digest=digest, by="Ines", time="2026-01-01T00:00:00Z")
    settled = after.with_record(after.record.changed([(None, decision)]))
    assert all(f.waived for f in withdrawn(settled, BEFORE))
    query = replace(decision, outcome=Outcome.QUERIED, comment="why?")
    asked = after.with_record(after.record.changed([(None, query)]))
    assert not any(f.waived for f in withdrawn(asked, BEFORE))
    if bare is not None:
        edited = settled.with_table(replace(bare, values=[1.0, 2.0, 2.5]))
        assert not any(f.waived for f in withdrawn(edited, BEFORE))
