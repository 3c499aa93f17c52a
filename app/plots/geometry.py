"""Where things are drawn: positions of breakpoints, cell edges, the line a controller reads.

Plain numpy, so that it can be checked without a screen.
"""

from __future__ import annotations

import numpy as np

from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.table import Table
from calib_model.core.units import convert
from calib_model.errors import BitepointError
from calib_model.lookup import lookup

Points = tuple[FloatArray, FloatArray]


def positions(axis: Axis) -> FloatArray:
    """Return where an axis's breakpoints are drawn: truly, or 0, 1, 2 if they are out of order.

    Returns
    -------
    float array, shape (n,), rising
    """
    return axis.values if axis.ordered else np.arange(len(axis), dtype=np.float64)


def edges(places: FloatArray) -> FloatArray:
    """Return the borders of the cells around breakpoints.

    Borders lie half way between breakpoints; the first and last cell reach as far out as in.

    Parameters
    ----------
    places : float array, shape (n,), rising

    Returns
    -------
    float array, shape (n + 1,)
    """
    if places.size == 1:
        return np.array([places[0] - 0.5, places[0] + 0.5])
    half = np.diff(places) / 2
    return np.concatenate(([places[0] - half[0]], places[:-1] + half, [places[-1] + half[-1]]))


def inner_line(axis: Axis, values: FloatArray) -> Points:
    """Return the line between the first and last breakpoint as the controller reads it.

    Parameters
    ----------
    axis : Axis
    values : float array, shape (n,)
        At the breakpoints; NaN leaves a gap.

    Returns
    -------
    x, y : float arrays
        Corners of the line.  On a disordered axis, which no controller can read, straight
        lines from point to point at index spacing.
    """
    x = positions(axis)
    if axis.ordered and axis.interpolation is Interpolation.STEP:
        # Each value holds until the next breakpoint: a corner before every rise.
        return np.repeat(x, 2)[1:], np.repeat(values, 2)[:-1]
    return x, values


def outer_line(axis: Axis, values: FloatArray, reach: float) -> Points:
    """Return what is read beyond both ends, as two lines parted by NaN.

    Parameters
    ----------
    axis : Axis
    values : float array, shape (n,)
    reach : float
        How far beyond the ends to draw, in the axis's unit.

    Returns
    -------
    x, y : float arrays, shape (5,), or empty ones for a disordered axis
    """
    if not axis.ordered:
        return np.empty(0), np.empty(0)
    x = axis.values
    rise_low = rise_high = 0.0
    if x.size > 1 and axis.interpolation is Interpolation.LINEAR:
        if axis.below is End.EXTRAPOLATED:
            rise_low = (values[1] - values[0]) / (x[1] - x[0])
        if axis.above is End.EXTRAPOLATED:
            rise_high = (values[-1] - values[-2]) / (x[-1] - x[-2])
    return (
        np.array([x[0] - reach, x[0], np.nan, x[-1], x[-1] + reach]),
        np.array(
            [
                values[0] - rise_low * reach,
                values[0],
                np.nan,
                values[-1],
                values[-1] + rise_high * reach,
            ]
        ),
    )


def outline(selection: BoolArray, x_edges: FloatArray, y_edges: FloatArray) -> Points:
    """Return the border of selected cells as separate strokes.

    Parameters
    ----------
    selection : bool array, shape (rows, columns)
    x_edges : float array, shape (columns + 1,)
    y_edges : float array, shape (rows + 1,)

    Returns
    -------
    x, y : float arrays, shape (2k,)
        Two points for each stroke.
    """
    marks = np.pad(selection, 1)
    rows, columns = np.nonzero(marks[1:, 1:-1] != marks[:-1, 1:-1])
    level_x = np.stack([x_edges[columns], x_edges[columns + 1]], axis=-1)
    level_y = np.stack([y_edges[rows], y_edges[rows]], axis=-1)
    rows, columns = np.nonzero(marks[1:-1, 1:] != marks[1:-1, :-1])
    upright_x = np.stack([x_edges[columns], x_edges[columns]], axis=-1)
    upright_y = np.stack([y_edges[rows], y_edges[rows + 1]], axis=-1)
    return (
        np.concatenate([level_x.reshape(-1), upright_x.reshape(-1)]),
        np.concatenate([level_y.reshape(-1), upright_y.reshape(-1)]),
    )


def on_axes_of(table: Table, other: Table) -> FloatArray | None:
    """Return another table's values at this one's breakpoints and in its unit, if they exist.

    Returns
    -------
    float array of the shape of `table`, or None
        None if the two have not the same number of axes, an axis is out of order, or the units
        are of different kinds.
    """
    if other.values.ndim != table.values.ndim:
        return None
    try:
        if all(_same_points(a, b) for a, b in zip(table.axes, other.axes, strict=True)):
            values = other.values
        else:
            if not all(axis.ordered for axis in table.axes):
                return None
            grid = np.meshgrid(*(a.values for a in table.axes), indexing="ij", sparse=True)
            values = lookup(other, grid)
        return _in_unit(values, other.unit, table.unit)
    except BitepointError:
        return None


def slice_on_axis(
    table: Table, other: Table, along: int, cell: tuple[int, ...]
) -> tuple[Axis, FloatArray] | None:
    """Return another table's slice through a cell of this one, over its own breakpoints.

    Parameters
    ----------
    table, other : Table
    along : int
        Axis that the slice runs along.
    cell : tuple of int
        Cell of `table`; its coordinates on the other axes tell where to cut.

    Returns
    -------
    axis, values : Axis and float array, shape (len(axis),); or None if there is no such slice
    """
    if other.values.ndim != table.values.ndim or not table.values.ndim:
        return None
    axis = other.axes[along]
    places = [np.asarray(v) for v in table.coordinates(cell)]
    rest = [i for i in range(len(table.axes)) if i != along]
    try:
        if all(_same_points(table.axes[i], other.axes[i]) for i in rest):
            index = tuple(slice(None) if i == along else cell[i] for i in range(len(cell)))
            values = other.values[index]
        else:
            values = lookup(other, [axis.values if i == along else p for i, p in enumerate(places)])
        return axis, _in_unit(values, other.unit, table.unit)
    except BitepointError:
        return None


def _same_points(a: Axis, b: Axis) -> bool:
    return a is b or bool(np.array_equal(a.values, b.values))


def _in_unit(values: FloatArray, source: str, target: str) -> FloatArray:
    if source == target:
        return values

    return convert(values, source, target)
