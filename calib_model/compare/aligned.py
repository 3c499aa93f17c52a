"""Two tables on one grid: the cells both have, or the union of their breakpoints."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from calib_model.compare.cells import NotComparable, differs, in_unit_of, on_union, same_grid
from calib_model.compare.rounding import stored_alike
from calib_model.compare.threshold import Threshold
from calib_model.core.arrays import BoolArray, FloatArray, frozen
from calib_model.core.axis import Axis
from calib_model.core.storage import FLOAT64, Storage
from calib_model.core.table import MAX_AXES, Table


@dataclass(frozen=True, eq=False)
class Aligned:
    """Two tables on one grid, in the first one's unit.

    Parameters
    ----------
    first, second : Table
        On the common grid.  They are the given tables themselves where those have the same grid
        and unit; where values were read between breakpoints they carry no rules.
    own_first, own_second : bool array, shape of the grid
        Nodes at which the given table has a breakpoint of its own.
    same_grid : bool
        Whether the cells of both correspond.
    converted : bool
        Whether the second's values were converted to the first's unit.
    """

    first: Table
    second: Table
    own_first: BoolArray
    own_second: BoolArray
    same_grid: bool
    converted: bool

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of nodes per axis."""
        return self.first.shape

    @property
    def computed(self) -> bool:
        """Whether values were computed on the way, and so may be off by rounding."""
        return self.converted or not self.same_grid

    @cached_property
    def values(self) -> FloatArray:
        """Second less first, shape of the grid; NaN where one is empty, 0 where both are."""
        first, second = self.first.values, self.second.values
        with np.errstate(invalid="ignore", over="ignore"):
            values = second - first
        values = np.where(self.changed, values, 0.0)
        return frozen(values)

    @cached_property
    def difference(self) -> Table:
        """Second less first as a table on the grid, without rules or limits."""
        return replace(
            self.first,
            values=self.values,
            name=f"Difference of {self.first.label}",
            storage=_of_differences(self.first.storage) if not self.computed else FLOAT64,
            lower=-np.inf,
            upper=np.inf,
            rules=(),
            relations={},
        )

    @cached_property
    def changed(self) -> BoolArray:
        """Which nodes have another value."""
        return differs(self.first.values, self.second.values, self.computed)

    @cached_property
    def by_rounding(self) -> BoolArray:
        """Which nodes differ, but are stored alike."""
        if self.computed or self.first.storage != self.second.storage:
            return np.zeros(self.shape, dtype=bool)
        alike = stored_alike(self.first.values, self.second.values, self.first.storage)
        return self.changed & alike

    def beyond(self, threshold: Threshold) -> BoolArray:
        """Return which nodes differ by more than a threshold."""
        return self.changed & threshold.beyond(self.values, self.first)


def _of_differences(storage: Storage) -> Storage:
    """Return the raster on which differences of two values of one raster lie."""
    if not storage.is_integer:
        return FLOAT64
    return Storage("int32", storage.numerator, storage.denominator)


def align(first: Table, second: Table) -> Aligned:
    """Put two tables on one grid.

    Raises
    ------
    NotComparable
        If their units are of different kinds, an axis is out of order, or the grid would be
        huge or have more axes than a table may.
    """
    other = in_unit_of(first, second)
    converted = other is not second
    if first.shape == other.shape and same_grid(first, other):
        every = np.ones(first.shape, dtype=bool)
        if converted:
            other = _free(other)
        return Aligned(first, other, every, every, True, converted)
    nodes, before, after = on_union(first, other)
    if len(nodes.axes) > MAX_AXES:
        raise NotComparable(f"the two read more than {MAX_AXES} different inputs.")
    grids = [np.unique(points) for points in nodes.points]
    shape = tuple(grid.size for grid in grids)
    axes = tuple(
        replace(axis, values=grid, shared="") for axis, grid in zip(nodes.axes, grids, strict=True)
    )
    mine = replace(first, values=before.reshape(shape), axes=axes, rules=())
    theirs = replace(other, values=after.reshape(shape), axes=axes, rules=(), unit=first.unit)
    if converted:
        theirs = _free(theirs)
    return Aligned(mine, theirs, _own(first, axes), _own(other, axes), False, converted)


def _free(table: Table) -> Table:
    """Return a table without raster and limits, which are in its own unit."""
    return replace(table, storage=FLOAT64, lower=-np.inf, upper=np.inf, rules=())


def _own(table: Table, axes: tuple[Axis, ...]) -> BoolArray:
    """Return the nodes at which a table has a breakpoint; inputs it does not read matter not."""
    marks = np.ones(tuple(len(axis) for axis in axes), dtype=bool)
    for number, axis in enumerate(axes):
        own = partner(axis, table)
        if own is not None:
            here = np.isin(axis.values, own.values)
            along = [-1 if n == number else 1 for n in range(len(axes))]
            marks &= here.reshape(along)
    return marks


def partner(axis: Axis, table: Table) -> Axis | None:
    """Return the axis of a table that reads the same input (by name where unbound), or None."""
    for own in table.axes:
        if own.quantity == axis.quantity and (own.quantity or own.name == axis.name):
            return own
    return None
