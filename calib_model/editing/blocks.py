"""Block operations: new values for a selection of cells.

Each function takes a table and a selection and returns the table's whole array of new values;
`editing.change.values_change` turns it into an undoable change.  A selection is a boolean
array of the table's shape.  Cells outside it are never touched.  Operations that need a
rectangle (ramp, corners, fill) take the selection's bounding box in the plane of the first two
axes, for every slice of further axes that has a selected cell.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.planes import plane_index
from ..core.table import Table
from ..errors import EditRefused


def set_value(table: Table, selection: BoolArray, value: float) -> FloatArray:
    """Give every selected cell one value (NaN empties it)."""
    return changed_cells(table, selection, lambda old: np.full_like(old, value))


def scale(table: Table, selection: BoolArray, factor: float) -> FloatArray:
    """Multiply the selected cells."""
    return changed_cells(table, selection, lambda old: old * factor)


def offset(table: Table, selection: BoolArray, amount: float) -> FloatArray:
    """Add one amount to the selected cells."""
    return changed_cells(table, selection, lambda old: old + amount)


def add(table: Table, selection: BoolArray, amounts: FloatArray) -> FloatArray:
    """Add an array of the table's shape (another table's values, say) in the selected cells."""
    if amounts.shape != table.shape:
        raise EditRefused(
            f"{table.label} has shape {table.shape}; an array of shape {amounts.shape} "
            "cannot be added."
        )
    return changed_cells(table, selection, lambda old: old + amounts[selection])


def clip(table: Table, selection: BoolArray, low: float, high: float) -> FloatArray:
    """Keep the selected cells within [low, high]."""
    if low > high:
        raise EditRefused("The lower limit is above the upper one.", "Exchange the two.")
    return changed_cells(table, selection, lambda old: np.clip(old, low, high))


def round_to_storage(table: Table, selection: BoolArray) -> FloatArray:
    """Round the selected cells to the nearest values the controller can hold."""
    return changed_cells(table, selection, table.storage.nearest)


def step(table: Table, selection: BoolArray, steps: int) -> FloatArray:
    """Move the selected cells by whole storage steps (0.1 % of the span for float storage).

    Values that lie off the raster move to it first, in the direction of the step.
    """
    size = table.storage.resolution
    if not size:
        return offset(table, selection, steps * (table.span or 1.0) * 1e-3)

    def moved(old: FloatArray) -> FloatArray:
        exact = (old * table.storage.denominator - table.storage.offset) / table.storage.numerator
        on_raster = table.storage.representable(old)
        start = np.where(
            on_raster, np.rint(exact), np.floor(exact) if steps > 0 else np.ceil(exact)
        )
        low, high = table.storage.raw_range
        return table.storage.physical(np.clip(start + steps, low, high))

    return changed_cells(table, selection, moved)


def fill_down(table: Table, selection: BoolArray) -> FloatArray:
    """Copy the first selected row into the rows below, column by column."""
    return _filled(table, selection, axis=0)


def fill_right(table: Table, selection: BoolArray) -> FloatArray:
    """Copy the first selected column into the columns to its right, row by row."""
    return _filled(table, selection, axis=1)


def ramp(table: Table, selection: BoolArray, first: float, last: float, axis: int) -> FloatArray:
    """Fill the selection with a straight line from `first` to `last` along an axis.

    The line is straight over the breakpoints, so unequal spacing gives unequal steps.
    """
    values = table.values.copy()
    axis = _existing_axis(table, axis)
    x = table.axes[axis].values
    picked = np.flatnonzero(selection.any(axis=_others(table, axis)))
    _need_two(picked, table, axis)
    start, stop = x[picked[0]], x[picked[-1]]
    _need_span(start, stop, table, axis)
    line = first + (last - first) * ((x - start) / (stop - start))
    line[picked[0]], line[picked[-1]] = first, last
    shaped = line.reshape([-1 if a == axis else 1 for a in range(values.ndim)])
    return np.where(selection, np.broadcast_to(shaped, values.shape), values)


def interpolate_along(table: Table, selection: BoolArray, axis: int) -> FloatArray:
    """Replace the inside of the selection by straight lines between its two ends on an axis."""
    values = table.values.copy()
    axis = _existing_axis(table, axis)
    x = table.axes[axis].values
    lines = np.moveaxis(values, axis, -1)
    marks = np.moveaxis(selection, axis, -1)
    done = False
    for index in np.ndindex(*lines.shape[:-1]):
        picked = np.flatnonzero(marks[index])
        if picked.size < 3:
            continue
        a, b = picked[0], picked[-1]
        _need_span(x[a], x[b], table, axis)
        inner = picked[1:-1]
        share = (x[inner] - x[a]) / (x[b] - x[a])
        lines[index][inner] = lines[index][a] + share * (lines[index][b] - lines[index][a])
        done = True
    if not done:
        raise EditRefused(
            "There is nothing between the ends of the selection.",
            "Select three cells or more along the axis; the two ends are kept.",
        )
    return values


def interpolate_corners(table: Table, selection: BoolArray) -> FloatArray:
    """Replace a selected rectangle by the bilinear surface through its four corners."""
    if table.values.ndim < 2:
        return interpolate_along(table, selection, 0)
    values = table.values.copy()
    for plane, (rows, columns) in _rectangles(table, selection):
        y, x = table.axes[0].values[rows], table.axes[1].values[columns]
        _need_two(rows, table, 0)
        _need_two(columns, table, 1)
        _need_span(y[0], y[-1], table, 0)
        _need_span(x[0], x[-1], table, 1)
        down = ((y - y[0]) / (y[-1] - y[0]))[:, None]
        right = ((x - x[0]) / (x[-1] - x[0]))[None, :]
        block = values[plane_index(plane)]
        corner = block[np.ix_(rows[[0, -1]], columns[[0, -1]])]
        top = corner[0, 0] + right * (corner[0, 1] - corner[0, 0])
        bottom = corner[1, 0] + right * (corner[1, 1] - corner[1, 0])
        surface = top + down * (bottom - top)
        surface[np.ix_([0, -1], [0, -1])] = corner
        block[np.ix_(rows, columns)] = surface
    return np.where(selection, values, table.values)


def mirror(table: Table, selection: BoolArray, axis: int, *, negate: bool = False) -> FloatArray:
    """Reverse the selected block along an axis, with the sign turned if `negate`."""
    axis = _existing_axis(table, axis)
    picked = np.flatnonzero(selection.any(axis=_others(table, axis)))
    values = table.values.copy()
    lines = np.moveaxis(values, axis, 0)
    old = np.moveaxis(table.values, axis, 0)
    lines[picked] = -old[picked[::-1]] if negate else old[picked[::-1]]
    return np.where(selection, values, table.values)


def local_average(table: Table, selection: BoolArray, passes: int = 1) -> FloatArray:
    """Replace each selected cell by the mean of itself and its neighbours along every axis.

    Neighbours are weighted by nearness on the true breakpoints (a straight line stays as it
    is); cells at an edge keep their value along that axis.  Empty cells are left out.
    """
    values = table.values.copy()
    for _ in range(passes):
        means = [_line_average(values, table.axes[a].values, a) for a in range(values.ndim)]
        if not means:
            return values
        with np.errstate(invalid="ignore"):
            mean = sum(means) / len(means)
        values = np.where(selection & np.isfinite(mean), mean, values)
    return values


def reinterpolate(table: Table, selection: BoolArray) -> FloatArray:
    """Fill the selected cells from the others, by straight lines along each axis, averaged.

    Along an axis a cell is interpolated between the nearest unselected, filled cells; where
    only one side has such cells, its end slope is continued.  Axes that give no answer are
    left out of the mean.

    Raises
    ------
    EditRefused
        If a cell has too few neighbours to tell its value.
    """
    good = ~selection & np.isfinite(table.values)
    estimates = np.stack(
        [_estimate(table.values, good, table.axes[a].values, a) for a in range(table.values.ndim)]
        or [np.full(table.shape, np.nan)]
    )
    known = np.isfinite(estimates)
    # A cell between two neighbours is told better by them than by a continued slope.
    inside = np.stack(
        [_between(good, a) for a in range(table.values.ndim)] or [np.zeros(table.shape, bool)]
    )
    use = known & np.where(inside.any(axis=0), inside, True)
    count = use.sum(axis=0)
    if (selection & (count == 0)).any():
        raise EditRefused(
            f"{table.label} has too few filled neighbours to tell the selected cells' values.",
            "Select fewer cells, or type the values.",
        )
    with np.errstate(invalid="ignore"):
        mean = np.where(use, estimates, 0.0).sum(axis=0) / np.maximum(count, 1)
    mean = np.clip(mean, table.lower, table.upper)
    return np.where(selection, mean, table.values)


# -- helpers -----------------------------------------------------------------------------


def changed_cells(
    table: Table, selection: BoolArray, operation: Callable[[FloatArray], FloatArray]
) -> FloatArray:
    """Return the table's values with an operation done to the selected ones.

    Raises
    ------
    EditRefused
        If a value would become too large.
    """
    values = table.values.copy()
    with np.errstate(over="ignore", invalid="ignore"):
        new = operation(values[selection])
    if np.isinf(new).any():
        raise EditRefused(
            f"A value of {table.label} would become too large for a number.",
            "Choose a smaller one.",
        )
    values[selection] = new
    return values


def _others(table: Table, axis: int) -> tuple[int, ...]:
    return tuple(a for a in range(table.values.ndim) if a != axis)


def _existing_axis(table: Table, axis: int) -> int:
    if not 0 <= axis < table.values.ndim:
        raise EditRefused(f"{table.label} has no axis {axis + 1}.", "Choose one that it has.")
    return axis


def _need_two(picked: np.ndarray, table: Table, axis: int) -> None:
    if picked.size < 2:
        raise EditRefused(
            "The selection is one cell wide along the axis "
            f"{table.axes[axis].label.lower() or axis + 1}.",
            "Select two cells or more along it.",
        )


def _need_span(start: float, stop: float, table: Table, axis: int) -> None:
    if not start < stop:
        raise EditRefused(
            f"The axis {table.axes[axis].label.lower()} is out of order here.",
            "Mend the axis first.",
        )


def _rectangles(
    table: Table, selection: BoolArray
) -> Iterator[tuple[tuple[int, ...], tuple[np.ndarray, np.ndarray]]]:
    """Yield the bounding rectangle of the selection in each plane of the first two axes."""
    for plane in np.ndindex(*table.shape[2:]):
        marks = selection[plane_index(plane)]
        if marks.any():
            rows = np.flatnonzero(marks.any(axis=1))
            columns = np.flatnonzero(marks.any(axis=0))
            yield (
                plane,
                (np.arange(rows[0], rows[-1] + 1), np.arange(columns[0], columns[-1] + 1)),
            )


def _filled(table: Table, selection: BoolArray, axis: int) -> FloatArray:
    if table.values.ndim == 1:
        axis = 0
    axis = _existing_axis(table, axis)
    values = table.values.copy()
    lines, marks = np.moveaxis(values, axis, -1), np.moveaxis(selection, axis, -1)
    for index in np.ndindex(*lines.shape[:-1]):
        picked = np.flatnonzero(marks[index])
        if picked.size > 1:
            lines[index][picked] = lines[index][picked[0]]
    return values


def _line_average(values: FloatArray, x: FloatArray, axis: int) -> FloatArray:
    lines = np.moveaxis(values, axis, -1).copy()
    if lines.shape[-1] >= 3:
        left, right = x[1:-1] - x[:-2], x[2:] - x[1:-1]
        with np.errstate(invalid="ignore", divide="ignore"):
            chord = (lines[..., :-2] * right + lines[..., 2:] * left) / (left + right)
            inner = (lines[..., 1:-1] + chord) / 2
        lines[..., 1:-1] = np.where(np.isfinite(inner), inner, lines[..., 1:-1])
    return np.moveaxis(lines, -1, axis)


def _between(good: BoolArray, axis: int) -> BoolArray:
    """Which cells have a good cell on both sides along an axis."""
    lines = np.moveaxis(good, axis, -1)
    before = np.logical_or.accumulate(lines, axis=-1)
    after = np.logical_or.accumulate(lines[..., ::-1], axis=-1)[..., ::-1]
    return np.moveaxis(before & after & ~lines, -1, axis)


def _estimate(values: FloatArray, good: BoolArray, x: FloatArray, axis: int) -> FloatArray:
    """Values told by the good cells along one axis; NaN where they cannot tell."""
    result = np.full(values.shape, np.nan)
    out = np.moveaxis(result, axis, -1)
    lines, marks = np.moveaxis(values, axis, -1), np.moveaxis(good, axis, -1)
    for index in np.ndindex(*lines.shape[:-1]):
        known = np.flatnonzero(marks[index])
        if known.size < 2 or not (np.diff(x[known]) > 0).all():
            continue
        xs, zs = x[known], lines[index][known]
        line = np.interp(x, xs, zs)
        below, above = x < xs[0], x > xs[-1]
        line[below] = zs[0] + (zs[1] - zs[0]) / (xs[1] - xs[0]) * (x[below] - xs[0])
        line[above] = zs[-1] + (zs[-1] - zs[-2]) / (xs[-1] - xs[-2]) * (x[above] - xs[-1])
        out[index] = line
    return result
