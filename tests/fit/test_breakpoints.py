"""Breakpoints: against closed forms, against trying everything, and on tables with storage."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.editing.change import apply
from calib_model.errors import EditRefused
from calib_model.lookup import lookup
from calib_model.rules.check import check
from calib_model.shaping.breakpoints import place, place_breakpoints, raster_of
from calib_model.shaping.breakpoints_lines import Lines, error_of
from calib_model.shaping.breakpoints_place import best, fewest
from calib_model.shaping.samples import SamplesRefused, from_arrays
from calib_model.store import open_file
from tests.fit.making_fits import SAMPLE_SETS, curve, only, surface

X = np.linspace(0, 1, 2001)
GREEDY_LOSES = [2.0, 0.0, 0.0, 0.0, 0.0, 4.0, 3.0, 4.0]


@pytest.mark.parametrize("count", [2, 3, 5, 9])
def test_parabola_gets_equal_steps_and_the_known_error(count: int) -> None:
    # A chord of f over h errs by h^2/8 max|f''| (any numerical analysis text): for x^2 with n
    # equal steps 1/(4 n^2), which no other n+1 breakpoints can beat since sum h = 1.
    found = place(Lines(X, X**2), count=count)
    n = count - 1
    np.testing.assert_allclose(found.breakpoints, np.linspace(0, 1, count), atol=1e-4)
    assert found.error.largest == pytest.approx(1 / (4 * n**2), rel=1e-3)
    # Values that may leave the parabola halve it (minimax line over each step).
    free = place(Lines(X, X**2), count=count, free=True)
    assert free.error.largest == pytest.approx(1 / (8 * n**2), rel=1e-3)


def test_many_breakpoints_follow_the_root_of_the_second_derivative() -> None:
    # Equal errors ask for a density proportional to sqrt|f''| (de Boor, from memory): for exp
    # the i-th of n is -2 ln(1 - i/n (1 - e^-1/2)) seen from the other end; error about
    # (integral of sqrt f'')^2 / (8 n^2).
    n = 16
    found = place(Lines(X, np.exp(X)), count=n + 1)
    share = np.arange(n + 1) / n
    expected = 2 * np.log(1 + share * (np.exp(0.5) - 1))
    np.testing.assert_allclose(found.breakpoints, expected, atol=2e-3)
    integral = 2 * (np.exp(0.5) - 1)
    assert found.error.largest == pytest.approx(integral**2 / (8 * n**2), rel=0.02)


def test_chord_error_keeps_to_the_h_squared_over_eight_bound() -> None:
    x = np.linspace(0, 3, 3001)
    found = place(Lines(x, np.sin(x)), count=7)
    for a, b in zip(found.breakpoints[:-1], found.breakpoints[1:], strict=True):
        inside = (x >= a) & (x <= b)
        chord = np.interp(x[inside], [a, b], np.sin([a, b]))
        bound = (b - a) ** 2 / 8 * np.abs(np.sin(x[inside])).max()
        assert np.abs(np.sin(x[inside]) - chord).max() <= bound * (1 + 1e-6)


@given(st.lists(st.integers(-20, 20), min_size=5, max_size=9), st.integers(3, 5))
def test_best_of_a_number_is_the_best_of_all_choices(values: list[int], count: int) -> None:
    lines = Lines(np.arange(len(values)), np.array(values, dtype=float))
    chosen = best(lines, min(count, len(values)), raster=lines.x).astype(np.int64)

    def error(places: tuple[int, ...]) -> float:
        knots = np.array(places)
        return error_of(lines, lines.x[knots], lines.y[knots]).largest

    inner = range(1, len(values) - 1)
    least = min(
        error((0, *c, len(values) - 1)) for c in combinations(inner, min(count, len(values)) - 2)
    )
    assert error(tuple(chosen.tolist())) == pytest.approx(least, abs=1e-9)


@given(st.lists(st.integers(-20, 20), min_size=4, max_size=8), st.floats(0.1, 15))
def test_fewest_for_a_tolerance_is_the_fewest_of_all_choices(
    values: list[int], tolerance: float
) -> None:
    lines = Lines(np.arange(len(values)), np.array(values, dtype=float))
    found = fewest(lines, tolerance, raster=lines.x)
    assert found is not None
    chosen = found.astype(np.int64)
    inner = range(1, len(values) - 1)
    for number in range(len(values) - 1):
        good = []
        for c in combinations(inner, number):
            knots = np.array([0, *c, len(values) - 1])
            if error_of(lines, lines.x[knots], lines.y[knots]).largest <= tolerance + 1e-12:
                good.append(c)
        if good:
            assert chosen.size == number + 2
            break
    assert error_of(lines, lines.x[chosen], lines.y[chosen]).largest <= tolerance + 1e-9


def test_greedy_would_need_more_breakpoints() -> None:
    # A wiggle: the longest first stretch leaves a remainder that needs one more.
    y = np.array(GREEDY_LOSES)
    lines = Lines(np.arange(y.size), y)
    tolerance = 1.6
    greedy = [0]
    while greedy[-1] < y.size - 1:
        here = greedy[-1]
        reached = [j for j in range(here + 1, y.size) if chords(lines.x, y)[here, j] <= tolerance]
        greedy.append(reached[-1])
    found = fewest(lines, tolerance, raster=lines.x)
    assert found is not None
    assert found.size < len(greedy)


def chords(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """The largest distance from the chord between every two samples, one by one."""
    errors = np.full((x.size, x.size), np.inf)
    for i in range(x.size):
        for j in range(i + 1, x.size):
            slope = (y[j] - y[i]) / (x[j] - x[i])
            off = np.abs(y[i : j + 1] - y[i] - slope * (x[i : j + 1] - x[i]))
            errors[i, j] = off.max()
    return errors


def optimum(x: np.ndarray, y: np.ndarray, count: int, size: np.ndarray | None = None) -> float:
    """The least largest error of `count` breakpoints on samples: a plain dynamic programme."""
    errors = chords(x, y) if size is None else relative_chords(x, y, size)
    best = errors[0]
    for _ in range(count - 2):
        best = np.array([np.maximum(best[:j], errors[:j, j]).min(initial=best[j])
                         for j in range(x.size)])  # fmt: skip
    return float(best[-1])


def relative_chords(x: np.ndarray, y: np.ndarray, size: np.ndarray) -> np.ndarray:
    """The same, each distance as a share of the size there."""
    errors = np.full((x.size, x.size), np.inf)
    for i in range(x.size):
        for j in range(i + 1, x.size):
            inside = slice(i, j + 1)
            chord = np.interp(x[inside], x[[i, j]], y[[i, j]])
            errors[i, j] = (np.abs(y[inside] - chord) / size[inside]).max()
    return errors


def references() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Curves that bend all in one place, everywhere, both ways, and in corners."""
    rng = np.random.default_rng(0)
    root, wave, kinked = np.linspace(0, 100, 241), np.linspace(0, 10, 201), np.linspace(0, 10, 181)
    corners = np.interp(kinked, [0, 2, 3, 5, 7, 10], [0, 1, 5, 4, 8, 8])
    return {
        "root": (root, 300 * np.sqrt(root)),
        "exponential": (wave, np.exp(wave / 2)),
        "noisy wave": (wave, np.sin(wave) + 0.02 * rng.normal(size=wave.size)),
        "corners": (kinked, corners + 0.1 * np.sin(3 * kinked)),
    }


@pytest.mark.parametrize("name", list(references()))
@pytest.mark.parametrize("count", [5, 16])
def test_best_is_the_optimum_of_a_plain_dynamic_programme(name: str, count: int) -> None:
    x, y = references()[name]
    least = optimum(x, y, count)
    on_samples = place(Lines(x, y), count=count, raster=x)
    assert on_samples.error.largest == pytest.approx(least, rel=1e-4)
    # Breakpoints between samples can only do better.
    assert place(Lines(x, y), count=count).error.largest <= least * (1 + 1e-4)
    # What is best at a tolerance just above needs no more breakpoints, and is not refused.
    reached = place(Lines(x, y), tolerance=least * (1 + 1e-4))
    assert reached.breakpoints.size <= count


def test_many_samples_of_a_root_are_told_at_every_sample() -> None:
    # 300 sqrt(x) bends most at nil: sixteen breakpoints were 1.6 times as far off as need be.
    # On a concave curve the best are those that each reach as far as the error lets them; the
    # chord of sqrt from a to b errs by (sqrt b - sqrt a)^2 / (4 (sqrt a + sqrt b)).
    x = np.linspace(0, 10, 20_001) ** 2
    found = place(Lines(x, 300 * np.sqrt(x)), count=16)
    low, high = 0.0, 300.0
    for _ in range(60):
        error = (low + high) / 2 / 300
        root = 0.0
        for _ in range(15):  # root b = s: (s - r)^2 = 4 e (s + r)
            root = root + 2 * error + np.sqrt(8 * error * root + 4 * error**2)
        low, high = (low, (low + high) / 2) if root >= 10 else ((low + high) / 2, high)
    assert found.error.largest == pytest.approx(high, rel=1e-4)
    off = np.abs(np.interp(x, found.breakpoints, found.values[:, 0]) - 300 * np.sqrt(x)).max()
    assert found.error.largest == pytest.approx(off, rel=1e-9)


def test_errors_may_be_shares_of_the_value() -> None:
    x, y = references()["exponential"]
    size = np.maximum(np.abs(y), 0.01 * np.abs(y).max())
    least = optimum(x, y, 8, size)
    lines = Lines(x, y).relative()
    assert place(lines, count=8, raster=x).error.largest == pytest.approx(least, rel=1e-4)
    assert place(lines, count=8).error.largest <= least * (1 + 1e-4)
    # exp has the same relative bend everywhere: equal steps.
    steps = np.diff(place(lines, count=8).breakpoints)
    np.testing.assert_allclose(steps, steps.mean(), rtol=0.02)
    halved = place(lines, count=8, free=True)
    assert halved.error.largest < 0.6 * least
    table = curve(x, y)
    found = place_breakpoints(only(table), "curve", tolerance=0.02, relative=True)
    assert found.error_after is not None
    assert found.error_after.largest <= 0.02 * (1 + 1e-6)
    assert "% of the value" in " ".join(found.notes)
    assert found.settings["errors"] == "as shares of the value"
    with pytest.raises(EditRefused, match="zero throughout"):
        Lines(x, np.zeros_like(y)).relative()


def test_tolerance_is_kept_with_as_few_as_do() -> None:
    # x^2 with tolerance t needs n = ceil(1/(2 sqrt t)) steps; free values n = ceil(1/sqrt(8 t)).
    for tolerance in (0.01, 0.003, 0.0009):
        for free, steps in (
            (False, np.ceil(1 / (2 * np.sqrt(tolerance)))),
            (True, np.ceil(1 / np.sqrt(8 * tolerance))),
        ):
            found = place(Lines(X, X**2), tolerance=tolerance, free=free)
            assert found.breakpoints.size == steps + 1
            assert found.error.largest <= tolerance * (1 + 1e-9)


def test_kept_breakpoints_are_there_and_the_raster_holds_all() -> None:
    axis = Axis(np.array([0.0, 1.0]), "Input", storage=Storage.of("uint8", "0.01"))
    raster = raster_of(axis, 0.0, 1.0, 0.05)
    assert raster is not None
    assert raster.size == 21
    found = place(Lines(X, np.sqrt(X + 0.01)), count=6, raster=raster, kept=[0.5])
    assert 0.5 in found.breakpoints
    np.testing.assert_array_equal(axis.storage.nearest(found.breakpoints), found.breakpoints)
    np.testing.assert_allclose(found.breakpoints * 20, np.rint(found.breakpoints * 20), atol=1e-9)


def test_storage_that_cannot_hold_the_raster_is_told() -> None:
    axis = Axis(np.array([0.0, 100.0]), "Input", "%", storage=Storage.of("uint8", "0.5"))
    with pytest.raises(EditRefused, match=r"storage has a step of 0\.5 %"):
        raster_of(axis, 0, 100, 0.2)
    with pytest.raises(EditRefused, match="storage has a step"):
        raster_of(axis, 0, 100, 0.75)


def test_a_straight_line_needs_its_ends_only() -> None:
    found = place(Lines(np.arange(5.0), np.arange(5.0)), tolerance=0.1)
    assert found.breakpoints.tolist() == [0.0, 4.0]


def test_lines_of_a_map_are_served_by_one_axis() -> None:
    # Kinks of two lines at different places: both must be breakpoints.
    y = np.stack([np.abs(X - 0.3), np.abs(X - 0.8)], axis=1)
    found = place(Lines(X, y), tolerance=1e-6)
    np.testing.assert_allclose(found.breakpoints, [0, 0.3, 0.8, 1], atol=1e-6)


@pytest.fixture(scope="module")
def normal() -> CalibrationSet:
    return open_file(SAMPLE_SETS / "larch_normal.h5").result().set


def test_map_axis_gets_fewer_breakpoints_with_the_error_said(normal: CalibrationSet) -> None:
    before = normal["pre_engage_torque"]
    found = place_breakpoints(normal, "pre_engage_torque", 1, tolerance=4.0)
    after = found.table("pre_engage_torque")
    axis = after.axes[1]
    assert 3 < len(axis) < len(before.axes[1])
    assert axis.storage.representable(axis.values).all()
    assert after.storage.representable(after.values).all()
    # The error as a controller would see it, read densely by the lookup.
    grid = [before.axes[0].values[:, None], np.linspace(0, 100, 1001)[None, :]]
    apart = np.abs(lookup(before, grid) - lookup(after, grid)).max()
    assert found.error_after is not None
    assert apart == pytest.approx(found.error_after.largest, abs=1e-9)
    assert apart <= 4.0 + after.storage.resolution / 2
    content = apply(normal, found.change())
    assert not [f for f in check(content).of("pre_engage_torque") if f.severity == "error"]
    assert "4 N·m" not in found.notes[0]
    assert found.notes[0].startswith(f"{len(axis)} breakpoints")


def test_shared_axis_changes_in_all_its_tables_or_is_left(normal: CalibrationSet) -> None:
    found = place_breakpoints(normal, "current_for_clamp_apply", 0, count=6)
    content = apply(normal, found.change())
    assert len(content.shared_axes["axis.clamp_branch"]) == 6
    assert content["current_for_clamp_release"].axes[0] == content.shared_axes["axis.clamp_branch"]
    assert any("releasing" in n for n in found.notes)
    alone = place_breakpoints(normal, "current_for_clamp_apply", 0, count=6, detach=True)
    content = apply(normal, alone.change())
    assert len(content.shared_axes["axis.clamp_branch"]) == 10
    assert content["current_for_clamp_apply"].axes[0].shared == ""


def test_a_dense_reference_brings_its_values_along() -> None:
    table = curve(np.linspace(0, 1, 6), np.zeros(6), storage=Storage.of("uint16", "0.001"))
    found = place_breakpoints(only(table), "curve", count=6, reference=(X, X**2))
    assert found.error_before is not None
    assert found.error_before.largest == pytest.approx(1.0)
    assert found.error_after is not None
    assert found.error_after.largest < 1 / 100 + 0.001
    assert found.error_placed is not None
    assert found.error_after.largest <= found.error_placed.largest + 0.001


def test_breakpoints_for_samples_lie_where_their_truth_bends() -> None:
    rng = np.random.default_rng(0)
    x = rng.uniform(0, 10, 4000)
    y = np.interp(x, [0, 2, 3, 10], [0, 1, 5, 6]) + rng.normal(size=x.size) * 0.02
    table = curve(np.linspace(0, 10, 6))
    found = place_breakpoints(only(table), "curve", count=4, samples=from_arrays([x], y))
    np.testing.assert_allclose(found.table("curve").axes[0].values, [0, 2, 3, 10], atol=0.15)
    np.testing.assert_allclose(found.values("curve"), [0, 1, 5, 6], atol=0.12)


def test_what_cannot_be_placed_is_refused() -> None:
    table = curve([0, 1, 2], [0.0, 1.0, 4.0])
    for wrong in ({}, {"count": 3, "tolerance": 1.0}, {"count": 1}, {"tolerance": 0.0}):
        with pytest.raises(EditRefused):
            place_breakpoints(only(table), "curve", **wrong)
    step = Axis(np.arange(3.0), "Wiper", interpolation=Interpolation.STEP)
    with pytest.raises(EditRefused, match="read in steps"):
        place_breakpoints(only(curve([0, 1, 2], [0.0, 1, 2], axis=step)), "curve", count=2)
    with pytest.raises(EditRefused, match="empty cells"):
        place_breakpoints(only(curve([0, 1, 2])), "curve", count=2)
    flat = from_arrays([np.full(50, 1.0)], np.arange(50.0))
    with pytest.raises(SamplesRefused, match="one place"):
        place_breakpoints(only(table), "curve", count=2, samples=flat)
    with pytest.raises(EditRefused, match="one line for every"):
        place_breakpoints(only(surface([0, 1], [0, 1])), "surface", count=2, reference=(X, X))
