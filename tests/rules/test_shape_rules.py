"""Shape rules: worked by hand, and against numpy and SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PPoly, RegularGridInterpolator, make_interp_spline
from scipy.optimize import isotonic_regression

from calib_model.core.rule import Range, Severity
from calib_model.errors import ModelError
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
from tests.rules.making import curve, findings, only, plane, raster, report, scalar

quick = settings(max_examples=60, deadline=None, derandomize=True)
whole = st.integers(-8, 8).map(float)


def rising_axis(draw: st.DrawFn, count: int) -> np.ndarray:
    gaps = draw(st.lists(st.integers(1, 5), min_size=count, max_size=count))
    return np.cumsum(gaps).astype(float)


@st.composite
def curves(draw: st.DrawFn, least: int = 3) -> tuple[np.ndarray, np.ndarray]:
    z = np.array(draw(st.lists(whole, min_size=least, max_size=7)))
    return rising_axis(draw, z.size), z


def slopes(x: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Slopes of the broken line, from SciPy's piecewise polynomials."""
    pieces = PPoly.from_spline(make_interp_spline(x, z, k=1))
    return pieces.c[0][np.diff(pieces.x) > 0]  # the ends' knots are repeated


# -- monotone ------------------------------------------------------------------------------


def test_rises() -> None:
    # 0, 3, 2, 2: falls by 1 between the second and third breakpoint; level is allowed.
    finding = only(curve([0, 10, 20, 30], [0, 3, 2, 2], Monotone("pedal")))
    assert finding.cells == ((1,), (2,))
    assert finding.axis_values == ((10.0,), (20.0,))
    assert (finding.amount, finding.unit) == (1.0, "N.m")
    assert finding.message == (
        "Falls from 3 to 2 N·m between 10 and 20 %; it must not fall with pedal."
    )
    assert "re-interpolate" in finding.remedies


def test_falls_along_the_second_axis() -> None:
    # Second row 4, 5, 1: rises by 1; the first row 3, 3, 0 is fine.
    rule = Monotone("vehicle_speed", "down", reason="drag costs fuel")
    finding = only(plane([0, 100], [0, 50, 80], [[3, 3, 0], [4, 5, 1]], rule))
    assert set(finding.cells) == {(1, 0), (1, 1)}
    assert finding.amount == 1.0
    assert finding.message == (
        "Rises from 4 to 5 N·m between 0 and 50 km/h at 100 %; it must not rise with vehicle "
        "speed. (Drag costs fuel.)"
    )


def test_the_worst_of_several_places_comes_first() -> None:
    # Falls by 1 and then by 4; two rows of the rule.
    finding = only(curve([0, 1, 2, 3], [5, 4, 9, 5], Monotone("pedal")))
    assert finding.cells == ((2,), (3,), (0,), (1,))
    assert (finding.amount, finding.places) == (4.0, 2)
    assert "The same at 1 more place." in finding.message


def test_strict_asks_for_one_storage_step() -> None:
    # Level between 10 and 20: misses the step of 0.5 by 0.5.
    table = curve([0, 10, 20], [1, 2, 2], Monotone("pedal", strict=True), storage=raster("0.5"))
    finding = only(table)
    assert finding.cells == ((1,), (2,))
    assert finding.amount == 0.5
    assert findings(table.with_values([1, 2, 2.5])) == []


def test_strict_with_a_stated_gap() -> None:
    # Rises by 1 and 2; a gap of 1.5 is missed by 0.5 at the first pair.
    finding = only(curve([0, 1, 2], [0, 1, 3], Monotone("pedal", strict=True, gap=1.5)))
    assert finding.cells == ((0,), (1,))
    assert finding.amount == 0.5


def test_strict_on_a_float_table_refuses_a_level() -> None:
    rule = Monotone("pedal", strict=True)
    assert only(curve([0, 1, 2], [0, 1, 1], rule)).cells == ((1,), (2,))
    assert findings(curve([0, 1, 2], [0, 1, 1 + 1e-8], rule)) == []


def test_scope_keeps_the_rule_to_a_part_of_an_axis() -> None:
    rule = Monotone("pedal", "down", scope=(Range("pedal", 10.0),))
    # Rises from 0 to 10 (outside: it needs both cells inside), falls after.
    assert findings(curve([0, 10, 20], [0, 9, 3], rule)) == []
    assert set(only(curve([0, 10, 20], [0, 3, 9], rule)).cells) == {(1,), (2,)}


def test_severity_is_the_rules_own() -> None:
    finding = only(curve([0, 1, 2], [2, 1, 3], Monotone("pedal", severity=Severity.NOTE)))
    assert finding.severity is Severity.NOTE
    assert report(curve([0, 1], [2, 1], Monotone("pedal", severity=Severity.NOTE))).sound


def test_an_empty_cell_is_another_rules_business() -> None:
    assert findings(curve([0, 1, 2], [0, np.nan, 1], Monotone("pedal", strict=True))) == []


@quick
@given(curves())
def test_monotone_against_isotonic_regression(drawn: tuple[np.ndarray, np.ndarray]) -> None:
    """Values are in order exactly if SciPy's isotonic regression leaves them as they are."""
    x, z = drawn
    for direction, rising in (("up", True), ("down", False)):
        fixed = isotonic_regression(z, increasing=rising).x
        holds = findings(curve(x, z, Monotone("pedal", direction))) == []
        assert holds == bool(np.allclose(fixed, z, atol=1e-12))


@quick
@given(curves())
def test_breaches_against_numpy_diff(drawn: tuple[np.ndarray, np.ndarray]) -> None:
    x, z = drawn
    found = findings(curve(x, z, Monotone("pedal")))
    falls = np.minimum(np.diff(z), 0)
    assert len(found) == bool(falls.any())
    if found:
        assert found[0].amount == -falls.min()
        assert found[0].places == np.count_nonzero(falls)


def test_unknown_direction_is_refused() -> None:
    with pytest.raises(ModelError, match="up or down"):
        Monotone("pedal", "sideways")


# -- slope -----------------------------------------------------------------------------------


def test_slope_within_both_limits() -> None:
    # Slopes 3/10 = 0.3 and -8/10 = -0.8. Most 0.2: rise 3 > 2, by 1; least -0.5: -8 < -5, by 3.
    table = curve([0, 10, 20], [0, 3, -5], Slope("pedal", most=0.2, least=-0.5))
    finding = only(table)
    assert finding.amount == pytest.approx(3)
    assert set(finding.cells[:2]) == {(1,), (2,)}  # the worst place first
    assert len(finding.cells) == 3
    assert finding.message.startswith(
        "Slope of \N{MINUS SIGN}0.8 N·m/% between 10 and 20 %; it must be at least "
        "\N{MINUS SIGN}0.5 N·m/%."
    )
    assert findings(curve([0, 10, 20], [0, 2, -3], Slope("pedal", 0.2, -0.5))) == []


def test_slope_with_one_side_open() -> None:
    assert findings(curve([0, 1, 2], [0, -99, -100], Slope("pedal", most=1.0))) == []
    # Rises 2 over 1: misses 1 by 1.
    assert only(curve([0, 1, 2], [0, 2, 2], Slope("pedal", most=1.0))).amount == 1.0


@quick
@given(curves(), st.integers(0, 3), st.integers(0, 3))
def test_slope_against_scipy(drawn: tuple[np.ndarray, np.ndarray], most: int, least: int) -> None:
    x, z = drawn
    found = findings(curve(x, z, Slope("pedal", float(most), float(-least))))
    beyond = (slopes(x, z) > most + 1e-6) | (slopes(x, z) < -least - 1e-6)
    assert len(found) == bool(beyond.any())
    if found:
        assert found[0].places == beyond.sum()


# -- curvature and kink ------------------------------------------------------------------------


def test_convex() -> None:
    # At 10 the line between 0 (z 0) and 40 (z 8) says 2; the value 3 lies 1 above it.
    table = curve([0, 10, 40], [0, 3, 8], Curvature("pedal", "convex"))
    finding = only(table)
    assert finding.cells == ((0,), (1,), (2,))
    assert finding.amount == pytest.approx(1)
    assert "1 N·m above the line between its neighbours" in finding.message
    assert findings(table.with_values([0, 1.5, 8])) == []
    assert findings(table.with_values([0, 2, 8])) == []  # straight is both


def test_concave() -> None:
    # The same table the other way round: value 1 lies 1 below the line.
    assert findings(curve([0, 10, 40], [0, 3, 8], Curvature("pedal", "concave"))) == []
    assert only(
        curve([0, 10, 40], [0, 1, 8], Curvature("pedal", "concave"))
    ).amount == pytest.approx(1)


@quick
@given(curves())
def test_curvature_against_scipy_slopes(drawn: tuple[np.ndarray, np.ndarray]) -> None:
    """A broken line is convex exactly if its slopes never fall."""
    x, z = drawn
    bends = np.diff(slopes(x, z))
    convex = findings(curve(x, z, Curvature("pedal", "convex"))) == []
    concave = findings(curve(x, z, Curvature("pedal", "concave"))) == []
    assert convex == bool((bends >= -1e-6).all())
    assert concave == bool((bends <= 1e-6).all())


def test_kink() -> None:
    # Slopes 1 and 4 (per %): bends by 3. Allowed 2: misses by 1 times the shorter stretch 2.
    table = curve([0, 2, 12], [0, 2, 42], Kink("pedal", 2.0))
    finding = only(table)
    assert finding.cells == ((0,), (1,), (2,))
    assert finding.amount == pytest.approx(2)
    assert "bends from 1 to 4 N·m/%; it may bend by 2 N·m/% at most" in finding.message
    assert findings(curve([0, 2, 12], [0, 2, 42], Kink("pedal", 3.0))) == []


@quick
@given(curves(), st.integers(0, 4))
def test_kink_against_scipy_slopes(drawn: tuple[np.ndarray, np.ndarray], most: int) -> None:
    x, z = drawn
    bends = np.abs(np.diff(slopes(x, z)))
    found = findings(curve(x, z, Kink("pedal", float(most))))
    assert len(found) == bool((bends > most + 1e-6).any())
    if found:
        assert found[0].places == (bends > most + 1e-6).sum()


# -- fixed values and ends -----------------------------------------------------------------------


def test_fixed_value_within_a_scope() -> None:
    rule = FixedValue(0.0, scope=(Range("pedal", high=20.0),))
    # At 10 and 20 % it must be zero: 3 misses by 3, at 30 % it may be anything.
    finding = only(curve([10, 20, 30], [0, 3, 9], rule))
    assert finding.cells == ((1,),)
    assert finding.amount == 3
    assert finding.message == "3 N·m at 20 %; it must be 0 N·m at pedal up to 20 %."
    assert "zero" in finding.remedies


def test_fixed_value_of_a_scalar() -> None:
    finding = only(scalar(19.0, FixedValue(20.0)))
    assert finding.cells == ((),)
    assert finding.amount == 1
    assert finding.message == "19 N·m; it must be 20 N·m."
    assert findings(scalar(20.0, FixedValue(20.0))) == []


def test_fixed_value_in_the_last_corner_only() -> None:
    rule = FixedValue(0.0, scope=(Range("pedal", 10.0), Range("vehicle_speed", 60.0)))
    assert findings(plane([0, 10], [0, 60], [[1, 1], [1, 0]], rule)) == []
    assert only(plane([0, 10], [0, 60], [[1, 1], [1, 2]], rule)).cells == ((1, 1),)


@pytest.mark.parametrize(("end", "column"), [("last", 2), ("first", 0)])
def test_zero_end(end: str, column: int) -> None:
    z = np.ones((2, 3))
    z[0, column] = 0
    # Only the second row's end is not zero: 1 N.m at 100 %.
    finding = only(plane([0, 100], [0, 10, 20], z, ZeroEnd("vehicle_speed", end)))
    assert finding.cells == ((1, column),)
    assert finding.amount == 1
    side = "above" if end == "last" else "below"
    assert f"is held at every vehicle speed {side} it; it must be zero." in finding.message
    z[1, column] = 0
    assert findings(plane([0, 100], [0, 10, 20], z, ZeroEnd("vehicle_speed", end))) == []


# -- points ----------------------------------------------------------------------------------


def test_equals_at_a_node_and_between() -> None:
    # At 15 % between 1 (10 %) and 3 (20 %) the controller reads 2; asked for 2.5: misses by 0.5.
    finding = only(curve([10, 20], [1, 3], EqualsAt((15.0,), 2.5)))
    assert finding.cells == ((0,), (1,))
    assert finding.amount == pytest.approx(0.5)
    assert findings(curve([10, 20], [1, 3], EqualsAt((20.0,), 3.0))) == []
    # Beyond a held end the end counts.
    assert findings(curve([10, 20], [1, 3], EqualsAt((99.0,), 3.0))) == []


def test_equals_at_within_a_deviation() -> None:
    assert findings(curve([10, 20], [1, 3], EqualsAt((15.0,), 2.5, within=0.5))) == []
    # 2 against 2.5 with 0.2 allowed: misses by 0.3; the other way round alike.
    for asked in (2.5, 1.5):
        finding = only(curve([10, 20], [1, 3], EqualsAt((15.0,), asked, within=0.2)))
        assert finding.amount == pytest.approx(0.3)


def test_equals_at_of_a_scalar() -> None:
    assert only(scalar(3.0, EqualsAt((), 2.0))).amount == 1


@quick
@given(st.lists(whole, min_size=6, max_size=6), st.floats(0, 20), st.floats(0, 60))
def test_equals_at_against_scipy(values: list[float], p: float, v: float) -> None:
    """SciPy's RegularGridInterpolator (linear) reads the same value."""
    z = np.reshape(values, (2, 3))
    read = float(RegularGridInterpolator(([0, 20], [0, 10, 60]), z)((p, v)))
    table = plane([0, 20], [0, 10, 60], z, EqualsAt((p, v), read))
    assert findings(table) == []
    other = plane([0, 20], [0, 10, 60], z, EqualsAt((p, v), read + 1))
    assert only(other).amount == pytest.approx(1)


def test_a_point_with_too_few_values_is_said_so() -> None:
    (missed,) = report(curve([0, 1], [0, 1], EqualsAt((), 0.0))).not_checked
    assert "0 values" in missed.reason


# -- symmetry ----------------------------------------------------------------------------------


def test_even() -> None:
    # f(10) = 4 against f(-10) = 3: misses by 1; f(20) = f(-20).
    finding = only(curve([-20, -10, 0, 10, 20], [5, 3, 0, 4, 5], Symmetry("pedal")))
    assert finding.cells == ((3,), (1,))
    assert finding.amount == 1
    assert finding.places == 1
    assert findings(curve([-20, -10, 0, 10, 20], [5, 3, 0, 3, 5], Symmetry("pedal"))) == []


def test_odd_needs_zero_in_the_middle() -> None:
    rule = Symmetry("pedal", "odd")
    assert findings(curve([-10, 0, 10], [-3, 0, 3], rule)) == []
    # f(0) + f(0) = 2.
    finding = only(curve([-10, 0, 10], [-3, 1, 3], rule))
    assert finding.cells == ((1,),)
    assert finding.amount == 2


def test_symmetric_about_another_value() -> None:
    assert findings(curve([30, 50, 70], [1, 0, 1], Symmetry("pedal", about=50.0))) == []
    assert only(curve([30, 50, 70], [1, 0, 3], Symmetry("pedal", about=50.0))).amount == 2


def test_a_lower_breakpoint_without_a_partner_is_compared_too() -> None:
    # Mirror of -2 is 2, where the controller reads 4 (between 0 and 8): -2 holds 5, misses by 1.
    finding = only(curve([-4, -2, 0, 4], [8, 5, 0, 8], Symmetry("pedal")))
    assert finding.cells[0] == (1,)
    assert finding.amount == pytest.approx(1)


@quick
@given(curves(least=2), st.integers(0, 12), st.sampled_from(["even", "odd"]))
def test_symmetry_against_numpy_interp(
    drawn: tuple[np.ndarray, np.ndarray], about: int, parity: str
) -> None:
    """Holds exactly if the curve and its mirror image agree at every breakpoint of either."""
    x, z = drawn
    sign = 1 if parity == "even" else -1
    at = np.union1d(x, 2 * about - x)
    miss = np.interp(at, x, z) - sign * np.interp(2 * about - at, x, z)
    holds = findings(curve(x, z, Symmetry("pedal", parity, float(about)))) == []
    assert holds == bool((np.abs(miss) < 1e-7).all())


# -- product ---------------------------------------------------------------------------------


def test_product_rises() -> None:
    # 10*1, 8*2, 5*3: 10, 16, 15 falls by 1 at the end.
    finding = only(curve([1, 2, 3], [10, 8, 5], ProductRises("pedal")))
    assert finding.cells == ((1,), (2,))
    assert finding.amount == pytest.approx(1)
    assert finding.unit == "N.m.%"
    assert "falls by 1" in finding.message
    assert findings(curve([1, 2, 3], [10, 8, 6], ProductRises("pedal"))) == []


def test_product_at_axis_value_zero() -> None:
    # 0*5 = 0, then 1*(-2) = -2: falls by 2; the cell at zero has no part in it.
    finding = only(curve([0, 1], [5, -2], ProductRises("pedal")))
    assert finding.cells == ((1,),)
    assert finding.amount == pytest.approx(2)
    assert "between 0 and 1 %" in finding.message


@quick
@given(curves())
def test_product_against_numpy(drawn: tuple[np.ndarray, np.ndarray]) -> None:
    x, z = drawn
    found = findings(curve(x, z, ProductRises("pedal")))
    assert len(found) == bool((np.diff(x * z) < 0).any())


# -- words ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        (Monotone("pedal"), "never falls with pedal"),
        (Monotone("pedal", "down", strict=True), "falls strictly with pedal"),
        (Slope("pedal", 2.0, -2.0), "slope over pedal within ±2 N·m/%"),
        (Slope("pedal", most=2.0), "slope over pedal at most 2 N·m/%"),
        (Curvature("pedal"), "convex over pedal"),
        (Kink("pedal", 2.0), "slope over pedal bends by at most 2 N·m/%"),
        (FixedValue(1.0), "equals 1 N·m"),
        (ZeroEnd("pedal"), "zero at the last breakpoint of pedal"),
        (EqualsAt((20.0,), 1.0), "equals 1 N·m at 20 %"),
        (Symmetry("pedal"), "even over pedal about 0 %"),
        (ProductRises("pedal"), "value times pedal never falls"),
    ],
)
def test_statement(rule: Monotone, said: str) -> None:
    assert rule.statement(curve([0, 1], [0, 1])) == said


def test_a_rule_of_an_axis_that_is_not_there_is_not_checked() -> None:
    found = report(curve([0, 1], [1, 0], Monotone("grade")))
    (missed,) = found.not_checked
    assert missed.rule == "monotone"
    assert "grade" in missed.reason
    assert "pedal" in missed.reason
    assert found.findings == ()


def test_a_step_that_is_too_small_is_said_to_be() -> None:
    # It rises, so that it must rise would be no help.
    x = [0.0, 1.0, 2.0]
    strict = Monotone("pedal", strict=True)
    missing = only(curve(x, [1.0, 2.0, 2.4], strict, storage=raster("0.5")))
    assert "Rises from 2 to 2.4" in missing.message
    assert "must rise by at least one storage step, 0.5" in missing.message
    down = Monotone("pedal", "down", strict=True, gap=0.5)
    assert "must fall by at least 0.5" in only(curve(x, [3.0, 2.0, 1.9], down)).message
    flat = only(curve(x, [1.0, 1.0, 2.0], strict))
    assert "Stays at 1" in flat.message
    assert "it must rise with" in flat.message


def test_a_slope_is_told_where_the_axis_is_in_order_only() -> None:
    # From 20 to 10 there is no slope to speak of; that the axis turns back is another finding.
    assert findings(curve([0, 20, 10], [0, 10, 10], Slope("pedal", most=1.0))) == []
    assert only(curve([0, 20, 10], [0, 30, 30], Slope("pedal", most=1.0))).cells == ((1,), (0,))
