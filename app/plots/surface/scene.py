"""What a surface consists of: where nodes, faces and wires lie, and which node is meant.

Plain numpy, so that it can be checked without a screen.  Arrays over a map have its shape:
rows (first axis), then columns (second axis).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from app.plots.geometry import on_axes_of, positions
from app.plots.surface.camera import Lens
from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.planes import plane_index
from calib_model.core.table import Table
from calib_model.core.units import convert
from calib_model.errors import BitepointError
from calib_model.lookup import lookup

Indices = npt.NDArray[np.uint32]
Range = tuple[float, float]

HALF = np.array([1.0, 1.0, 0.6])
"""Half the box's size along x, y and z."""
_X, _Y, _Z = (float(half) for half in HALF)
CORNERS = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * HALF


@dataclass(frozen=True)
class Frame:
    """Which part of the numbers fills the box.

    Parameters
    ----------
    columns, rows, values : tuple of two floats
        Low and high on the second axis (along x), the first axis (against y) and of the values.
    """

    columns: Range
    rows: Range
    values: Range

    def x(self, columns: FloatArray) -> FloatArray:
        """Return where column positions lie in the box."""
        return _scaled(columns, self.columns) * _X

    def y(self, rows: FloatArray) -> FloatArray:
        """Return where row positions lie: the first row is farthest from the front."""
        return -_scaled(rows, self.rows) * _Y

    def z(self, values: FloatArray) -> FloatArray:
        """Return how high values lie in the box."""
        return _scaled(values, self.values) * _Z

    def value(self, z: float) -> float:
        """Return the value at a height."""
        low, high = self.values
        return low + (z / _Z + 1.0) / 2.0 * (high - low)

    def per_height(self) -> float:
        """Return how much value a z of 1 stands for."""
        return (self.values[1] - self.values[0]) / (2.0 * _Z)


@dataclass(frozen=True, eq=False)
class Sheet:
    """One map's plane, ready to be placed in a frame.

    Parameters
    ----------
    columns : float array, shape (columns,)
        Positions on the second axis, rising.
    rows : float array, shape (rows,)
        Positions on the first axis, rising.
    values : float array, shape (rows, columns)
        NaN leaves a hole.
    step_columns, step_rows : bool
        Whether the axis is read in steps: a value holds until the next breakpoint.
    """

    columns: FloatArray
    rows: FloatArray
    values: FloatArray
    step_columns: bool = False
    step_rows: bool = False

    def nodes(self, frame: Frame) -> FloatArray:
        """Return where the nodes lie; empty ones on the floor.

        Returns
        -------
        float array, shape (rows, columns, 3)
        """
        z = np.where(np.isnan(self.values), -_Z, frame.z(self.values))
        return _placed(frame.x(self.columns), frame.y(self.rows), z)

    def drawn(self, frame: Frame) -> FloatArray:
        """Return the points between which the surface is drawn; NaN in z for empty ones.

        On an axis that is read in steps, every value is drawn twice: at its breakpoint and
        just before the next one.

        Returns
        -------
        float array, shape (drawn rows, drawn columns, 3)
        """
        x, y, z = frame.x(self.columns), frame.y(self.rows), frame.z(self.values)
        if self.step_columns:
            x, z = np.repeat(x, 2)[1:], np.repeat(z, 2, axis=1)[:, :-1]
        if self.step_rows:
            y, z = np.repeat(y, 2)[1:], np.repeat(z, 2, axis=0)[:-1]
        return _placed(x, y, z)

    def drawn_index(self, row: int, column: int) -> tuple[int, int]:
        """Return where a node stands among the drawn points."""
        return (2 * row if self.step_rows else row, 2 * column if self.step_columns else column)

    def spread(self, marks: BoolArray) -> BoolArray:
        """Return marks of nodes as marks of drawn points."""
        if self.step_columns:
            marks = np.repeat(marks, 2, axis=1)[:, :-1]
        if self.step_rows:
            marks = np.repeat(marks, 2, axis=0)[:-1]
        return marks

    def height(self, frame: Frame, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return how high the surface lies at places of the box; NaN outside and in holes.

        Parameters
        ----------
        frame : Frame
        x, y : float arrays of one shape
        """
        at_x, at_y = frame.x(self.columns), -frame.y(self.rows)
        column, across = _between(at_x, x, step=self.step_columns)
        row, down = _between(at_y, -y, step=self.step_rows)
        z = frame.z(self.values)
        right = np.minimum(column + 1, at_x.size - 1)
        below = np.minimum(row + 1, at_y.size - 1)
        upper = z[row, column] * (1 - across) + z[row, right] * across
        lower = z[below, column] * (1 - across) + z[below, right] * across
        inside = (x >= at_x[0]) & (x <= at_x[-1]) & (-y >= at_y[0]) & (-y <= at_y[-1])
        return np.where(inside, upper * (1 - down) + lower * down, np.nan)


def plane_of(table: Table, cursor: tuple[int, ...]) -> FloatArray:
    """Return the values in the plane of the first two axes, at the cursor on the others."""
    return np.asarray(table.values[plane_index(cursor[2:])])


def sheet_of(table: Table, values: FloatArray) -> Sheet:
    """Return the sheet of a map with values over its first two axes."""
    rows, columns = table.axes[:2]
    return Sheet(positions(columns), positions(rows), values, _steps(columns), _steps(rows))


def sheet_beside(table: Table, other: Table, cursor: tuple[int, ...]) -> Sheet | None:
    """Return another table's plane over its own breakpoints, in the units of `table`.

    Parameters
    ----------
    table : Table
        A map; its axes say at which further coordinates to cut, and in which units to draw.
    other : Table
    cursor : tuple of int
        Cell of `table`.

    Returns
    -------
    Sheet or None
        None if the two do not go together.
    """
    if other.values.ndim != table.values.ndim or table.values.ndim < 2:
        return None
    pairs = list(zip(table.axes, other.axes, strict=True))
    same = [np.array_equal(a.values, b.values) and a.unit == b.unit for a, b in pairs]
    if all(same[:2]):
        values = on_axes_of(table, other)
        return (
            None if values is None else sheet_of(table, plane_of(table.with_values(values), cursor))
        )
    try:
        if not all(axis.ordered for axis in (*other.axes, *table.axes)):
            return None
        further = [
            np.asarray(convert(a.values[i], a.unit, b.unit))
            for (a, b), i in list(zip(pairs, cursor, strict=True))[2:]
        ]
        rows, columns = other.axes[:2]
        plane = lookup(other, [rows.values[:, None], columns.values[None, :], *further])
        return Sheet(
            convert(columns.values, columns.unit, table.axes[1].unit),
            convert(rows.values, rows.unit, table.axes[0].unit),
            convert(plane, other.unit, table.unit),
            _steps(columns),
            _steps(rows),
        )
    except BitepointError:
        return None


def mesh(points: FloatArray, wanted: BoolArray | None = None) -> tuple[FloatArray, Indices]:
    """Return the faces between points: four for each cell, around its middle.

    Two triangles for each cell would show a fold along one diagonal that the controller does
    not read; with the middle at the mean of the corners there is no such preference.

    Parameters
    ----------
    points : float array, shape (rows, columns, 3)
        A cell with a NaN corner is left out.
    wanted : bool array, shape (rows - 1, columns - 1), optional
        Cells to draw.

    Returns
    -------
    vertices : float array, shape (rows * columns + cells, 3)
        The points, then the cells' middles.
    faces : uint32 array, shape (k, 3)
    """
    rows, columns = points.shape[:2]
    number = np.arange(rows * columns).reshape(rows, columns)
    corners = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    flat = points.reshape(-1, 3)
    middle = np.stack([flat[c] for c in corners]).sum(axis=0) / 4.0
    keep = np.isfinite(middle[..., 2])
    if wanted is not None:
        keep &= wanted
    own = rows * columns + np.arange(keep.size).reshape(keep.shape)
    faces = [
        np.stack([a, b, own], axis=-1)[keep]
        for a, b in zip(corners, (*corners[1:], corners[0]), strict=True)
    ]
    vertices = np.concatenate([flat, middle.reshape(-1, 3)])
    return vertices, np.concatenate(faces).astype(np.uint32)


def middles(values: FloatArray) -> FloatArray:
    """Return the mean of every cell's corners, shape (rows - 1, columns - 1)."""
    return np.asarray((values[:-1, :-1] + values[:-1, 1:] + values[1:, 1:] + values[1:, :-1]) / 4.0)


def wires(shape: tuple[int, int], wanted: BoolArray | None = None) -> Indices:
    """Return the lines between neighbouring points of a grid.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns.
    wanted : bool array of that shape, optional
        A line is drawn where both its ends are wanted.

    Returns
    -------
    uint32 array, shape (k, 2)
        Flat numbers of the ends.
    """
    number = np.arange(shape[0] * shape[1]).reshape(shape)
    along = np.stack([number[:, :-1], number[:, 1:]], axis=-1).reshape(-1, 2)
    down = np.stack([number[:-1], number[1:]], axis=-1).reshape(-1, 2)
    pairs = np.concatenate([along, down])
    if wanted is not None:
        pairs = pairs[wanted.reshape(-1)[pairs].all(axis=1)]
    return pairs.astype(np.uint32)


def dashed(segments: FloatArray, dash: float, gap: float) -> FloatArray:
    """Return strokes cut into dashes.

    Parameters
    ----------
    segments : float array, shape (k, 2, 3)
    dash, gap : float
        Lengths in the box.

    Returns
    -------
    float array, shape (m, 2, 3)
    """
    if not segments.size:
        return segments.reshape(0, 2, 3)
    start, along = segments[:, 0], segments[:, 1] - segments[:, 0]
    length = np.linalg.norm(along, axis=1)
    count = np.maximum(np.rint(length / (dash + gap)).astype(int), 1)
    owner = np.repeat(np.arange(len(segments)), count)
    place = np.arange(owner.size) - np.repeat(np.cumsum(count) - count, count)
    piece = 1.0 / count[owner]
    first = (place + 0.5 * gap / (dash + gap)) * piece
    last = first + piece * dash / (dash + gap)
    return np.stack(
        [start[owner] + along[owner] * first[:, None], start[owner] + along[owner] * last[:, None]],
        axis=1,
    )


def hidden(lens: Lens, sheet: Sheet, frame: Frame, points: FloatArray) -> BoolArray:
    """Tell which points on a surface are hidden behind it.

    The way from each point to the eye is followed while it is above the box's ground; where the
    surface changes from one side of it to the other, the point is hidden.

    Parameters
    ----------
    lens : Lens
    sheet : Sheet
    frame : Frame
    points : float array, shape (n, 3)

    Returns
    -------
    bool array, shape (n,)
    """
    if not len(points):
        return np.zeros(0, dtype=bool)
    ray = lens.toward_eye(points)
    with np.errstate(divide="ignore", invalid="ignore"):
        walls = np.where(ray > 0, HALF - points, -HALF - points) / ray
    walls[~np.isfinite(walls)] = np.inf
    reach = np.maximum(walls[:, :2].min(axis=1), 0.0)
    reach = np.minimum(reach, 2.0 * float(np.linalg.norm(HALF)))
    share = np.linspace(0.0, 1.0, 121)[1:]
    way = points[:, None] + ray[:, None] * (reach[:, None] * share)[..., None]
    clear = way[..., 2] - sheet.height(frame, way[..., 0], way[..., 1])
    tolerance = 0.012
    with np.errstate(invalid="ignore"):
        above, below = clear > tolerance, clear < -tolerance
    return np.asarray(above.any(axis=1) & below.any(axis=1))


def picked(
    lens: Lens,
    sheet: Sheet,
    frame: Frame,
    place: tuple[float, float],
    reach: float,
    among: BoolArray | None = None,
) -> tuple[int, int] | None:
    """Return the node that is meant by a place on the screen.

    Parameters
    ----------
    lens : Lens
    sheet : Sheet
    frame : Frame
    place : tuple of two floats
        Right and down, in screen units.
    reach : float
        How far off the node may appear.
    among : bool array, shape (rows, columns), optional
        Nodes that come into question.

    Returns
    -------
    tuple of int, or None
        Row and column of the nearest node that is not hidden.
    """
    nodes = sheet.nodes(frame).reshape(-1, 3)
    seen = lens.project(nodes)
    away = np.hypot(seen[:, 0] - place[0], seen[:, 1] - place[1])
    if among is not None:
        away = np.where(among.reshape(-1), away, np.inf)
    near = np.flatnonzero(away <= reach)
    if not near.size:
        return None
    near = near[np.argsort(away[near], kind="stable")][:60]
    near = near[~hidden(lens, sheet, frame, nodes[near])]
    if not near.size:
        return None
    # Nodes that appear at one place (a view along an axis): the one nearest to the eye.
    tied = near[away[near] <= away[near[0]] + 0.5]
    best = int(tied[np.argmin(seen[tied, 2])])
    columns = sheet.columns.size
    return best // columns, best % columns


def extent(arrays: Sequence[FloatArray], low: float, high: float, least: float) -> Range:
    """Return the range of values that a frame shows.

    Parameters
    ----------
    arrays : sequence of float arrays
        What is drawn.
    low, high : float
        Limits; one that is near is shown too.
    least : float
        Smallest range worth showing, such as a few storage steps.
    """
    flat = np.concatenate([np.ravel(a) for a in arrays]) if arrays else np.zeros(0)
    flat = flat[np.isfinite(flat)]
    if not flat.size:
        flat = np.array([v for v in (low, high) if np.isfinite(v)] or [0.0, 1.0])
    bottom, top = float(flat.min()), float(flat.max())
    if top - bottom < least or top == bottom:
        room = max(least, abs(top) * 0.1) or 1.0
        middle = (bottom + top) / 2.0
        bottom, top = middle - room / 2.0, middle + room / 2.0
    span = top - bottom
    if np.isfinite(low) and bottom - span * 0.25 <= low <= bottom:
        bottom = low
    if np.isfinite(high) and top <= high <= top + span * 0.25:
        top = high
    margin = (top - bottom) * 0.03
    return bottom - margin, top + margin


def axis_range(*places: FloatArray) -> Range:
    """Return the range that an axis shows: from the first breakpoint to the last."""
    low = min(float(p.min()) for p in places)
    high = max(float(p.max()) for p in places)
    return (low, high) if high > low else (low - 0.5, low + 0.5)


def _steps(axis: Axis) -> bool:
    return axis.ordered and len(axis) > 1 and axis.interpolation is Interpolation.STEP


def _scaled(values: FloatArray, span: Range) -> FloatArray:
    low, high = span
    return np.asarray((values - low) / (high - low) * 2.0 - 1.0)


def _placed(x: FloatArray, y: FloatArray, z: FloatArray) -> FloatArray:
    wide, deep = np.meshgrid(x, y)
    return np.stack([wide, deep, z], axis=-1)


def _between(
    places: FloatArray, at: FloatArray, *, step: bool
) -> tuple[npt.NDArray[np.intp], FloatArray]:
    """Return the breakpoint at or below each place, and how far it is on to the next one."""
    lower = np.clip(np.searchsorted(places, at, side="right") - 1, 0, max(places.size - 2, 0))
    if places.size < 2 or step:
        if step:
            lower = np.clip(np.searchsorted(places, at, side="right") - 1, 0, places.size - 1)
        return lower, np.zeros(at.shape)
    gap = places[lower + 1] - places[lower]
    return lower, np.clip((at - places[lower]) / gap, 0.0, 1.0)
