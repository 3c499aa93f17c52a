"""Where two tables are compared: the union of their breakpoints, input by input."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..core.axis import Axis
from ..core.rule import Range, find_axis
from ..core.table import Table
from ..core.units import shown
from ..errors import ModelError
from ..lookup.reference import weights


@dataclass(frozen=True)
class Nodes:
    """Comparison points of one table with another.

    Parameters
    ----------
    axes : tuple of Axis
        One for each input of either table: the own table's axes first.
    points : tuple of float arrays, shape (m,)
        Input values at each point.
    own_cells, own_shares, other_cells, other_shares : arrays, shape (m, k)
        Both tables at the points, as interpolation weights.
    """

    axes: tuple[Axis, ...]
    points: tuple[FloatArray, ...]
    own_cells: IntArray
    own_shares: FloatArray
    other_cells: IntArray
    other_shares: FloatArray

    def read_own(self, table: Table) -> FloatArray:
        """Values of the own table at the points, shape (m,)."""
        return weighted(table.values, self.own_cells, self.own_shares)

    def read_other(self, table: Table) -> FloatArray:
        """Values of the other table at the points, shape (m,)."""
        return weighted(table.values, self.other_cells, self.other_shares)

    def words(self, row: int) -> str:
        """Where a point lies: ``at −10 °C, 40 %``."""
        parts = [a.said(float(p[row])) for a, p in zip(self.axes, self.points, strict=True)]
        return "at " + ", ".join(parts) if parts else ""


def union_nodes(own: Table, other: Table, scope: tuple[Range, ...] = ()) -> Nodes:
    """Return the points at which two tables are compared.

    Axes are matched by the input quantity they read (by name where unbound).  A matched axis
    contributes the breakpoints of both; an input that only one table reads contributes that
    table's breakpoints.  Beyond an axis's end the lookup's own rule (held, say) applies.

    Parameters
    ----------
    own, other : Table
    scope : tuple of Range
        Keeps only points inside.

    Raises
    ------
    ModelError
        If the scope names an axis that neither table has, or matched axes differ in unit.
    """
    partner = [_matching(axis, other) for axis in own.axes]
    for axis, match in zip(own.axes, partner, strict=True):
        if match >= 0:
            require_same_unit(axis, other.axes[match], other)
    axes = list(own.axes)
    grids: list[FloatArray] = []
    for axis, match in zip(own.axes, partner, strict=True):
        xs = axis.values if match < 0 else np.union1d(axis.values, other.axes[match].values)
        grids.append(np.unique(xs))
    extra = [n for n in range(len(other.axes)) if n not in partner]
    for number in extra:
        axes.append(other.axes[number])
        grids.append(np.unique(other.axes[number].values))
    for part in scope:
        named = [n for n, a in enumerate(axes) if part.axis and part.axis in (a.quantity, a.name)]
        for n in named or [find_axis(own, part.axis)]:
            inside = (grids[n] >= part.low) & (grids[n] <= part.high)
            grids[n] = grids[n][inside]
    if grids:
        mesh = [m.reshape(-1) for m in np.meshgrid(*grids, indexing="ij")]
    else:
        mesh = []
    own_points = mesh[: len(own.axes)]
    other_points = [
        mesh[partner.index(n)] if n in partner else mesh[len(own.axes) + extra.index(n)]
        for n in range(len(other.axes))
    ]
    count = mesh[0].size if mesh else 1
    own_cells, own_shares = _weights(own, own_points, count)
    other_cells, other_shares = _weights(other, other_points, count)
    return Nodes(tuple(axes), tuple(mesh), own_cells, own_shares, other_cells, other_shares)


def _weights(table: Table, points: list[FloatArray], count: int) -> tuple[IntArray, FloatArray]:
    if not table.axes:
        return np.zeros((count, 1), dtype=np.int64), np.ones((count, 1))
    return compact(*weights(table.axes, points))


def require_same_unit(axis: Axis, theirs: Axis, other: Table) -> None:
    """Raise ModelError if another table's axis for the same input is in another unit.

    Its breakpoints would be taken for values that they are not.
    """
    if axis.unit != theirs.unit and shown(axis.unit) != shown(theirs.unit):
        raise ModelError(
            f"{axis.label} is in {axis.unit} here, in {theirs.unit} in the other table "
            f"({other.id}).",
            "Give both one unit.",
        )


def _matching(axis: Axis, other: Table) -> int:
    for number, candidate in enumerate(other.axes):
        if axis.quantity and axis.quantity == candidate.quantity:
            return number
        if not axis.quantity and not candidate.quantity and axis.name == candidate.name:
            return number
    return -1


def weighted(values: FloatArray, cells: IntArray, shares: FloatArray) -> FloatArray:
    """Sum values at cells with their shares; an empty cell of no share spoils nothing."""
    parts = np.where(shares == 0, 0.0, shares * values.reshape(-1)[cells])
    return np.asarray(parts.sum(axis=-1))


def compact(cells: IntArray, shares: FloatArray) -> tuple[IntArray, FloatArray]:
    """Drop the columns of weights that are zero in every row (most points are breakpoints)."""
    order = np.argsort(shares == 0, axis=1, kind="stable")
    cells = np.take_along_axis(cells, order, axis=1)
    shares = np.take_along_axis(shares, order, axis=1)
    width = max(1, int((shares != 0).sum(axis=1).max(initial=0)))
    return cells[:, :width], shares[:, :width]
