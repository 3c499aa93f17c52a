"""Tables beside each other: units, other breakpoints, what differs, differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from app.plots.surface.layers import Layer, Style, as_layers, differing, frame_of, placed
from app.plots.surface.scene import sheet_beside, sheet_of
from calib_model.core.axis import Axis
from tests.surface.surface_maps import COLUMNS, ROWS, VALUES, fade, hill, uneven

CURSOR = (0, 0)


def test_only_cells_that_differ_are_drawn_for_an_overlay() -> None:
    other = VALUES.copy()
    other[1, 2] += 5
    saved = uneven(values=other)
    sheets, left_out = placed(as_layers([(uneven(), Style.SOLID), (saved, Style.DASHED)]), CURSOR)
    assert not left_out
    expected = np.zeros((3, 5), dtype=bool)
    expected[0:2, 1:3] = True
    np.testing.assert_array_equal(sheets[1].cells, expected)


def test_an_overlay_without_difference_is_left_away() -> None:
    sheets, left_out = placed([Layer(uneven()), Layer(uneven(), Style.DOTTED, "ref")], CURSOR)
    assert len(sheets) == 1
    assert not left_out


def test_empty_in_both_is_no_difference() -> None:
    values = VALUES.copy()
    values[0, 0] = np.nan
    one = sheet_of(uneven(), values)
    assert not differing(one, sheet_of(uneven(), values.copy())).any()
    assert differing(one, sheet_of(uneven(), VALUES))[0, 0]


def test_units_of_values_and_axes_are_converted() -> None:
    """0 degC is 273.15 K (the SI Brochure's definition); 1 kN.m is 1000 N.m."""
    rows = Axis(ROWS + 273.15, "Ambient temperature", "K")
    other = uneven(values=VALUES / 1000, unit="kN.m", axes=(rows, uneven().axes[1]))
    sheet = sheet_beside(uneven(), other, CURSOR)
    assert sheet is not None
    np.testing.assert_allclose(sheet.rows, ROWS, atol=1e-9)
    np.testing.assert_allclose(sheet.values, VALUES, rtol=1e-12)


def test_other_breakpoints_are_drawn_where_they_are() -> None:
    columns = Axis([0.0, 50.0, 120.0], "Pedal", "%")
    other = uneven(values=VALUES[:, [0, 3, 5]], axes=(uneven().axes[0], columns))
    sheets, _ = placed([Layer(uneven()), Layer(other, Style.DOTTED, "other")], CURSOR)
    np.testing.assert_array_equal(sheets[1].sheet.columns, [0, 50, 120])
    np.testing.assert_array_equal(sheets[1].sheet.values, VALUES[:, [0, 3, 5]])
    assert frame_of(sheets).columns == (0.0, 120.0)
    assert sheets[1].cells is None


def test_further_axes_are_cut_at_the_cursor() -> None:
    table = hill()
    gradient = Axis([0.0, 16.0, 20.0], "Gradient", "%")
    pedal = Axis([0.0, 100.0], "Pedal", "%")
    other = replace(table, values=table.values[:, [0, 4]], axes=(table.axes[0], pedal, gradient))
    sheet = sheet_beside(table, other, (0, 0, 1))
    assert sheet is not None
    # At a gradient of 8 %: half way between the other one's first and second plane.
    half = (table.values[:, [0, 4], 0] + table.values[:, [0, 4], 1]) / 2
    np.testing.assert_allclose(sheet.values, half)


def test_what_does_not_go_together_is_named() -> None:
    speed = uneven(unit="km/h")
    sheets, left_out = placed(
        [Layer(uneven()), Layer(speed, Style.DOTTED, "speed"), Layer(fade(), Style.DASHED, "fade")],
        CURSOR,
    )
    assert len(sheets) == 1
    assert left_out == ["speed", "fade"]


def test_a_difference_shows_the_level_of_zero() -> None:
    only_higher = uneven(values=np.abs(VALUES) + 5, lower=0, upper=9000)
    sheets, _ = placed([Layer(only_higher, Style.DIFFERENCE, "difference")], CURSOR)
    low, high = frame_of(sheets).values
    assert low < 0 < high
    assert high < 1000
    assert COLUMNS.size == sheets[0].sheet.columns.size
