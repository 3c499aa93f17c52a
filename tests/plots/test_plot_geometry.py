"""Where things are drawn, against SciPy and cases worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import interp1d

from app.plots import geometry
from app.plots.snap import snapped
from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.storage import Storage
from calib_model.core.table import Table


def test_edges_lie_half_way_between_breakpoints() -> None:
    # The rule of matplotlib's pcolormesh with shading="nearest" (its documentation, from memory):
    # half way between centres, and mirrored at the ends.
    assert geometry.edges(np.array([0.0, 10.0, 40.0, 100.0])).tolist() == [-5, 5, 25, 70, 130]
    assert geometry.edges(np.array([7.0])).tolist() == [6.5, 7.5]


def drawn_at(line: tuple[np.ndarray, np.ndarray], x: np.ndarray) -> np.ndarray:
    """Read a drawn line at points between its corners."""
    return np.interp(x, *line)


@pytest.mark.parametrize(
    ("how", "kind"), [(Interpolation.LINEAR, "linear"), (Interpolation.STEP, "previous")]
)
def test_the_line_is_what_scipy_reads(how: Interpolation, kind: str) -> None:
    # scipy.interpolate.interp1d, kinds "linear" and "previous", as the outside reference.
    x, y = np.array([-40.0, -10, 0, 5, 50]), np.array([3.0, 1, 4, 1, 5])
    places = np.linspace(-39.9, 49.9, 777)
    line = geometry.inner_line(Axis(x, interpolation=how), y)
    assert drawn_at(line, places) == pytest.approx(interp1d(x, y, kind=kind)(places))


def test_ends_are_held_or_go_on_as_scipy_does() -> None:
    x, y = np.array([0.0, 10, 40]), np.array([5.0, 7, 1])
    px, py = geometry.outer_line(Axis(x, above=End.EXTRAPOLATED), y, 20.0)
    assert px[[0, 1, 3, 4]].tolist() == [-20, 0, 40, 60]
    assert py[:2].tolist() == [5, 5]
    beyond = interp1d(x, y, fill_value="extrapolate")(60.0)
    assert py[4] == pytest.approx(beyond)
    assert np.isnan(px[2])


def test_a_step_axis_never_goes_on_rising() -> None:
    axis = Axis([0, 1], interpolation=Interpolation.STEP, above=End.EXTRAPOLATED)
    assert geometry.outer_line(axis, np.array([1.0, 2.0]), 1.0)[1][[3, 4]].tolist() == [2, 2]


def test_a_disordered_axis_is_drawn_by_index() -> None:
    axis = Axis([0, 20, 10, 30])
    x, y = geometry.inner_line(axis, np.array([1.0, 2, 3, 4]))
    assert x.tolist() == [0, 1, 2, 3]
    assert y.tolist() == [1, 2, 3, 4]
    assert geometry.outer_line(axis, y, 5.0)[0].size == 0


def test_outline_of_a_rectangle_and_a_hole() -> None:
    chosen = np.zeros((3, 4), dtype=bool)
    chosen[1, 1:3] = True
    x, y = geometry.outline(chosen, np.arange(5.0), np.arange(4.0) * 10)
    assert x.size == 2 * 6  # two above, two below, one at each side
    assert (x.min(), x.max(), y.min(), y.max()) == (1, 3, 10, 20)
    ring = np.ones((3, 3), dtype=bool)
    ring[1, 1] = False
    x, _ = geometry.outline(ring, np.arange(4.0), np.arange(4.0))
    assert x.size == 2 * (12 + 4)


def two_maps() -> tuple[Table, Table]:
    here = Table("m", np.zeros((2, 3)), (Axis([0, 10]), Axis([0, 1, 2])), unit="N.m")
    # The same plane z = 100 a + b, over other breakpoints.
    a, b = np.array([0.0, 5, 10]), np.array([0.0, 2])
    other = Table("m", 100 * a[:, None] + b[None, :], (Axis(a), Axis(b)), unit="N.m")
    return here, other


def test_another_table_is_read_at_this_ones_breakpoints() -> None:
    here, other = two_maps()
    # Worked by hand: bilinear interpolation gives a plane back exactly.
    expected = [[0, 1, 2], [1000, 1001, 1002]]
    found = geometry.on_axes_of(here, other)
    assert found is not None
    assert found.tolist() == expected
    cut = geometry.slice_on_axis(here, other, 1, (1, 0))
    assert cut is not None
    assert cut[0].values.tolist() == [0, 2]
    assert cut[1].tolist() == [1000, 1002]


def test_tables_that_do_not_go_together_have_no_difference() -> None:
    here, other = two_maps()
    curve = Table("m", [1.0, 2, 3], (Axis([0, 1, 2]),), unit="N.m")
    assert geometry.on_axes_of(here, curve) is None
    force = Table("m", other.values, other.axes, unit="kN")
    assert geometry.on_axes_of(here, force) is None


def test_another_unit_is_converted() -> None:
    here = Table("t", [0.0, 0.0], (Axis([0, 1]),), unit="degC")
    other = Table("t", [273.15, 373.15], (Axis([0, 1]),), unit="K")
    found = geometry.on_axes_of(here, other)
    # 0 degC is 273.15 K by definition (SI brochure, from memory).
    assert found == pytest.approx([0.0, 100.0])


STORAGE = Storage.of("uint16", "0.5")


def test_snapping_to_the_raster_and_the_limits() -> None:
    table = Table("t", [0.0, 0.0], (Axis([0, 1]),), lower=10.2, upper=20.2, storage=STORAGE)
    assert snapped(table, 15.2, 0.1) == 15.0
    assert snapped(table, 99.0, 0.1) == 20.0  # 20.5 would be nearer to nothing allowed
    assert snapped(table, -5.0, 0.1) == 10.5


def test_a_float_is_rounded_to_what_the_pointer_can_tell() -> None:
    table = Table("t", [0.0, 0.0], (Axis([0, 1]),), upper=8.05)
    assert snapped(table, 3.14159, 0.03) == 3.14
    assert snapped(table, 3.14159, 0.4) == 3.1
    free = Table("t", [0.0, 0.0], (Axis([0, 1]),))
    assert snapped(free, 1234.5, 30.0) == 1230.0
    assert snapped(table, 8.9, 1.0) == 8.05


@given(
    st.floats(-1e4, 1e4),
    st.integers(1, 50),
    st.integers(1, 50),
    st.floats(-50, 50),
    st.floats(1, 100),
)
def test_a_snapped_value_is_stored_exactly_and_within_limits(
    value: float, numerator: int, denominator: int, low: float, width: float
) -> None:
    storage = Storage("int16", numerator, denominator)
    high = low + max(width, 2 * numerator / denominator)
    table = Table("t", [0.0], (Axis([0]),), lower=low, upper=high, storage=storage)
    found = snapped(table, value, 0.1)
    assert storage.representable(found)
    assert low <= found <= high
