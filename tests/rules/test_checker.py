"""The check of whole sets and of single edits: grouping, updating, reports, odd content."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import calib_model.rules  # noqa: F401  (registers every kind of rule)
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import KINDS, Rule, Severity
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.rules.check import Checker, Report, check
from calib_model.rules.limits import Bounds, Locked
from calib_model.rules.plausibility import BranchOrder, Covers
from calib_model.rules.relations import Hysteresis, RateWithin, Relation, ZeroWithin
from calib_model.rules.shape import (
    Curvature,
    EqualsAt,
    FixedValue,
    Kink,
    Monotone,
    ProductRises,
    Slope,
    Symmetry,
    ZeroEnd,
)
from tests.rules.making import axis, curve, plane, scalar

# -- sets with every kind of rule ----------------------------------------------------------------

CURVE_RULES: tuple[Rule, ...] = (
    Monotone("pedal"),
    Slope("pedal", 3.0, -3.0),
    Curvature("pedal"),
    Kink("pedal", 2.0),
    Symmetry("pedal"),
    ProductRises("pedal"),
    ZeroEnd("pedal"),
    FixedValue(1.0),
    Bounds(-2.0, 2.0),
    Covers("pedal", 0.0, 100.0),
    EqualsAt((1.5,), 1.0),
    Locked(((1.0,),), (1.0,)),
)
IDS = ("a", "b", "c", "m", "n", "s")


def paired_rules(other: str) -> tuple[Rule, ...]:
    return (
        Relation(other, ">="),
        Hysteresis(other, 0.5),
        RateWithin("pedal", 2.0, other),
        ZeroWithin("pedal", other),
        BranchOrder(other, "pedal"),
    )


ALL_RULES = CURVE_RULES + tuple(r for other in IDS for r in paired_rules(other))
cell_values = st.sampled_from([0.0, 1.0, 1.5, -1.0, 2.0, 10.0, 0.1, np.nan, np.inf, -np.inf, 1e308])
storages = st.sampled_from([Storage(), Storage("float32"), Storage.of("int8", "0.5")])
breakpoints = st.sampled_from([[0.0, 1.0, 2.0], [0.0, 1.0, 1.0], [2.0, 1.0, 0.0], [-1.0, 0.0, 1.0]])


@st.composite
def tables(draw: st.DrawFn, id: str) -> Table:
    count = {"m": 2, "n": 2, "s": 0}.get(id, 1)
    axes = tuple(axis(q, draw(breakpoints)) for q in ("pedal", "vehicle_speed")[:count])
    shape = (3,) * count
    cells = draw(st.lists(cell_values, min_size=3**count, max_size=3**count))
    rules = draw(st.lists(st.sampled_from(ALL_RULES), max_size=4, unique=True))
    relations = draw(st.sampled_from([{}, {"low": ">="}, {"low": "zero"}, {"low": "=="}]))
    return Table(
        id,
        np.reshape(cells, shape),
        axes,
        unit="N.m",
        rules=tuple(rules),
        storage=draw(storages),
        relations=relations,
        lower=-5.0,
    )


@st.composite
def sets(draw: st.DrawFn, mode: str) -> CalibrationSet:
    ids = draw(st.lists(st.sampled_from(IDS), unique=True, max_size=len(IDS)))
    return CalibrationSet([draw(tables(i)) for i in ids], mode=mode, base_mode="base")


def same(first: Report, second: Report) -> None:
    assert list(map(_said, first.findings)) == list(map(_said, second.findings))
    assert set(first.not_checked) == set(second.not_checked)
    for id in first.by_table:
        assert list(map(_said, first.of(id))) == list(map(_said, second.of(id)))


def _said(finding: Any) -> tuple[Any, ...]:
    # NaN is no number to itself, so the amounts are compared as texts.
    return (finding.table, finding.rule, finding.cells, str(finding.amount), finding.message)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(data=st.data())
def test_update_after_any_edits_equals_a_full_check(data: st.DataObject) -> None:
    content = data.draw(sets("low"))
    against = data.draw(st.lists(sets("base"), max_size=1))
    checker = Checker(content, against)
    same(checker.report, check(content, against))
    for _ in range(data.draw(st.integers(1, 3))):
        id = data.draw(st.sampled_from(IDS))
        new = data.draw(st.none() | tables(id))
        if new is None and id not in content:
            continue
        content = content.replaced({id: new})
        same(checker.update(content, [id]), check(content, against))


@settings(max_examples=40, deadline=None, derandomize=True)
@given(data=st.data())
def test_the_base_set_updates_against_its_mode_sets(data: st.DataObject) -> None:
    content = data.draw(sets("base"))
    against = [data.draw(sets("low"))]
    checker = Checker(content, against)
    id = data.draw(st.sampled_from(IDS))
    content = content.replaced({id: data.draw(tables(id))})
    same(checker.update(content, [id]), check(content, against))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(data=st.data())
def test_stacked_tables_are_judged_like_single_ones(data: st.DataObject) -> None:
    """Fifteen tables of one shape in one sweep, or each in a set of its own."""
    rules = tuple(
        data.draw(st.lists(st.sampled_from(CURVE_RULES), min_size=1, max_size=4, unique=True))
    )
    count = data.draw(st.integers(2, 6))
    group = []
    for number in range(count):
        cells = data.draw(st.lists(cell_values, min_size=3, max_size=3))
        x, storage = data.draw(breakpoints), data.draw(storages)
        group.append(curve(x, cells, *rules, id=f"t{number}", storage=storage))
    together = check(CalibrationSet(group))
    for table in group:
        alone = check(CalibrationSet([table]))
        # Stacking may put rules that look at one table alone behind the others.
        assert sorted(map(_said, alone.findings)) == sorted(map(_said, together.of(table.id)))
        assert set(alone.not_checked) == set(together.not_checked_by_table[table.id])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(data=st.data())
def test_no_content_makes_a_check_stumble(data: st.DataObject) -> None:
    """Empty, infinite and disordered content gives findings, never an exception or a warning."""
    report = check(data.draw(sets("low")), [data.draw(sets("base"))])
    for finding in report.findings:
        assert finding.cells
        assert finding.message
        assert len(finding.axis_values) == len(finding.cells)
        assert finding.source.kind == finding.rule


# -- update reads what it must and no more -----------------------------------------------------


def test_an_edit_of_a_partner_is_seen() -> None:
    own = curve([0, 1], [5, 5], Relation("u", ">="))
    content = CalibrationSet([own, scalar(4.0, id="u")])
    checker = Checker(content)
    assert checker.report.sound
    content = content.with_table(content["u"].with_values(6.0))
    assert [f.table for f in checker.update(content, ["u"]).findings] == ["t"]
    content = content.replaced({"u": None})
    report = checker.update(content, ["u"])
    assert report.findings == ()
    assert [n.table for n in report.not_checked] == ["t"]
    content = content.with_table(scalar(1.0, id="u"))
    assert checker.update(content, ["u"]).not_checked == ()


def test_an_edit_leaves_other_tables_findings_alone() -> None:
    content = CalibrationSet(
        [curve([0, 1], [1, 0], Monotone("pedal"), id=f"t{n}") for n in range(5)]
    )
    checker = Checker(content)
    before = checker.report
    content = content.with_table(content["t2"].with_values([0, 1]))
    after = checker.update(content, ["t2"])
    assert after.of("t2") == ()
    for id in ("t0", "t1", "t3", "t4"):
        assert after.of(id) is before.of(id)


def test_findings_of_an_added_table_stand_in_the_sets_order() -> None:
    bad = [curve([0, 1], [1, 0], Monotone("pedal"), id=id) for id in ("a", "b", "c")]
    without = CalibrationSet([bad[0], bad[2]])
    checker = Checker(without)
    content = CalibrationSet(bad)
    report = checker.update(content, ["b"])
    assert [f.table for f in report.findings] == ["a", "b", "c"]


# -- report ------------------------------------------------------------------------------------


def test_the_gravest_first_and_what_counts() -> None:
    content = CalibrationSet(
        [
            curve([0, 1], [1, 0], Monotone("pedal", severity=Severity.NOTE), id="n"),
            curve([0, 1], [1, 0], Monotone("pedal", severity=Severity.WARNING), id="w"),
            curve([0, 1], [1, 0], Monotone("pedal"), id="e"),
        ]
    )
    report = check(content)
    assert [f.table for f in report.findings] == ["e", "w", "n"]
    assert report.counts() == (1, 1, 1)
    assert report.counts("w") == (0, 1, 0)
    assert not report.sound
    assert check(content.replaced({"e": None, "w": None})).sound  # notes do not count


def test_a_report_of_some_tables_only() -> None:
    content = CalibrationSet(
        [curve([0, 1], [1, 0], Monotone("pedal"), id=f"t{n}") for n in range(3)]
    )
    assert [f.table for f in Checker(content, only=["t1"]).report.findings] == ["t1"]


def test_tables_with_three_and_four_axes_are_checked() -> None:
    for count in (3, 4):
        axes = tuple(Axis([0, 1, 2], quantity=q) for q in "abcd"[:count])
        z = np.indices((3,) * count).sum(axis=0).astype(float)
        z[(1,) * count] = -1
        (finding,) = check(
            CalibrationSet([Table("t", z, axes, rules=(Monotone("d" if count == 4 else "c"),))])
        ).of("t")
        # From (1, ..., 0) with 1 * (count - 1) down to -1.
        assert finding.amount == count - 1 + 1
        assert (1,) * count in finding.cells


def test_a_map_and_a_curve_of_one_size_do_not_mix() -> None:
    rule = Monotone("pedal")
    content = CalibrationSet(
        [
            curve([0, 1, 2, 3], [0, 2, 1, 3], rule, id="curve"),
            plane([0, 1], [0, 1], [[0, 2], [1, 3]], rule, id="map"),
            curve([0, 1, 2, 3], [0, 2, 1, 3], rule, id="speed", of="vehicle_speed"),
        ]
    )
    report = check(content)
    assert [(f.table, f.rule) for f in report.findings] == [("curve", "monotone")]
    assert [n.table for n in report.not_checked] == ["speed"]


# -- rules as plain data -------------------------------------------------------------------------


def test_every_kind_states_itself_and_has_a_remedy_or_is_meant_not_to() -> None:
    table = curve([0, 1, 2], [0, 1, 2], id="t", relations={"low": ">="})
    for rule in ALL_RULES:
        assert rule.statement(table)
        assert rule.remedies
    assert {r.kind for r in ALL_RULES} < set(KINDS)


@pytest.mark.parametrize("rule", ALL_RULES, ids=lambda r: r.kind)
def test_rules_are_values(rule: Rule) -> None:
    from calib_model.core.rule_plain import rule_from_plain

    again = rule_from_plain(rule.to_plain())
    assert again == rule
    assert hash(again) == hash(rule)
