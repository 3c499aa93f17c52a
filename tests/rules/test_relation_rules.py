"""Rules between tables and between modes: worked by hand, and against SciPy and numpy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Range, Rule
from calib_model.core.table import Table
from calib_model.rules.check import check
from calib_model.rules.nodes import union_nodes
from calib_model.rules.relations import Hysteresis, RateWithin, Relation, ZeroWithin
from tests.rules.making import (
    axis,
    curve,
    findings,
    only,
    plane,
    raster,
    report,
    scalar,
    steps,
)

quick = settings(max_examples=50, deadline=None, derandomize=True)
whole = st.integers(-8, 8).map(float)
LOW = {"low_grip": ">="}

# -- relation --------------------------------------------------------------------------------


def test_at_least_another_table() -> None:
    own = curve([0, 10], [5, 5], Relation("u", ">="))
    # At 10 % the other holds 7: 5 misses by 2.
    finding = only(own, curve([0, 10], [4, 7], id="u"))
    assert finding.cells == ((1,),)
    assert (finding.amount, finding.unit) == (2.0, "N.m")
    assert finding.message == ("5 N·m at 10 %; it must be at least 7 N·m, since u is 7 N·m there.")
    assert findings(own, curve([0, 10], [4, 5], id="u")) == []


@pytest.mark.parametrize(
    ("sense", "own", "misses"),
    [("<=", 4.5, 0.5), ("<=", 4.0, 0), ("==", 4.5, 0.5), ("==", 3.5, 0.5), (">=", 3.0, 1.0)],
)
def test_senses_with_factor_and_offset(sense: str, own: float, misses: float) -> None:
    # 0.5 * 6 + 1 = 4.
    table = scalar(own, Relation("u", sense, factor=0.5, offset=1.0))
    found = findings(table, scalar(6.0, id="u"))
    assert [f.amount for f in found] == ([] if misses == 0 else [pytest.approx(misses)])


def test_unequal_axes_are_compared_at_the_nodes_of_both() -> None:
    # Own: 0 to 10 straight. Other: 0, then 9 at 50 %, then 10. At 50 % own reads 5, 4 below 9,
    # though at the own nodes nothing is wrong.
    own = curve([0, 100], [0, 10], Relation("u", ">="))
    finding = only(own, curve([0, 50, 100], [0, 9, 10], id="u"))
    assert finding.cells == ((0,), (1,))
    assert finding.amount == pytest.approx(4)
    assert "5 N·m at 50 %" in finding.message


def test_an_input_only_the_other_reads_counts_at_all_its_breakpoints() -> None:
    # "At least the largest over vehicle speed": at 10 % that is 8, own 7 misses by 1.
    own = curve([0, 10], [6, 7], Relation("u", ">="))
    finding = only(own, plane([0, 10], [0, 50], [[1, 6], [8, 2]], id="u"))
    assert finding.cells == ((1,),)
    assert finding.amount == 1
    assert "at 10 %, 0 km/h" in finding.message


def test_an_input_only_the_own_table_reads() -> None:
    own = plane([0, 10], [0, 50], [[3, 3], [3, 1]], Relation("u", ">="))
    assert only(own, curve([0, 10], [0, 2], id="u")).cells == ((1, 1),)


def test_scope_on_an_axis_of_either_table() -> None:
    own = curve([0, 10], [6, 7], Relation("u", ">=", scope=(Range("vehicle_speed", 10.0),)))
    other = plane([0, 10], [0, 50], [[9, 6], [9, 2]], id="u")
    assert findings(own, other) == []  # the nines at 0 km/h are outside
    by_number = curve([0, 10], [6, 7], Relation("u", ">=", scope=(Range("1", 5.0),)))
    assert only(by_number, plane([0, 10], [0, 50], [[9, 9], [8, 2]], id="u")).cells == ((1,),)


def test_scope_on_an_axis_that_nobody_has_is_not_checked() -> None:
    own = scalar(1.0, Relation("u", ">=", scope=(Range("grade", 1.0),)))
    (missed,) = report(own, scalar(2.0, id="u")).not_checked
    assert "grade" in missed.reason


def test_times_a_third_table() -> None:
    # factor x applying >= releasing: 0.5 * 10 = 5 against 6 at 100 %: misses by 1.
    own = curve([0, 100], [0.5, 0.5], Relation("low", ">=", times="high"))
    high, low = curve([0, 100], [4, 10], id="high"), curve([0, 100], [2, 6], id="low")
    finding = only(own, high, low)
    assert finding.cells == ((1,),)
    assert finding.amount == pytest.approx(1)
    assert "it must be at least 0.6 N·m" in finding.message  # 6 / 10
    assert findings(own.with_values([0.5, 0.6]), high, low) == []


def test_times_nothing_still_names_the_place() -> None:
    own = curve([0, 100], [0.5, 0.5], Relation("low", ">=", times="high"))
    high, low = curve([0, 100], [0, 10], id="high"), curve([0, 100], [1, 5], id="low")
    finding = only(own, high, low)
    assert finding.cells == ((0,),)
    assert finding.amount == 1


def test_a_missing_partner_is_not_checked() -> None:
    (missed,) = report(scalar(1.0, Relation("gone", ">="))).not_checked
    assert (missed.table, missed.rule) == ("t", "relation")
    assert "gone" in missed.reason


def test_a_disordered_partner_is_not_checked() -> None:
    own = curve([0, 10], [5, 5], Relation("u", ">="))
    found = report(own, curve([10, 0], [1, 1], id="u"))
    assert [n.rule for n in found.not_checked] == ["relation"]
    assert [f.rule for f in found.findings] == ["axis_order"]


@quick
@given(st.lists(whole, min_size=6, max_size=6), st.lists(whole, min_size=6, max_size=6))
def test_relation_against_scipy(mine: list[float], theirs: list[float]) -> None:
    """The largest breach over the union grid, each table read by SciPy."""
    x, u = [0.0, 4.0, 10.0], [0.0, 7.0, 10.0]
    y, v = [0.0, 60.0], [0.0, 60.0]
    own = plane(x, y, np.reshape(mine, (3, 2)), Relation("u", ">="))
    other = plane(u, v, np.reshape(theirs, (3, 2)), id="u")
    grid = np.meshgrid(np.union1d(x, u), y, indexing="ij")
    points = np.stack([g.reshape(-1) for g in grid], axis=-1)
    apart = RegularGridInterpolator((u, v), other.values)(points) - RegularGridInterpolator(
        (x, y), own.values
    )(points)
    found = findings(own, other)
    assert len(found) == bool((apart > 1e-7).any())
    if found:
        assert found[0].amount == pytest.approx(apart.max())
        assert found[0].places == (apart > 1e-7).sum()


@quick
@given(
    st.lists(whole, min_size=3, max_size=3),
    st.lists(whole, min_size=4, max_size=4),
    st.integers(0, 2**32 - 1),
)
def test_nothing_is_worse_between_the_union_nodes(
    mine: list[float], theirs: list[float], seed: int
) -> None:
    """Between nodes both are straight, so their difference is largest at a node (numpy.interp)."""
    own, other = curve([0, 40, 100], mine), curve([0, 30, 50, 100], theirs)
    nodes = union_nodes(own, other)
    apart = (nodes.other_shares * other.values[nodes.other_cells]).sum(axis=1) - (
        nodes.own_shares * own.values[nodes.own_cells]
    ).sum(axis=1)
    at = np.random.default_rng(seed).uniform(0, 100, 200)
    between = np.interp(at, [0, 30, 50, 100], theirs) - np.interp(at, [0, 40, 100], mine)
    assert between.max() <= apart.max() + 1e-9


# -- hysteresis --------------------------------------------------------------------------------


def test_pair_keeps_its_gap() -> None:
    own = curve([0, 10], [95, 108], Hysteresis("upper", 5.0))
    # 100 - 95 = 5 is enough; 110 - 108 = 2 misses 5 by 3.
    finding = only(own, curve([0, 10], [100, 110], id="upper"))
    assert finding.cells == ((1,),)
    assert finding.amount == 3
    assert finding.message == (
        "108 N·m at 10 % is too close to upper, 110 N·m; it must stay at least 5 N·m below."
    )
    assert "restore gap" in finding.remedies


def test_gap_is_one_storage_step_if_none_is_stated() -> None:
    own = curve([0, 10], [99.5, 100], Hysteresis("upper"), storage=raster("0.5"))
    # Level at 10 %: misses one step of 0.5.
    finding = only(own, curve([0, 10], [100, 100], id="upper"))
    assert finding.cells == ((1,),)
    assert finding.amount == pytest.approx(0.5)


def test_pair_within_a_scope() -> None:
    own = curve([0, 10], [5, 5], Hysteresis("upper", 1.0, scope=(Range("pedal", 1.0),)))
    assert findings(own, curve([0, 10], [5, 6], id="upper")) == []


# -- rate --------------------------------------------------------------------------------------


def test_rate_within_a_capability() -> None:
    # 10 -> 20 %: slope 60 / 10 = 6 per %, times 50 % per s = 300 per s.  Capability 250:
    # allowed over 10 % (0.2 s) is 50, so 60 misses by 10.
    own = curve([0, 10, 20], [0, 50, 110], RateWithin("pedal", 50.0, "cap"))
    finding = only(own, scalar(250.0, id="cap"))
    assert set(finding.cells) == {(1,), (2,)}
    assert finding.amount == pytest.approx(10)
    assert finding.message == (
        "Pedal moving at 50 % per second asks for 300 N·m per second between 10 and 20 %; cap "
        "allows 250 N·m per second."
    )
    # Falling as fast is refused as well.
    assert only(own.with_values([110, 50, 0]), scalar(250.0, id="cap")).amount == pytest.approx(10)
    assert findings(own, scalar(300.0, id="cap")) == []
    factor = curve([0, 10, 20], [0, 50, 110], RateWithin("pedal", 50.0, "cap", factor=3.0))
    assert findings(factor, scalar(100.0, id="cap")) == []


def test_rate_takes_the_least_capability() -> None:
    rule = RateWithin("pedal", 50.0, "cap")
    # The capability reads pedal and speed: the least over speed, and the lesser end of a stretch.
    # Stretch 0..10 %: min(min(200, 900), min(400, 300)) = 200 -> 40 allowed, asked 60: 20 over.
    # Stretch 10..20 %: min(300, 800) = 300 -> 60 allowed, asked 60: fine.
    own = curve([0, 10, 20], [0, 60, 120], rule)
    capability = plane([0, 10, 20], [0, 50], [[200, 900], [400, 300], [800, 900]], id="cap")
    finding = only(own, capability)
    assert set(finding.cells) == {(0,), (1,)}
    assert finding.amount == pytest.approx(20)


def test_a_plain_step_says_nothing_without_a_rate() -> None:
    """The same values over a slow input are fine: temperature crosses no cell in a tick."""
    fast = curve([0, 10], [0, 100], RateWithin("pedal", 200.0, "cap"))
    slow = curve([0, 10], [0, 100], RateWithin("pedal", 0.1, "cap"))
    assert len(findings(fast, scalar(500.0, id="cap"))) == 1
    assert findings(slow, scalar(500.0, id="cap")) == []


# -- dead band ---------------------------------------------------------------------------------


def test_zero_within_a_band() -> None:
    rule = ZeroWithin("pedal", "band")
    own = plane([-5, -2, 0, 2, 5], [0, 50], np.ones((5, 2)) * [1, 0], rule)
    # Band 3 at 0 km/h: rows -2, 0, 2 must be zero, and hold 1; at 50 km/h all are zero.
    finding = only(own, curve([0, 50], [3, 1], id="band", of="vehicle_speed"))
    assert sorted(finding.cells) == [(1, 0), (2, 0), (3, 0)]
    assert finding.amount == 1
    assert "it must be zero within ±3" in finding.message
    values = own.values.copy()
    values[1:4] = 0
    good = own.with_values(values)
    assert findings(good, curve([0, 50], [3, 1], id="band", of="vehicle_speed")) == []


def test_a_band_that_reads_something_else_is_not_checked() -> None:
    own = curve([-1, 0, 1], [1, 1, 1], ZeroWithin("pedal", "band"))
    (missed,) = report(own, curve([0, 50], [3, 1], id="band", of="vehicle_speed")).not_checked
    assert "vehicle speed" in missed.reason
    assert len(findings(own, scalar(0.5, id="band"))) == 1


# -- modes -------------------------------------------------------------------------------------


def two_sets(low: Table, base: Table) -> tuple[CalibrationSet, CalibrationSet]:
    about = {"programme": "Larch", "base_mode": "normal"}
    return (
        CalibrationSet([low], mode="low_grip", **about),
        CalibrationSet([base], mode="normal", **about),
    )


@pytest.mark.parametrize(
    ("sense", "values", "cells", "amount"),
    [
        (">=", [9, 20], ((0,),), 1.0),  # 9 is 1 below 10
        (">=", [10, 21], (), 0),
        ("<=", [10, 23], ((1,),), 3.0),  # 23 is 3 above 20
        ("<=", [0, 20], (), 0),
        ("==", [10, 19.5], ((1,),), 0.5),
        ("==", [10, 20], (), 0),
        ("zero", [0, 2], ((1,),), 2.0),
        ("zero", [0, 0], (), 0),
        ("free", [-5, 99], (), 0),
    ],
)
def test_mode_relation(
    sense: str, values: list[float], cells: tuple[tuple[int, ...], ...], amount: float
) -> None:
    relations = {"low_grip": sense, "towing": "=="}
    low, base = two_sets(
        curve([0, 10], values, relations=relations),
        curve([0, 10], [10, 20], relations=relations),
    )
    for found in (check(low, [base]), check(base, [low])):  # mode-to-base either way round
        assert tuple(f.cells for f in found.findings) == ((cells,) if cells else ())
        assert [f.amount for f in found.findings] == ([pytest.approx(amount)] if cells else [])
        # The base set's table states a relation to a third mode, which is not at hand.
        assert {n.mode for n in found.not_checked} <= {"towing"}
    assert check(low, [base]).not_checked == ()
    assert [n.mode for n in check(base, [low]).not_checked] == ["towing"]
    assert {n.mode for n in check(base).not_checked} == {"towing"} | (
        {"low_grip"} - {mode for mode, way in relations.items() if way == "free"}
    )


@pytest.mark.parametrize("way", ["other", "free", "none", "gone"])
def test_a_relation_that_only_the_base_set_states_is_missed(way: str) -> None:
    base_curve = curve([0, 10], [10, 20], relations={"low_grip": ">="})
    stated = {"other": {"low_grip": "<="}, "free": {"low_grip": "free"}}.get(way, {})
    low, base = two_sets(curve([0, 10], [0, 0], relations=stated), base_curve)
    if way == "gone":
        low = low.replaced({"t": None})
    (missed,) = check(base, [low]).not_checked
    assert (missed.table, missed.mode) == ("t", "low_grip")
    assert "The base set states a relation (>=) of mode low_grip" in missed.reason
    assert check(low, [base]).complete is (way == "gone"), "a set tells only of what it has"


def test_mode_relation_at_unequal_breakpoints() -> None:
    # Base reads 4 at 5 %, low 5 at 0 and 3 at 10: at 5 % that is 4, at 7.5 % base 6 against 3.5.
    relations = {"low_grip": ">="}
    low, base = two_sets(
        curve([0, 10], [5, 3], relations=relations),
        curve([0, 5, 7.5, 10], [4, 4, 6, 3], relations=relations),
    )
    (finding,) = check(low, [base]).findings
    assert finding.amount == pytest.approx(2.5)
    assert "at 7.5 %" in finding.message
    assert "3.5 N·m in mode low_grip is 2.5 N·m below the normal mode's 6 N·m" in finding.message


def test_mode_relation_without_the_base_set_is_not_checked() -> None:
    low, _ = two_sets(curve([0, 1], [1, 1], relations={"low_grip": ">="}), scalar(1.0, id="x"))
    found = check(low)
    assert found.sound
    assert [(n.table, n.rule) for n in found.not_checked] == [("t", "mode_relation")]
    assert "normal" in found.not_checked[0].reason


def test_mode_relation_of_another_unit_or_without_a_partner_is_not_checked() -> None:
    relations = {"low_grip": ">="}
    own = Table("t", 1.0, unit="N.m", relations=relations)
    for base in (Table("t", 1.0, unit="A"), Table("u", 1.0, unit="N.m")):
        low, normal = two_sets(own, base)
        found = check(low, [normal])
        assert found.findings == ()
        assert len(found.not_checked) == 1


def test_equal_breakpoints_of_other_inputs_are_not_cells_that_correspond() -> None:
    # Rows and columns have the same breakpoints, but the base set reads them the other way round.
    own = plane([0, 1], [0, 1], [[0, 5], [1, 9]], relations=LOW)
    turned = replace(own, axes=own.axes[::-1])
    low, base = two_sets(own, turned.with_values(own.values.T))
    assert check(low, [base]).findings == ()
    low, base = two_sets(own, turned)
    # At 1 % and 0 km/h this set holds 1; the base set, whose rows are speeds, holds 5.
    (finding,) = check(low, [base]).findings
    assert (finding.cells, finding.amount) == (((1, 0),), 4.0)


def test_the_same_input_in_another_unit_is_not_compared() -> None:
    # 100 km/h are 27.8 m/s: compared as numbers, a breakpoint would be taken for another speed.
    def over_speed(unit: str, *rules: Rule, id: str = "t") -> Table:
        speed = Axis([0, 100], "Speed", unit, "vehicle_speed")
        return Table(id, [0, 10], (speed,), unit="N.m", relations=LOW, rules=rules)

    low, base = two_sets(over_speed("km/h"), over_speed("m/s"))
    (missed,) = check(low, [base]).not_checked
    assert missed.reason.startswith("Speed is in km/h here, in m/s in the other table (t).")
    for rule in (
        Relation("u", ">="),
        Hysteresis("u"),
        RateWithin("vehicle_speed", 1.0, "u"),
        Relation("v", ">=", times="u"),
    ):
        own = over_speed("km/h", rule)
        content = CalibrationSet([own, over_speed("m/s", id="u"), over_speed("km/h", id="v")])
        (missed,) = (n for n in check(content).not_checked if not n.mode)
        assert "in m/s in the other table (u)" in missed.reason


def test_step_axes_are_read_as_steps() -> None:
    # The lower breakpoint holds: at 1 the other still reads 0's value until 2 is reached.
    own = Table("t", [3, 3], (steps("wiper_state", [0, 2]),), rules=(Relation("u", ">="),))
    other = Table("u", [1, 5], (axis("wiper_state", [1, 2]),))
    # At 2 the other holds 5: 2 above 3; at 0 and 1 it holds 1.
    finding = only(own, other)
    assert finding.cells == ((1,),)
    assert finding.amount == 2
