"""The lookup in numpy: how the controller reads a table between its breakpoints.

This is the definition; `calib_model.lookup.compiled` does the same operations in the same
order and agrees in the last bit.  Per axis a point lies at breakpoint ``i`` plus a fraction
``t`` of the way to the next one; the last axis is read first, and ``low + t * (high - low)``
is taken only where ``t`` is not zero.  So node values come back exactly, a plateau stays flat,
and an empty cell (NaN) spoils only the points to which it contributes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from calib_model.core.arrays import FloatArray, IntArray
from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.numbers import exact
from calib_model.core.table import Table
from calib_model.errors import LookupProblem

Points = Sequence[npt.ArrayLike] | Mapping[str, npt.ArrayLike]
"""One array per axis, broadcastable to each other, or arrays by input quantity."""


def lookup(table: Table, points: Points) -> FloatArray:
    """Read a table at some points.

    Parameters
    ----------
    table : Table
    points : sequence of array_like, or mapping of str to array_like
        One array per axis, in the axes' units and broadcastable to each other, or a mapping
        that gives one by the axis's input quantity (or name); it may hold more than is read.

    Returns
    -------
    ndarray of float64, of the points' broadcast shape (no dimensions for a scalar table)
        In the table's unit.  NaN where a point is NaN or an empty cell contributes.

    Raises
    ------
    LookupProblem
        If an axis is out of order, or the points do not fit the axes.
    """
    return lookup_values(table.axes, table.values, arranged(table, points), table.id)


def lookup_values(
    axes: Sequence[Axis],
    values: FloatArray,
    points: Sequence[npt.ArrayLike],
    table_id: str = "",
) -> FloatArray:
    """Read raw values over axes; see `lookup`.

    Parameters
    ----------
    axes : sequence of Axis
    values : ndarray of float64, one dimension per axis
    points : sequence of array_like, one per axis, broadcastable to each other
    table_id : str
        For the text of an error.
    """
    check_order(axes, table_id)
    flat = np.ascontiguousarray(values, dtype=np.float64).reshape(-1)
    located, shape = _located(axes, points, table_id)
    corners = [np.asarray(flat[cells]) for cells in _corner_cells(axes, located, shape)]
    with np.errstate(invalid="ignore", over="ignore"):
        for _, _, t in reversed(located):
            corners = [
                np.where(t == 0, low, low + t * (high - low))
                for low, high in zip(corners[::2], corners[1::2], strict=True)
            ]
    return np.asarray(corners[0], dtype=np.float64)


def weights(
    axes: Sequence[Axis], points: Sequence[npt.ArrayLike], table_id: str = ""
) -> tuple[IntArray, FloatArray]:
    """Return the lookup as linear weights on a table's cells.

    Parameters
    ----------
    axes : sequence of Axis
    points : sequence of array_like, one per axis, broadcastable to m points
    table_id : str
        For the text of an error.

    Returns
    -------
    cells : int array, shape (m, 2**len(axes))
        Flat cell numbers (C order).  A cell may be named twice in a row, once with weight 0.
    coefficients : float array, same shape
        The table's value at point ``p`` is ``sum(coefficients[p] * values[cells[p]])``; exactly
        one coefficient is 1 at a node.  NaN where the point is NaN.

    Raises
    ------
    LookupProblem
        If an axis is out of order, or the points do not fit the axes.
    """
    check_order(axes, table_id)
    located, shape = _located(axes, points, table_id)
    cells = _corner_cells(axes, located, shape)
    shares: list[npt.NDArray[np.float64]] = [np.ones(shape)]
    for _, _, t in located:
        shares = [share for before in shares for share in (before * (1.0 - t), before * t)]
    stacked = np.stack([np.broadcast_to(c, shape).reshape(-1) for c in cells], axis=-1)
    return stacked.astype(np.int64), np.stack([s.reshape(-1) for s in shares], axis=-1)


def arranged(table: Table, points: Points) -> tuple[npt.ArrayLike, ...]:
    """Return the points as one array per axis of `table`."""
    if not isinstance(points, Mapping):
        return tuple(points)
    chosen = []
    for axis in table.axes:
        key = axis.quantity if axis.quantity in points else axis.name
        if key not in points:
            raise LookupProblem(
                f"Table {table.id} reads {axis.quantity or axis.label}, which the points lack.",
                f"Give an array for {axis.quantity or axis.label}, in {axis.unit}.",
            )
        chosen.append(points[key])
    return tuple(chosen)


def check_order(axes: Sequence[Axis], table_id: str = "") -> None:
    """Raise LookupProblem if an axis does not rise strictly."""
    for axis in axes:
        if axis.ordered:
            continue
        place = int(np.flatnonzero(np.diff(axis.values) <= 0)[0])
        first, second = axis.values[place : place + 2].tolist()
        owner = f"Table {table_id}" if table_id else "A table"
        raise LookupProblem(
            f"{owner} cannot be read: breakpoint {place + 2} of its axis {axis.label} "
            f"({exact(second)} {axis.unit}) is not above the one before ({exact(first)} "
            f"{axis.unit}).",
            "Put the breakpoints in rising order.",
        )


def locate(axis: Axis, points: npt.ArrayLike) -> tuple[IntArray, IntArray, FloatArray]:
    """Find points on an axis.

    Parameters
    ----------
    axis : Axis
        In order.
    points : array_like of float, any shape

    Returns
    -------
    low, high : int arrays, the points' shape
        Breakpoints around each point; equal at the last one.
    t : float array, same shape
        Fraction of the way from `low` to `high`: exactly 0 at a breakpoint, on a step axis and
        beyond a held end; outside 0 to 1 beyond an extrapolated one; NaN for NaN.
    """
    x = np.asarray(points, dtype=np.float64)
    breakpoints = axis.values
    last = breakpoints.size - 1
    low = np.asarray(np.searchsorted(breakpoints, x, side="right") - 1)
    low = np.clip(low, 0, last)  # NaN sorts behind everything, so it gets the last breakpoint
    if axis.interpolation is Interpolation.STEP or last == 0:
        return low, np.minimum(low + 1, last), np.where(np.isnan(x), np.nan, 0.0)
    if axis.above is End.EXTRAPOLATED:
        low = np.where(x > breakpoints[-1], last - 1, low)
    high = np.minimum(low + 1, last)
    start = breakpoints[low]
    with np.errstate(invalid="ignore", over="ignore"):
        width = np.where(high > low, breakpoints[high] - start, 1.0)
        t = (x - start) / width
    if axis.above is End.HELD:
        t = np.where(x > breakpoints[-1], 0.0, t)
    if axis.below is End.HELD:
        t = np.where(x < breakpoints[0], 0.0, t)
    return low, high, np.asarray(t)


_Located = list[tuple[IntArray, IntArray, FloatArray]]


def _located(
    axes: Sequence[Axis], points: Sequence[npt.ArrayLike], table_id: str
) -> tuple[_Located, tuple[int, ...]]:
    arrays = [np.asarray(p, dtype=np.float64) for p in points]
    shape = points_shape(len(axes), arrays, table_id)
    return [locate(axis, x) for axis, x in zip(axes, arrays, strict=True)], shape


def points_shape(
    axis_count: int, arrays: Sequence[npt.NDArray[np.float64]], table_id: str = ""
) -> tuple[int, ...]:
    """Return the shape that the points broadcast to, or raise LookupProblem."""
    name = f"table {table_id}" if table_id else "the table"
    if len(arrays) != axis_count:
        raise LookupProblem(
            f"Points for {len(arrays)} axes were given, but {name} has {axis_count}.",
            "Give one array of points per axis.",
        )
    try:
        return np.broadcast_shapes(*(a.shape for a in arrays))
    except ValueError:
        shapes = ", ".join(str(a.shape) for a in arrays)
        raise LookupProblem(
            f"The points for {name} have shapes that do not go together: {shapes}.",
            "Give arrays of one shape, or single numbers.",
        ) from None


def _corner_cells(
    axes: Sequence[Axis], located: _Located, shape: tuple[int, ...]
) -> list[IntArray]:
    """Flat cells around each point, one array per corner; the last axis varies fastest."""
    corners: list[IntArray] = [np.zeros((), dtype=np.int64)]
    for axis, (low, high, _) in zip(axes, located, strict=True):
        count = axis.values.size
        corners = [before * count + end for before in corners for end in (low, high)]
    # Broadcast last: an axis given as one number is located once, not once per point.
    return [np.broadcast_to(c, shape) for c in corners]
