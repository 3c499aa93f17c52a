"""Tables turned round: there and back again, level stretches, and published tables."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.errors import EditRefused
from calib_model.lookup import lookup
from calib_model.shaping.breakpoints import place_breakpoints
from calib_model.shaping.fit import fit
from calib_model.shaping.invert import invert
from calib_model.shaping.invert_lines import inverse_of
from calib_model.shaping.samples import from_arrays
from calib_model.store import open_file
from tests.fit.making_fits import SAMPLE_SETS, curve, only

ambiance = pytest.importorskip("ambiance")


@pytest.fixture(scope="module")
def normal() -> CalibrationSet:
    return open_file(SAMPLE_SETS / "larch_normal.h5").result().set


@settings(max_examples=25)
@given(st.lists(st.integers(1, 30), min_size=2, max_size=8), st.booleans())
def test_there_and_back_is_exact_on_the_values_of_the_source(steps: list[int], falls: bool) -> None:
    y = np.concatenate([[0], np.cumsum(steps)]).astype(float)
    if falls:
        y = -y
    table = curve(np.arange(y.size) * 2.0, y, unit="N.m")
    found = invert(only(table), "curve", new_id="back")
    back = found.table("back")
    assert np.array_equal(back.axes[0].values, np.sort(y))
    dense = np.linspace(0, 2 * (y.size - 1), 99)
    np.testing.assert_allclose(lookup(back, [lookup(table, [dense])]), dense, atol=1e-9)
    assert found.trip is not None
    assert found.trip.value < 1e-9
    assert found.trip.input < 1e-9
    assert back.unit == "-"
    assert back.axes[0].unit == "N.m"
    again = invert(apply(only(table), found.change()), "back", new_id="again")
    np.testing.assert_allclose(again.values("again"), y, atol=1e-12)


def test_inverse_of_a_curved_line_against_scipys_root_finder() -> None:
    x = np.array([0.0, 1.0, 2.5, 4.0, 7.0])
    y = np.array([0.0, 0.4, 2.0, 2.2, 5.0])
    at = np.linspace(0.05, 4.95, 23)
    ours, beyond = inverse_of(x, y, at)
    theirs = [brentq(lambda v, a=a: np.interp(v, x, y) - a, 0, 7, xtol=1e-13) for a in at]
    np.testing.assert_allclose(ours, theirs, atol=1e-9)
    assert not beyond.any()
    assert PchipInterpolator(y, x)(2.0) == pytest.approx(inverse_of(x, y, np.array([2.0]))[0][0])


@pytest.mark.parametrize(
    ("end", "expected"), [("low", 1.0), ("middle", 2.0), ("high", 3.0), ("inner", 2.0)]
)
def test_a_plateau_is_reported_as_an_interval_and_one_end_is_taken(
    end: str, expected: float
) -> None:
    table = curve([0, 1, 3, 4], [0.0, 2.0, 2.0, 5.0])
    found = invert(only(table), "curve", new_id="back", end=end)
    (plateau,) = found.plateaus
    assert (plateau.value, plateau.first, plateau.last) == (2.0, 1.0, 3.0)
    back = found.table("back")
    assert back.values[back.axes[0].values == 2.0].tolist() == [expected]
    assert any("Level stretches" in n and "2 from 1 to 3" in n for n in found.notes)


def test_inner_ends_are_where_the_table_begins_to_move() -> None:
    # Free travel up to 2, saturation from 6 on: pressing begins at 2 and is done at 6.
    table = curve([0, 2, 6, 9], [0.0, 0.0, 8.0, 8.0])
    found = invert(only(table), "curve", new_id="back")
    assert found.values("back").tolist() == [2.0, 6.0]
    low = invert(only(table), "curve", new_id="back", end="low")
    assert low.values("back").tolist() == [0.0, 6.0]


def test_map_is_turned_round_per_temperature_into_its_own_table(normal: CalibrationSet) -> None:
    apply_table = normal["current_for_clamp_apply"]
    there = invert(normal, apply_table.id, new_id="clamp_for_current", tolerance=60.0)
    content = apply(normal, there.change())
    clamp = content["clamp_for_current"]
    assert clamp.axes[1] == apply_table.axes[1]
    # Through the lookup: the clamp that a current gives asks for that current again.
    for column, heat in enumerate(apply_table.axes[1].values):
        line = apply_table.values[:, column]
        amps = np.linspace(line[0], line[-1], 400)
        force = lookup(clamp, [amps, heat])
        exact = np.interp(amps, line, apply_table.axes[0].values)
        assert np.abs(force - exact).max() <= 60.0 + 0.5
    assert there.trip is not None
    assert there.beyond is not None
    assert there.beyond.any()
    assert any("never reaches" in n for n in there.notes)
    # And back into the table it came from, under that table's rules.
    back = invert(content, "clamp_for_current", into=apply_table.id)
    off = np.abs(back.values(apply_table.id) - apply_table.values)
    inside = np.ones(off.shape, dtype=bool)
    inside[-1] = False  # where the current no longer raises the clamp, the inner end is taken
    assert off[inside].max() < 0.08


def test_tables_that_cannot_be_turned_round_are_refused() -> None:
    content = only(curve([0, 1, 2, 3], [0.0, 2.0, 1.0, 3.0]))
    with pytest.raises(EditRefused, match="turns between 1 and 2"):
        invert(content, "curve", new_id="back")
    with pytest.raises(EditRefused, match="level all along"):
        invert(only(curve([0, 1], [1.0, 1.0])), "curve", new_id="back")
    good = only(curve([0, 1], [0.0, 1.0], unit="N"), curve([0, 1], [0.0, 1.0], id="other"))
    with pytest.raises(EditRefused, match="in 'N'"):
        invert(good, "curve", into="other")
    with pytest.raises(EditRefused, match="has a table 'other' already"):
        invert(good, "curve", new_id="other")
    with pytest.raises(EditRefused, match="Name a table to fill"):
        invert(good, "curve")
    with pytest.raises(EditRefused, match="into itself"):
        invert(good, "curve", into="curve")
    with pytest.raises(EditRefused, match="empty cells"):
        invert(only(curve([0, 1])), "curve", new_id="back")


def test_units_are_converted_on_the_way() -> None:
    axis = Axis(np.array([0.0, 2.0, 4.0]), "Clamp", "kN", "clamp")
    source = Table("current", [0.0, 1000.0, 3000.0], (axis,), unit="mA")
    target_axis = Axis(np.array([0.0, 1.0, 2.0, 3.0]), "Current", "A")
    target = Table("clamp", [0.0, 0, 0, 0], (target_axis,), unit="N", lower=0, upper=5000)
    found = invert(CalibrationSet([source, target]), "current", into="clamp")
    np.testing.assert_allclose(found.values("clamp"), [0, 2000, 3000, 4000])


# -- published tables ---------------------------------------------------------------------


def test_standard_atmosphere_fitted_placed_and_inverted() -> None:
    # ISO 2533:1975 as the package `ambiance` implements it: pressure over geopotential altitude
    # up to 20 km.  The standard prints altitudes to 1 m at most; the task here is 10 m.
    rng = np.random.default_rng(0)
    heights = rng.uniform(0, 20_000, 30_000)
    air = ambiance.Atmosphere(ambiance.Atmosphere.geop2geom_height(heights))
    noisy = air.pressure * (1 + rng.normal(size=heights.size) * 1e-4)
    axis = Axis(np.linspace(0, 20_000, 9), "Geopotential altitude", "m")
    content = only(Table("pressure", np.full(9, np.nan), (axis,), unit="Pa"))
    placed = place_breakpoints(
        content, "pressure", tolerance=60.0, samples=from_arrays([heights], noisy)
    )
    content = apply(content, placed.change())
    number = len(content["pressure"].axes[0])
    # (integral of sqrt(p''))^2 / (8 n^2) with p'' of the standard: the count that 60 Pa asks for.
    grid = np.linspace(0, 20_000, 4001)
    exact = ambiance.Atmosphere(ambiance.Atmosphere.geop2geom_height(grid)).pressure
    bend = np.sqrt(np.maximum(np.gradient(np.gradient(exact, grid), grid), 0))
    needed = np.trapezoid(bend, grid) / np.sqrt(8 * 60.0)
    assert needed - 2 <= number - 1 <= needed + 2
    read = lookup(content["pressure"], [grid])
    assert np.abs(read - exact).max() < 75.0
    # Dense pressure table inverted: altitude within 10 m of the standard's.
    nodes = np.linspace(0, 20_000, 161)
    dense_axis = Axis(nodes, "Geopotential altitude", "m")
    values = ambiance.Atmosphere(ambiance.Atmosphere.geop2geom_height(nodes)).pressure
    dense = only(Table("pressure", values, (dense_axis,), unit="Pa"))
    turned = invert(dense, "pressure", new_id="altitude", tolerance=5.0)
    back = lookup(turned.table("altitude"), [exact])
    assert np.abs(back - grid).max() < 10.0
    assert len(turned.table("altitude").axes[0]) < 161


# ITS-90 reference function and inverse of thermocouple type K, 0 to 1372 degC and 0 to 500 degC;
# NIST Monograph 175, coefficients typed from memory, checked against each other and against three
# values of its table (also from memory) below.
_K = [
    -0.176004136860e-01, 0.389212049750e-01, 0.185587700320e-04, -0.994575928740e-07,
    0.318409457190e-09, -0.560728448890e-12, 0.560750590590e-15, -0.320207200030e-18,
    0.971511471520e-22, -0.121047212750e-25,
]  # fmt: skip
_K_EXTRA = (0.118597600000, -0.118343200000e-03, 126.9686)
_K_INVERSE = [
    0.0, 2.508355e01, 7.860106e-02, -2.503131e-01, 8.315270e-02, -1.228034e-02, 9.804036e-04,
    -4.413030e-05, 1.057734e-06, -1.052755e-08,
]  # fmt: skip
_INVERSE_ERROR = 0.06  # published: -0.05 to 0.04 K; a little for rounding


def _emf(celsius: np.ndarray) -> np.ndarray:
    a, b, c = _K_EXTRA
    return np.polynomial.polynomial.polyval(celsius, _K) + a * np.exp(b * (celsius - c) ** 2)


def test_thermocouple_table_fitted_placed_and_inverted() -> None:
    np.testing.assert_allclose(_emf(np.array([0.0, 100.0, 500.0])), [0, 4.096, 20.644], atol=5e-4)
    rng = np.random.default_rng(1)
    celsius = rng.uniform(0, 500, 20_000)
    axis = Axis(np.linspace(0, 500, 26), "Temperature", "degC", storage=Storage.of("uint16", "0.5"))
    table = Table(
        "emf", np.full(26, np.nan), (axis,), unit="mV", storage=Storage.of("uint16", "0.0005")
    )
    samples = from_arrays([celsius], _emf(celsius) + rng.normal(size=celsius.size) * 0.002)
    content = apply(only(table), fit(only(table), "emf", samples).change())
    grid = np.linspace(0, 500, 2001)
    assert np.abs(lookup(content["emf"], [grid]) - _emf(grid)).max() < 0.004  # mV, 0.1 K
    turned = invert(content, "emf", new_id="temperature", tolerance=0.05)
    content = apply(content, turned.change())
    back = lookup(content["temperature"], [_emf(grid)])
    published = np.polynomial.polynomial.polyval(_emf(grid), _K_INVERSE)
    assert np.abs(published - grid).max() < _INVERSE_ERROR
    # 0.25 K: half a step of the storage of temperature; 0.05 + 0.1 K of placing and fitting.
    assert np.abs(back - grid).max() < 0.25 + 0.05 + 0.1
    assert np.abs(back - published).max() < 0.25 + 0.05 + 0.1 + _INVERSE_ERROR
