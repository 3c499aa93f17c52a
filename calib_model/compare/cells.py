"""Two tables compared cell by cell, or on the union grid where their axes differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib_model.core import units
from calib_model.core.arrays import BoolArray, FloatArray, IntArray, cell_tuples
from calib_model.core.axis import Axis
from calib_model.core.numbers import short, with_unit
from calib_model.core.table import Table
from calib_model.errors import BitepointError, UnitProblem
from calib_model.rules.nodes import Nodes, union_nodes

# Converting units and reading between breakpoints round; differences below this share of the
# table's largest value are their doing.
ROUNDING = 1e-12
MAX_POINTS = 2_000_000


class NotComparable(Exception):
    """Values cannot be compared; the text says why."""


@dataclass(frozen=True)
class CellChange:
    """One value that differs.

    Parameters
    ----------
    cell : tuple of int or None
        Index in both tables; None for a point of the union grid of unequal axes.
    inputs : tuple of (float, str)
        Axis values there with their units: the first table's axes, then any that only the
        second has.
    before, after : float
        In the first table's unit.
    unit : str
    names : tuple of str
        Labels of the axis values, empty where one has none; empty if there are none at all.
    value_names : tuple of str
        Labels of the values before and after.
    """

    cell: tuple[int, ...] | None
    inputs: tuple[tuple[float, str], ...]
    before: float
    after: float
    unit: str
    names: tuple[str, ...] = ()
    value_names: tuple[str, str] = ("", "")

    @property
    def axis_values(self) -> tuple[float, ...]:
        """Axis values there."""
        return tuple(value for value, _ in self.inputs)

    @property
    def difference(self) -> float:
        """After less before."""
        return self.after - self.before

    @property
    def place(self) -> str:
        """Where, in words: labels or axis values with their units."""
        names = self.names or ("",) * len(self.inputs)
        return ", ".join(
            name or with_unit(value, unit)
            for name, (value, unit) in zip(names, self.inputs, strict=True)
        )

    @property
    def said(self) -> tuple[str, str]:
        """Before and after without the unit: labels or numbers."""
        before, after = self.value_names
        return before or short(self.before), after or short(self.after)

    def words(self) -> str:
        """Say it in words: ``at −10 °C, 40 %: 215 → 21.5 N·m``."""
        where = f"at {self.place}: " if self.place else ""
        after = self.value_names[1] or with_unit(self.after, self.unit)
        return f"{where}{self.said[0]} → {after}"


def in_unit_of(first: Table, second: Table) -> Table:
    """Return `second` with its values and matching axes in the units of `first`.

    Raises
    ------
    NotComparable
        If the units are of different kinds or not known.
    """
    try:
        values = units.convert(second.values, second.unit, first.unit)
        axes = tuple(_axis_in_unit_of(first, axis) for axis in second.axes)
    except UnitProblem as problem:
        raise NotComparable(str(problem)) from None
    if values is second.values and all(a is b for a, b in zip(axes, second.axes, strict=True)):
        return second
    return replace(second, values=values, axes=axes, unit=first.unit)


def _axis_in_unit_of(first: Table, axis: Axis) -> Axis:
    for own in first.axes:
        matches = own.quantity == axis.quantity if own.quantity else own.name == axis.name
        if matches and own.unit != axis.unit:
            values = units.convert(axis.values, axis.unit, own.unit)
            return replace(axis, values=values, unit=own.unit, shared="")
    return axis


def same_grid(first: Table, second: Table) -> bool:
    """Tell whether cells correspond: breakpoints, inputs and the way of reading are the same."""
    if len(first.axes) != len(second.axes):
        return False
    for a, b in zip(first.axes, second.axes, strict=True):
        if a is not b and not _same_reading(a, b):
            return False
    return True


def _same_reading(a: Axis, b: Axis) -> bool:
    return (
        (a.values is b.values or a.values.tobytes() == b.values.tobytes())
        and a.unit == b.unit
        and a.quantity == b.quantity
        and a.interpolation is b.interpolation
        and a.below is b.below
        and a.above is b.above
        and (bool(a.quantity) or a.name == b.name)
    )


def differs(first: FloatArray, second: FloatArray, computed: bool = False) -> BoolArray:
    """Tell which values differ; an empty cell equals an empty cell.

    Values that were computed on the way (`computed`) may differ by rounding.
    """
    different = (first != second) & ~(np.isnan(first) & np.isnan(second))
    if computed and different.any():
        scale = np.abs(np.concatenate([first.reshape(-1), second.reshape(-1)]))
        largest = scale[np.isfinite(scale)].max(initial=0.0)
        with np.errstate(invalid="ignore"):
            different &= ~(np.abs(first - second) <= ROUNDING * largest)
    return np.asarray(different)


def on_union(first: Table, second: Table) -> tuple[Nodes, FloatArray, FloatArray]:
    """Read both tables at the nodes of the union of their breakpoints.

    Raises
    ------
    NotComparable
        If an axis is out of order, or the grid would be huge.
    """
    if _union_size(first, second) > MAX_POINTS:
        raise NotComparable("the axes differ, and the union of their breakpoints is too large.")
    try:
        nodes = union_nodes(first, second)
    except BitepointError as problem:
        raise NotComparable(str(problem)) from None
    return (
        nodes,
        _read(first, nodes.own_cells, nodes.own_shares),
        _read(second, nodes.other_cells, nodes.other_shares),
    )


def _union_size(first: Table, second: Table) -> int:
    size = 1
    counts: dict[str, int] = {}
    for axis in (*first.axes, *second.axes):
        key = axis.quantity or axis.name
        counts[key] = counts.get(key, 0) + len(axis)
    for count in counts.values():
        size *= count
    return size


def _read(table: Table, cells: IntArray, shares: FloatArray) -> FloatArray:
    # An empty cell without weight must not spoil the sum.
    parts = np.where(shares == 0, 0.0, shares * table.values.reshape(-1)[cells])
    return np.asarray(parts.sum(axis=1))


def _names(axes: Sequence[Axis], values: Sequence[float]) -> tuple[str, ...]:
    if not any(axis.labels for axis in axes):
        return ()
    return tuple(axis.labels.name(value) for axis, value in zip(axes, values, strict=True))


def cell_changes(first: Table, second: Table) -> tuple[CellChange, ...]:
    """Return the values that differ between two comparable tables."""
    converted = in_unit_of(first, second)
    rounded = converted is not second
    if first.shape == converted.shape and same_grid(first, converted):
        flat = np.flatnonzero(differs(first.values, converted.values, rounded))
        return tuple(
            CellChange(
                cell,
                tuple((float(a.values[i]), a.unit) for a, i in zip(first.axes, cell, strict=True)),
                float(first.values[cell]),
                float(converted.values[cell]),
                first.unit,
                _names(first.axes, first.coordinates(cell)),
                (
                    first.labels.name(first.values[cell]),
                    second.labels.name(second.values[cell]),
                ),
            )
            for cell in cell_tuples(flat, first.shape)
        )
    nodes, before, after = on_union(first, converted)
    return tuple(
        CellChange(
            None,
            tuple((float(p[row]), a.unit) for p, a in zip(nodes.points, nodes.axes, strict=True)),
            float(before[row]),
            float(after[row]),
            first.unit,
            _names(nodes.axes, [p[row] for p in nodes.points]),
            (first.labels.name(before[row]), converted.labels.name(after[row])),
        )
        for row in np.flatnonzero(differs(before, after, True)).tolist()
    )
