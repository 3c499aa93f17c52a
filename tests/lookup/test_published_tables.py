"""The lookup against a published table: the standard atmosphere of ISO 2533:1975."""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.core.axis import Axis, End
from calib_model.core.table import Table
from calib_model.lookup import compiled, lookup

# ISO 2533:1975, temperature at the bounds of its layers against geopotential altitude; typed
# from memory, confirmed below by the `ambiance` package, which implements the standard.
LAYERS_KM = [0, 11, 20, 32, 47, 51, 71, 80]
TEMPERATURE_K = [288.15, 216.65, 216.65, 228.65, 270.65, 270.65, 214.65, 196.65]

ambiance = pytest.importorskip("ambiance")


@pytest.mark.parametrize("how", [False, True], ids=["numpy", "compiled"])
def test_layer_table_gives_the_standards_temperature(how: bool) -> None:
    # The standard's temperature is piecewise linear in geopotential altitude, so eight
    # breakpoints must give it everywhere.
    axis = Axis(np.array(LAYERS_KM) * 1000.0, name="Geopotential altitude", unit="m")
    table = Table("temperature", TEMPERATURE_K, (axis,), unit="K")
    air = ambiance.Atmosphere(np.linspace(0, 81_000, 2_001))
    result = lookup(table, [air.H], compiled=how and compiled.available())
    np.testing.assert_allclose(result, air.temperature, rtol=0, atol=1e-9)


def test_pressure_errs_by_no_more_than_the_interpolation_bound() -> None:
    # Linear interpolation errs by at most h^2/8 max|f''| (any numerical analysis text).
    # In the lowest layer p'' = p g M/(R T) (g M/(R T) - L/T) / 1 with L the lapse rate.
    step = 500.0
    nodes = np.arange(0, 11_001, step)
    heights = ambiance.Atmosphere(ambiance.Atmosphere.geop2geom_height(nodes))
    table = Table("pressure", heights.pressure, (Axis(nodes, unit="m"),), unit="Pa")
    between = ambiance.Atmosphere(np.linspace(1, 10_900, 777))
    error = np.abs(lookup(table, [between.H]) - between.pressure)
    g, gas, lapse = 9.80665, 287.05287, 0.0065
    k = g / (gas * 288.15)
    bound = step**2 / 8 * 101_325 * k * (k - lapse / 288.15)  # p'' is largest at the ground
    assert 0.5 * bound < error.max() <= bound * (1 + 1e-6)


def test_below_sea_level_needs_the_extrapolated_end() -> None:
    # ISO 2533 goes on with the same gradient below sea level: 301.15 K at -2000 m.
    held = Axis([0.0, 11_000.0])
    open_ended = Axis([0.0, 11_000.0], below=End.EXTRAPOLATED)
    assert lookup(Table("t", [288.15, 216.65], (held,)), [-2000.0]) == 288.15
    air = ambiance.Atmosphere(ambiance.Atmosphere.geop2geom_height(-2000.0))
    np.testing.assert_allclose(air.temperature, 301.15)
    result = lookup(Table("t", [288.15, 216.65], (open_ended,)), [-2000.0])
    np.testing.assert_allclose(result, air.temperature[0], rtol=0, atol=1e-9)
