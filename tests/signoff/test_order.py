"""Order is not signed, so nothing may depend on it: neither that of tables nor of the record."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib_model.controller.binding import bind
from calib_model.controller.constants import LARCH
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import digest
from calib_model.core.record import (
    Complaint,
    Decision,
    Drive,
    Level,
    Maturity,
    Outcome,
    Record,
    Remark,
    Trial,
    Waiver,
    new_id,
)
from calib_model.core.record_items import FIELD_OF
from calib_model.core.record_plain import record_from_plain, record_to_plain, rule_text
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.errors import EditRefused
from calib_model.evidence.grades import grades
from calib_model.rules.check import Checker, check
from calib_model.rules.limits import Bounds
from calib_model.session.complaints import by_number
from calib_model.signoff.decisions import decide, give_level
from calib_model.signoff.gate import Obstacle, gate
from calib_model.signoff.verification import State, verify
from calib_model.store import read_set, write_set
from tests.signoff.making import (
    INES,
    NOW,
    START,
    accepted,
    added,
    allowed,
    signed,
    signed_off,
    small_set,
)

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


def shuffled(content: CalibrationSet, seed: int) -> CalibrationSet:
    """The set with its tables and every part of its record in another order."""
    shake = random.Random(seed)
    tables = list(content.tables)
    shake.shuffle(tables)
    parts = {}
    for name in FIELD_OF.values():
        items = list(getattr(content.record, name))
        shake.shuffle(items)
        parts[name] = tuple(items)
    return replace(
        content, tables={id: content.tables[id] for id in tables}, record=Record(**parts)
    )


def answers(content: CalibrationSet) -> tuple[object, ...]:
    """What verification, gate and grades say, lists of tables apart from their order."""
    found = verify(content, allowed(), now=NOW)
    list_ = gate(content, check(content), signers=allowed(), now=NOW)
    graded = grades(content, None, content.record.drives)
    return (
        replace(found, changed_since=tuple(sorted(found.changed_since, key=repr))),
        sorted(map(repr, list_.items)),
        dict(list_.changed),
        sorted(list_.accepted),
        list_.since,
        dict(graded.tables),
    )


def _visits(seconds: float, value: float) -> str:
    return (
        '{"version":1,"stated":false,"match":"","tables":{"base":{"unit":"N.m","axes":'
        f'[["vehicle_speed","km/h"]],"chain":false,"places":[[10]],"seconds":[{seconds}],'
        f'"decided":[0],"values":[{value}]}}}}}}'
    )


def busy_set() -> CalibrationSet:
    """A signed-off set on which much was said, some of it at one moment and some without a time."""
    rule = rule_text(Bounds(upper=1.0).to_plain())
    content = signed_off()
    time = "2026-01-10T11:00:00Z"
    return added(
        content,
        *(Remark(text=f"{n}", author="Ines", time=time, table="base") for n in range(3)),
        *(
            Waiver(table="base", rule=rule, places=((0.0,), (20.0,)), size=size, unit="N.m",
                   reason="meant", author="Ada", approver=by, time=time)
            for size, by in ((5.0, "Ines"), (5.0, "Rob"), (0.1, ""))
        ),
        *(
            Decision(table="brake", outcome=outcome, by=by, time=when, comment="?")
            for outcome, by, when in (
                (Outcome.QUERIED, "Ines", time), (Outcome.ACCEPTED, "Ada", time),
                (Outcome.QUERIED, "Rob", ""), (Outcome.ACCEPTED, "Rob", "noon"),
            )
        ),
        *(Maturity(table="base", level=level, by="Ada", time=time) for level in Level),
        Trial(vehicle="7", trip="Snow", expires="2026-03-01", time=time),
        Trial(vehicle="8", trip="Snow", expires="2026-02-01", time=time),
        Complaint(number="C-1", note="spins", by="Ada", time=time),
        Drive(name="one.csv", visits=_visits(2.0, 2.0), time=time),
        Drive(name="two.csv", visits=_visits(3.0, 1.0), time=time),
        Drive(name="three.csv", visits=_visits(3.0, 2.0)),
    )  # fmt: skip


@settings(max_examples=40)
@given(st.integers(0, 2**32))
def test_no_order_changes_what_is_said(seed: int) -> None:
    content = busy_set()
    other = shuffled(content, seed)
    assert other.record == content.record
    assert digest(other) == digest(content)
    assert answers(other) == answers(content)


@pytest.mark.usefixtures("reading_process")
@settings(max_examples=10)
@given(st.integers(0, 2**32))
def test_nor_does_the_order_in_a_file(tmp_path_factory: pytest.TempPathFactory, seed: int) -> None:
    content = busy_set()
    listed = record_to_plain(content.record)
    random.Random(seed).shuffle(listed)
    path = tmp_path_factory.mktemp("order") / "x.h5"
    # As somebody else would write them: nothing known, everything in another order.
    write_set(path, content.with_record(Record()), records=listed)
    assert read_set(path).set.record == content.record
    assert record_from_plain(listed) == (content.record, ())


def test_a_query_is_not_turned_into_an_acceptance() -> None:
    content = apply(
        accepted(signed(small_set())),
        decide(small_set(), ["base"], Outcome.QUERIED, by="Ines", comment="Why?",
               now=START + timedelta(hours=2)),
    )  # fmt: skip
    content = signed(content, INES, "Ines", "reviewer", START + timedelta(hours=3))
    turned = content.with_record(replace(content.record, decisions=content.record.decisions[::-1]))
    assert verify(turned, allowed(), now=NOW).state is State.SIGNED_OFF  # the digest cannot tell
    assert turned.record.latest_decisions["base"].outcome is Outcome.QUERIED


def test_nor_an_estimate_into_driven() -> None:
    content = small_set()
    for level, hours in ((Level.DRIVEN, 1), (Level.ESTIMATED, 2)):
        content = apply(
            content,
            give_level(
                content, ["base"], level, by="Ada", undriven={}, now=START + timedelta(hours=hours)
            ),
        )
    turned = content.with_record(
        replace(content.record, maturities=content.record.maturities[::-1])
    )
    assert turned.record.latest_maturities["base"].level is Level.ESTIMATED


def test_what_is_decided_later_counts_even_where_a_clock_was_ahead() -> None:
    ahead = decide(
        small_set(), ["base"], Outcome.QUERIED, by="Ines", comment="?", now=NOW + timedelta(hours=1)
    )
    content = apply(small_set(), ahead)
    for _ in range(3):  # and again within the same second
        content = apply(content, decide(content, ["base"], Outcome.ACCEPTED, by="Ada", now=NOW))
        assert content.record.latest_decisions["base"].outcome is Outcome.ACCEPTED
        content = apply(
            content, decide(content, ["base"], Outcome.QUERIED, by="Ines", comment="?", now=NOW)
        )
        assert content.record.latest_decisions["base"].outcome is Outcome.QUERIED
    last = added(content, Decision(table="base", by="Eve", time="9999-12-31T23:59:59Z"))
    after = apply(last, decide(last, ["base"], Outcome.QUERIED, by="Ines", comment="?", now=NOW))
    assert after.record.latest_decisions["base"].by == "Ines"


def test_ids_made_later_sort_later() -> None:
    ids = [new_id() for _ in range(1000)]
    assert sorted(ids) == ids


def _twice() -> CalibrationSet:
    content = read_set(SAMPLES / "larch_normal.h5").set
    table = content.by_role("cruise_base_torque")
    assert table is not None
    rival = replace(table, id="rival", values=table.values * 2)
    return content.with_table(rival)


def test_of_two_tables_with_one_role_neither_drives_and_both_block() -> None:
    content = _twice()
    ours = next(t.id for t in content if t.role == "cruise_base_torque")
    for given_ in (content, content.replaced({}, order=("rival", *list(content.tables)[:-1]))):
        bound = bind(given_, LARCH)
        assert "cruise_base_torque" not in bound.tables
        assert "rival" in bound.unusable["cruise_base_torque"]
        assert given_.by_role("cruise_base_torque") is None
        found = [f for f in check(given_).findings if f.rule == "one_role"]
        assert {f.table for f in found} == {ours, "rival"}
        blocked = gate(given_, check(given_), now=NOW).blocking("author")
        assert {i.table for i in blocked if i.kind is Obstacle.FINDING} >= {ours, "rival"}


def test_the_finding_comes_and_goes_with_an_edit() -> None:
    content = _twice()
    checker = Checker(content)
    ours = next(t.id for t in content if t.role == "cruise_base_torque")
    cured = content.with_table(replace(content["rival"], role=""))
    report = checker.update(cured, ["rival"])
    assert not [f for f in report.findings if f.rule == "one_role"]
    report = checker.update(content, ["rival"])
    assert [f.table for f in report.findings if f.rule == "one_role"] == [ours, "rival"]
    report = checker.update(content.replaced({"rival": None}), ["rival"])
    assert not [f for f in report.findings if f.rule == "one_role"]


def test_tables_may_share_what_is_no_part_of_the_controller() -> None:
    content = CalibrationSet([Table("a", 1.0, role="own"), Table("b", 1.0, role="own")])
    assert check(content).sound


def test_a_number_that_two_complaints_share_names_neither() -> None:
    content = added(small_set(), Complaint(number="C-1"), Complaint(number="c-1"))
    with pytest.raises(EditRefused, match="2 complaints"):
        by_number(content, "C-1")
