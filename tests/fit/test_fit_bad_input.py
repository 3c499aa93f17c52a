"""Samples that cannot be fitted, or only with a warning: a clear answer or a clear refusal."""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.core.axis import Axis
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.errors import EditRefused
from calib_model.rules.shape import Monotone
from calib_model.shaping import AtOdds, explain
from calib_model.shaping.fit import fit
from calib_model.shaping.fit_options import FitOptions
from calib_model.shaping.samples import Samples, SamplesRefused, from_arrays
from tests.fit.making_fits import curve, only, surface

RISING = Monotone("pedal", "up", strict=True, gap=0.1)


def _force_table() -> Table:
    axes = (
        Axis(np.array([0.0, 4000.0, 12000.0]), "Clamp", "N", "clamp"),
        Axis(np.array([-40.0, 20.0, 100.0]), "Temperature", "degC", "motor_temperature"),
    )
    return Table("force", np.zeros((3, 3)), axes, unit="A", lower=0.0, upper=14.0)


def _force_samples(**changed: np.ndarray) -> Samples:
    rng = np.random.default_rng(0)
    given = {
        "clamp": rng.uniform(0, 12000, 300),
        "heat": rng.uniform(-40, 100, 300),
        "amps": rng.uniform(0, 1, 300),
    }
    given["amps"] = given["clamp"] / 1200 + 1
    given |= changed
    return from_arrays([given["clamp"], given["heat"]], given["amps"])


def test_empty_and_infinite_samples_are_left_out_and_counted() -> None:
    x = np.linspace(0, 10, 101)
    y = 2 * x
    y[3], y[40], x[50] = np.nan, np.inf, np.nan
    found = fit(only(curve([0, 5, 10])), "curve", from_arrays([x], y))
    np.testing.assert_allclose(found.values("curve"), [0, 10, 20], atol=1e-6)
    assert found.fits["curve"].screening.empty == 3
    assert any("3 of 101 samples have an empty or infinite cell" in n for n in found.notes)


def test_duplicates_are_told() -> None:
    x = np.tile(np.linspace(0, 10, 50), 3)
    rng = np.random.default_rng(0)
    y = np.tile(np.linspace(0, 20, 50) + rng.normal(size=50) * 0.1, 3)
    found = fit(only(curve([0, 5, 10])), "curve", from_arrays([x], y))
    assert found.fits["curve"].screening.duplicates == 100
    assert any("standard error is too small" in n for n in found.notes)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_samples_are_refused(count: int) -> None:
    samples = from_arrays([np.linspace(0, 10, count)], np.zeros(count))
    with pytest.raises(SamplesRefused, match=r"no samples|not enough"):
        fit(only(curve([0, 5, 10])), "curve", samples)


def test_all_samples_in_one_cell_are_refused_unless_the_rest_is_kept() -> None:
    rng = np.random.default_rng(0)
    table = surface(np.arange(12), np.arange(16), np.zeros((12, 16)))
    points = [rng.uniform(3.1, 3.9, 200), rng.uniform(7.1, 7.9, 200)]
    samples = from_arrays(points, np.ones(200))
    with pytest.raises(SamplesRefused, match="the rest would be guessed") as told:
        fit(only(table), "surface", samples)
    assert "keep the present values" in told.value.remedy
    found = fit(only(table), "surface", samples, FitOptions(elsewhere="keep"))
    assert (found.moved("surface") != 0).sum() == 4


def test_one_temperature_does_not_make_a_map() -> None:
    samples = _force_samples(heat=np.full(300, 20.0))
    with pytest.raises(SamplesRefused, match="only at 20 °C"):
        fit(only(_force_table()), "force", samples)


def test_constant_values_are_told_and_refused_where_the_table_must_rise() -> None:
    x = np.linspace(0, 10, 100)
    samples = from_arrays([x], np.full(100, 3.0))
    found = fit(only(curve([0, 5, 10])), "curve", samples)
    np.testing.assert_allclose(found.values("curve"), 3.0)
    assert any("right column" in n for n in found.notes)
    with pytest.raises(SamplesRefused, match="rises strictly"):
        fit(only(curve([0, 5, 10], rules=(RISING,))), "curve", samples)


def test_swapped_columns_are_recognised() -> None:
    good = _force_samples()
    swapped = from_arrays([good.points[1], good.points[0]], good.values)
    with pytest.raises(SamplesRefused, match="do not fit force") as told:
        fit(only(_force_table()), "force", swapped)
    assert told.value.remedy == "Are the columns of clamp and temperature exchanged?"
    with pytest.raises(SamplesRefused) as told:
        fit(
            only(_force_table()),
            "force",
            from_arrays([good.values, good.points[1]], good.points[0]),
        )
    assert told.value.remedy == "Are the columns of clamp and the value exchanged?"


def test_wrong_units_are_recognised() -> None:
    good = _force_samples()
    with pytest.raises(SamplesRefused) as told:
        fit(only(_force_table()), "force", from_arrays(good.points, good.values * 1000))
    assert told.value.remedy == "Is the column in mA instead of A?"
    kelvin = _force_samples(heat=good.points[1] + 273.15)
    with pytest.raises(SamplesRefused) as told:
        fit(only(_force_table()), "force", kelvin)
    assert told.value.remedy == "Is the column in K instead of degC?"


def test_kilonewtons_taken_for_newtons_leave_the_rest_to_be_guessed() -> None:
    good = _force_samples()
    with pytest.raises(SamplesRefused, match=r"from .* to 11.97 N only"):
        fit(
            only(_force_table()),
            "force",
            from_arrays([good.points[0] / 1000, good.points[1]], good.values),
        )


def test_a_wrong_column_shows_as_rules_that_pull() -> None:
    rng = np.random.default_rng(0)
    x = rng.uniform(0, 10, 300)
    table = curve([0, 5, 10], rules=(RISING,))
    found = fit(only(table), "curve", from_arrays([x], 20 - 2 * x + rng.normal(size=300) * 0.1))
    assert any("rules in force pull the values" in n for n in found.notes)
    assert {p.kind for p in found.diagnostics.active} == {"monotone"}


def test_noise_free_samples_are_met_exactly() -> None:
    x = np.linspace(0, 10, 100)
    for loss in ("squares", "huber", "biweight"):
        found = fit(
            only(curve([0, 5, 10])), "curve", from_arrays([x], 3 * x), FitOptions(loss=loss)
        )
        np.testing.assert_allclose(found.values("curve"), [0, 15, 30], atol=1e-6)


def test_rules_that_cannot_hold_are_explained() -> None:
    rules = (RISING, Monotone("pedal", "down", strict=True, gap=0.1))
    samples = from_arrays([np.linspace(0, 10, 100)], np.linspace(0, 1, 100))
    with pytest.raises(AtOdds) as told:
        fit(only(curve([0, 5, 10], rules=rules)), "curve", samples)
    assert explain(told.value.system) is not None


def test_scalars_deep_tables_and_disordered_axes_are_refused() -> None:
    samples = from_arrays([np.linspace(0, 1, 10)], np.zeros(10))
    with pytest.raises(EditRefused, match="only curves and maps"):
        fit(only(Table("tick", 1.0)), "tick", samples)
    with pytest.raises(EditRefused, match="out of order"):
        fit(only(curve([0, 2, 1])), "curve", samples)


def test_bad_settings_are_refused() -> None:
    for wrong in ({"loss": "l1"}, {"elsewhere": "zero"}, {"strength": -1.0}, {"gap": -1.0}):
        with pytest.raises(EditRefused):
            FitOptions(**wrong)


def test_samples_beyond_the_ends_are_left_out_or_held() -> None:
    x = np.linspace(-5, 15, 401)
    samples = from_arrays([x], np.clip(x, 0, 10) * 2)
    found = fit(only(curve([0, 5, 10])), "curve", samples)
    assert found.fits["curve"].screening.outside == (200,)
    np.testing.assert_allclose(found.values("curve"), [0, 10, 20], atol=1e-6)
    held = fit(only(curve([0, 5, 10])), "curve", samples, FitOptions(hold=(0,)))
    assert len(held.fits["curve"].samples) == 401


def test_values_are_on_the_raster_and_within_limits() -> None:
    rng = np.random.default_rng(0)
    x = rng.uniform(0, 10, 500)
    table = curve([0, 5, 10], storage=Storage.of("uint8", "0.5"), lower=0.0, upper=30.0)
    found = fit(only(table), "curve", from_arrays([x], 2.2 * x + rng.normal(size=500) * 0.1))
    assert found.values("curve").tolist() == [0.0, 11.0, 22.0]
