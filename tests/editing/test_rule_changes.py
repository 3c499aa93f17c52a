"""Rules of tables as changes: whole, taken back, and nothing else touched."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import digest
from calib_model.core.rule import Range, Rule
from calib_model.editing.change import apply, change_from_plain, change_to_plain
from calib_model.editing.locks import locked_cells
from calib_model.editing.rule_changes import (
    Selection,
    add_rule,
    change_rules,
    exchange_rule,
    remove_rules,
    switch_rules,
)
from calib_model.errors import EditRefused, ModelError
from calib_model.rules.check import Checker, check
from calib_model.rules.limits import Bounds, Limits, Locked
from calib_model.rules.preview import preview
from calib_model.rules.relations import Relation
from calib_model.rules.shape import EqualsAt, FixedValue, Monotone
from calib_model.rules.step import Step
from calib_model.shaping.repair import repair
from tests.rules.making import curve, findings, plane, report

RISES = Monotone("pedal", "up")
FALLS = Monotone("pedal", "down", reason="as it was")


def two(*rules: Rule) -> CalibrationSet:
    return CalibrationSet(
        [
            curve([0, 50, 100], [1, 3, 2], *rules, id="slip_a", role="slip_gain", name="Slip one"),
            curve([0, 50, 100], [1, 2, 3], *rules, id="slip_b", name="Slip two"),
            curve([0, 50, 100], [3, 2, 1], id="other"),
        ]
    )


rules = st.sampled_from(
    [RISES, FALLS, Bounds(0, 9), Step("pedal", 2.0), FixedValue(3.0), replace(RISES, off=True)]
)
acts = st.lists(
    st.tuples(st.sampled_from(["add", "change", "remove", "off", "on"]), rules, st.sets(
        st.sampled_from(["slip_a", "slip_b", "other"]), min_size=1)),
    min_size=1,
    max_size=8,
)  # fmt: skip


@settings(max_examples=60, deadline=None, derandomize=True)
@given(acts=acts)
def test_each_change_is_taken_back_and_survives_the_journal(
    acts: list[tuple[str, Rule, set[str]]],
) -> None:
    content = two(FALLS)
    for verb, rule, ids in acts:
        kind = rule.kind
        if verb == "add":
            change = add_rule(content, sorted(ids), rule)
        elif verb == "change":
            change = change_rules(
                content,
                sorted(ids),
                lambda r, kind=kind: r.kind == kind,
                lambda r: replace(r, reason="said anew"),
            )
        elif verb == "remove":
            change = remove_rules(content, sorted(ids), lambda r, kind=kind: r.kind == kind)
        else:
            change = switch_rules(
                content, sorted(ids), lambda r, kind=kind: r.kind == kind, on=verb == "on"
            )
        after = apply(content, change)
        assert apply(after, change.inverse()) == content
        assert apply(content, change_from_plain(change_to_plain(change))) == after
        for table in content:
            assert np.array_equal(after[table.id].values, table.values)
            if table.id not in ids:
                assert after[table.id] is table
        for id in ids:
            mine = [r for r in after[id].rules if r.kind == kind]
            if verb == "add":
                assert rule in mine
                assert len(after[id].rules) == len(set(after[id].rules))
            elif verb == "change":
                assert all(r.reason == "said anew" for r in mine)
            elif verb == "remove":
                assert not mine
            else:
                assert all(r.off is (verb == "off") for r in mine)
        content = after


def test_adding_to_a_pattern_is_one_change_with_its_count() -> None:
    content = two()
    change = add_rule(content, Selection(id="slip_*").of(content), RISES)
    assert (change.title, change.tables) == ("Add rule monotone to 2 tables", ("slip_a", "slip_b"))
    assert Selection(role="slip_*").of(content) == ("slip_a",)
    assert Selection(id="*", name="Slip*").of(content) == ("slip_a", "slip_b")


def test_a_rule_that_is_off_says_nothing_and_binds_nothing() -> None:
    on, off = two(RISES), two(replace(RISES, off=True))
    assert [f.rule for f in check(on).of("slip_a")] == ["monotone"]
    assert check(off).findings == ()
    assert repair(off, "slip_a").is_empty
    assert not repair(on, "slip_a").is_empty
    held = Locked(((50.0,),), (3.0,), off=True)
    assert not locked_cells(curve([0, 50, 100], [1, 3, 2], held)).any()


def test_turning_off_and_on_is_noticed_by_a_running_check() -> None:
    content = two(RISES)
    checker = Checker(content)
    for on, expected in ((False, 0), (True, 1)):
        change = switch_rules(content, ["slip_a"], lambda rule: True, on=on)
        content = apply(content, change)
        assert len(checker.update(content, change.tables).of("slip_a")) == expected


def test_only_what_is_off_shows_in_the_digest() -> None:
    plain = two(RISES)
    off = two(replace(RISES, off=True))
    assert digest(plain) != digest(off)
    assert digest(plain) == digest(two(Monotone("pedal", "up", off=False)))


def test_adding_a_rule_that_is_off_turns_it_on() -> None:
    content = two(replace(RISES, off=True))
    after = apply(content, add_rule(content, ["slip_a"], RISES))
    assert after["slip_a"].rules == (RISES,)


def test_a_rule_is_exchanged_where_it_stood() -> None:
    content = two(FALLS, Bounds(0, 9))
    after = apply(content, exchange_rule(content, "slip_a", FALLS, RISES))
    assert after["slip_a"].rules == (RISES, Bounds(0, 9))
    with pytest.raises(EditRefused, match="any more"):
        exchange_rule(after, "slip_a", FALLS, RISES)


@pytest.mark.parametrize(
    ("rule", "message"),
    [
        (Monotone("pedl"), "slip_a has no axis 'pedl'. Did you mean pedal"),
        (Relation("slip_x", ">="), "no table 'slip_x'.*Did you mean slip_"),
        (Relation("slip_a", ">="), "cannot be held against itself"),
        (Bounds(0, 1, scope=(Range("speed"),)), "no axis 'speed'"),
        (EqualsAt((1.0, 2.0), 3.0), "2 values, the axes of slip_a are 1"),
        (Limits(), "limits is no rule to add: it is in force for every table"),
        (Locked(), "locked is no rule to add: lock the cells"),
    ],
)
def test_what_would_never_be_looked_at_is_refused(rule: Rule, message: str) -> None:
    with pytest.raises(EditRefused, match=message):
        add_rule(two(), ["slip_a"], rule)


def test_a_pattern_that_fits_nothing_names_the_nearest() -> None:
    with pytest.raises(ModelError, match="Did you mean slip_a"):
        Selection(id="slipa").of(two())
    with pytest.raises(ModelError, match="Did you mean slip_gain"):
        Selection(role="slip_gian").of(two())


def test_removing_leaves_locks() -> None:
    content = two(Locked(((50.0,),), (3.0,)), FALLS)
    after = apply(content, remove_rules(content, ["slip_a"], lambda rule: True))
    assert [r.kind for r in after["slip_a"].rules] == ["locked"]


# -- previews ------------------------------------------------------------------------------


def test_a_preview_says_what_the_rule_would_name_once_kept() -> None:
    content = two(FALLS)
    shown = preview(content, ["slip_a", "slip_b", "other"], RISES)
    kept = apply(content, add_rule(content, shown.tables, RISES))
    told = [f for f in check(kept).findings if f.source == RISES]
    assert list(shown.findings) == told
    assert shown.words == "It holds in 1 of 3 tables and names 3 places in 2."
    assert shown.findings[0].axis_values[0] == (50.0,)


def test_a_preview_tells_where_it_cannot_be_evaluated() -> None:
    shown = preview(two(), ["slip_a"], Monotone("vehicle_speed"))
    assert "does not have" in shown.not_checked[0].reason
    assert shown.words == "It holds in 0 of 1 table and cannot be evaluated in 1."


def test_a_preview_of_a_rule_that_is_off_still_looks() -> None:
    assert preview(two(), ["slip_a"], replace(RISES, off=True)).findings


# -- the bounded step ----------------------------------------------------------------------


def test_steps_are_bounded_or_none() -> None:
    (found,) = findings(curve([0, 50, 100], [1, 1.5, 4], Step("pedal", 2.0)))
    assert (found.cells, found.amount) == (((2,), (1,)), 0.5)
    assert (
        "2.5 N·m away from its neighbour at 100 %; allowed are steps of at most 2" in found.message
    )
    level = plane([0, 50], [0, 10], [[1, 1], [2, 2.5]], Step("vehicle_speed"))
    (found,) = findings(level)
    assert "0.5 N·m away from its neighbour at 50 %, 10 km/h; it must be the same" in found.message
    assert not report(curve([0, 50], [1, 1], Step("pedal"))).findings
