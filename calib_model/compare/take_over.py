"""Taking over from one set into another: cells, tables, or many tables, as one change."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np

from calib_model.compare.aligned import Aligned, align, partner
from calib_model.compare.cells import NotComparable
from calib_model.compare.result import Comparison, State, TableComparison
from calib_model.core import units
from calib_model.core.arrays import BoolArray, FloatArray, IntArray
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import (
    CellsEdit,
    Change,
    Edit,
    SharedAxisEdit,
    TableEdit,
    cells_edit,
)
from calib_model.editing.locks import locked_cells
from calib_model.errors import EditRefused, UnitProblem

_NAMED = 3
"""So many tables that were left out are named, the rest counted."""


class Into(StrEnum):
    """Which of the two sets is changed."""

    FIRST = "first"
    SECOND = "second"

    def target(self, pair: TableComparison) -> Table | None:
        """Return the table that is changed."""
        return pair.first if self is Into.FIRST else pair.second

    def source(self, pair: TableComparison) -> Table | None:
        """Return the table that is taken from."""
        return pair.second if self is Into.FIRST else pair.first

    def target_set(self, comparison: Comparison) -> CalibrationSet:
        """Return the set that is changed."""
        return comparison.first if self is Into.FIRST else comparison.second


@dataclass
class _Notes:
    """What the user should know of a change."""

    locked: int = 0
    rounded: int = 0
    between: int = 0
    left_out: list[str] = field(default_factory=list)

    def text(self) -> str:
        parts = []
        if self.locked:
            parts.append(f"{_count(self.locked, 'locked cell')} left as before.")
        if self.rounded:
            parts.append(f"{_count(self.rounded, 'value')} rounded to what can be stored.")
        if self.between:
            parts.append(f"{_count(self.between, 'point')} between its breakpoints left out.")
        if self.left_out:
            named = "; ".join(self.left_out[:_NAMED])
            more = len(self.left_out) - _NAMED
            tail = f"; and {more} more" if more > 0 else ""
            parts.append(f"Left out: {named}{tail}.")
        return " ".join(parts)


def take_over_cells(
    pair: TableComparison, chosen: BoolArray, into: Into, origin: str, reason: str = ""
) -> Change:
    """Return the change that gives chosen cells of one table the other one's values.

    Parameters
    ----------
    pair : TableComparison
    chosen : bool array, shape of the common grid (`align`)
        Nodes between the changed table's breakpoints are left out, which the change's note says.
    into : Into
    origin : str
        What the set that is taken from is called, for the change's title.
    reason : str

    Raises
    ------
    EditRefused
        If the tables have no common grid, no chosen node is a cell, or all are locked.
    """
    target, source = into.target(pair), into.source(pair)
    if target is None or source is None:
        raise EditRefused(
            f"{pair.table.label} is in one of the sets only, so it has no cells to take over.",
            "Take over the whole table.",
        )
    try:
        aligned = align(*_both(pair))
    except NotComparable as problem:
        raise EditRefused(
            f"Cells of {target.label} cannot be taken over: {problem}", "Take over the whole table."
        ) from None
    notes = _Notes()
    values = _cells_taken(pair, aligned, chosen, into, notes)
    edit = _without_locked(target, cells_edit(target, values), notes)
    if edit is None and notes.locked:
        raise EditRefused(
            f"{'The cell is' if notes.locked == 1 else 'The cells are'} locked.",
            "Unlock first (Free locked cells) if the value is meant to change.",
        )
    count = int(edit.cells.size) if edit is not None else 0
    title = f"Take over {_count(count, 'cell')} of {target.label} from {origin}"
    edits = (edit,) if edit is not None else ()
    return Change(title, edits, reason=reason, note=notes.text())


def _cells_taken(
    pair: TableComparison, aligned: Aligned, chosen: BoolArray, into: Into, notes: _Notes
) -> FloatArray:
    """Return the changed table's values with the chosen nodes' values of the other one in them."""
    target = into.target(pair)
    assert target is not None
    if len(target.axes) != len(aligned.shape):
        raise EditRefused(
            f"{target.label} reads fewer inputs than the other set's table, so single cells do "
            "not correspond.",
            "Take over the whole table.",
        )
    own = aligned.own_first if into is Into.FIRST else aligned.own_second
    cells = chosen & own
    notes.between = int((chosen & ~own).sum())
    if not cells.any():
        raise EditRefused(
            f"No breakpoint of {target.label} lies there in the set to change.",
            "Choose cells at its own breakpoints, or take over the whole table with its axes.",
        )
    nodes = (aligned.second if into is Into.FIRST else aligned.first).values
    source = into.source(pair)
    assert source is not None
    wanted = _in_target(nodes[cells], aligned, into, source, target, notes)
    values = target.values.copy()
    values[_places(target, aligned, own, cells)] = wanted
    return values


def _in_target(
    taken: FloatArray,
    aligned: Aligned,
    into: Into,
    source: Table,
    target: Table,
    notes: _Notes,
) -> FloatArray:
    """Bring values of the common grid into the changed table's unit and onto its raster."""
    if aligned.converted and into is Into.SECOND:
        taken = units.convert(taken, aligned.first.unit, target.unit)
    return _rounded(taken, source, target, aligned.computed, notes)


def _rounded(
    values: FloatArray, source: Table, target: Table, computed: bool, notes: _Notes
) -> FloatArray:
    """Round what was computed, or held on another raster, to what the target can store."""
    if not computed and source.storage == target.storage:
        return values
    stored = target.storage.nearest(values)
    notes.rounded += int((~np.isclose(stored, values, rtol=1e-12, atol=0, equal_nan=True)).sum())
    return stored


def _places(
    target: Table, aligned: Aligned, own: BoolArray, cells: BoolArray
) -> tuple[IntArray, ...]:
    """Return where nodes lie in the target, as an index.

    Parameters
    ----------
    target : Table
    aligned : Aligned
    own, cells : bool arrays, shape of the grid
        The target's own nodes, and those of them that are asked about.
    """
    found = np.nonzero(cells)
    if aligned.same_grid:
        return found
    places: list[IntArray] = []
    for axis in target.axes:
        number = next(n for n, a in enumerate(aligned.first.axes) if partner(a, target) is axis)
        others = tuple(n for n in range(own.ndim) if n != number)
        # The target's breakpoints rise in the grid's unit as they do in its own.
        rank = np.cumsum(own.any(axis=others)) - 1
        places.append(rank[found[number]])
    return tuple(places)


def _without_locked(target: Table, edit: CellsEdit, notes: _Notes) -> CellsEdit | None:
    """Leave locked cells out; None where nothing is left."""
    held = locked_cells(target).reshape(-1)[edit.cells]
    if held.any():
        notes.locked += int(held.sum())
        free = ~held
        edit = CellsEdit(edit.table, edit.cells[free], edit.before[free], edit.after[free])
    return edit if edit.cells.size else None


def take_over_tables(
    comparison: Comparison,
    ids: Iterable[str],
    into: Into,
    origin: str,
    reason: str = "",
    *,
    whole: bool = False,
    progress: Callable[[float], None] | None = None,
) -> Change:
    """Return the change that gives tables of one set what the other's hold.

    A table that the changed set lacks is added whole.  One that only the changed set has stays:
    nothing is removed.

    Parameters
    ----------
    comparison : Comparison
    ids : iterable of str
    into : Into
    origin : str
        What the set that is taken from is called, for the change's title.
    reason : str
    whole : bool
        Take over unit, storage, limits, rules and texts as well; else values, and axes where
        they differ.
    progress : callable, optional
        Called with the share that is done; what it raises ends the work.

    Raises
    ------
    EditRefused
        If there is nothing that can be taken over; the text says why, table by table.
    """
    wanted = [comparison.tables[id] for id in ids]
    target_set = into.target_set(comparison)
    source_set = comparison.second if into is Into.FIRST else comparison.first
    adopting = _Adopting(target_set, source_set)
    notes = _Notes()
    edits: list[Edit] = []
    taken: list[str] = []
    for number, pair in enumerate(wanted):
        if progress is not None and number % 200 == 0:
            progress(number / len(wanted))
        if pair.state is State.SAME:
            continue
        try:
            made = _table_edit(pair, into, adopting, notes, whole=whole)
        except (EditRefused, NotComparable, UnitProblem) as problem:
            notes.left_out.append(f"{pair.table.label}: {str(problem).rstrip('.')}")
            continue
        if made is not None:
            edits.append(made)
            taken.append(pair.table.label)
    if not edits and (notes.left_out or notes.locked):
        raise EditRefused(f"Nothing was taken over. {notes.text()}")
    what = taken[0] if len(taken) == 1 else _count(len(taken), "table")
    with_what = " with rules and texts" if whole else ""
    title = f"Take over {what}{with_what} from {origin}"
    return Change(title, (*adopting.edits, *edits), reason=reason, note=notes.text())


class _Adopting:
    """Fits axes of the source set into the target set."""

    def __init__(self, target: CalibrationSet, source: CalibrationSet) -> None:
        self._target, self._source = target, source
        self._place = len(target)
        self._added: dict[str, Axis] = {}

    @property
    def edits(self) -> tuple[SharedAxisEdit, ...]:
        """The shared axes that the target set gets."""
        return tuple(SharedAxisEdit(id, None, axis) for id, axis in self._added.items())

    def place(self) -> int:
        """Return where an added table stands."""
        self._place += 1
        return self._place - 1

    def axes(self, axes: Iterable[Axis]) -> tuple[Axis, ...]:
        """Keep axes shared where the target shares the same one, else make them the table's own."""
        return tuple(self._axis(axis) for axis in axes)

    def _axis(self, axis: Axis) -> Axis:
        if not axis.shared:
            return axis
        there = self._target.shared_axes.get(axis.shared, self._added.get(axis.shared))
        if there is None:
            self._added[axis.shared] = there = axis
        return axis if there == axis else replace(axis, shared="")


def _table_edit(
    pair: TableComparison, into: Into, adopting: _Adopting, notes: _Notes, *, whole: bool
) -> Edit | None:
    """Return the edit of one table; None if it stays as it is."""
    target, source = into.target(pair), into.source(pair)
    if source is None:
        raise EditRefused("the other set has no such table")
    if target is None:
        return TableEdit(None, replace(source, axes=adopting.axes(source.axes)), adopting.place())
    if whole:
        after = replace(source, axes=adopting.axes(source.axes))
        if locked_cells(target).any() and not (
            after.shape == target.shape and _same_locked(target, after)
        ):
            raise EditRefused("it has locked cells")
        return TableEdit(target, after) if after != target else None
    if _grids_agree(pair):
        aligned = align(*_both(pair))
        nodes = (aligned.second if into is Into.FIRST else aligned.first).values
        values = _in_target(nodes, aligned, into, source, target, notes)
        return _without_locked(target, cells_edit(target, values), notes)
    if locked_cells(target).any():
        raise EditRefused("it has locked cells, and its axes would change")
    taken = units.convert(source.values, source.unit, target.unit)
    values = _rounded(taken, source, target, taken is not source.values, notes)
    after = replace(target, axes=adopting.axes(source.axes), values=values)
    return TableEdit(target, after) if after != target else None


def _grids_agree(pair: TableComparison) -> bool:
    """Tell whether values alone lead from one table to the other: the axes are the same."""
    first, second = _both(pair)
    return len(first.axes) == len(second.axes) and all(
        a.values.size == b.values.size
        and bool((a.values == b.values).all())
        and (a.unit, a.quantity, a.interpolation, a.below, a.above)
        == (b.unit, b.quantity, b.interpolation, b.below, b.above)
        and (bool(a.quantity) or a.name == b.name)
        for a, b in zip(first.axes, second.axes, strict=True)
    )


def _same_locked(before: Table, after: Table) -> bool:
    held = locked_cells(before)
    return bool(np.array_equal(before.values[held], after.values[held], equal_nan=True))


def _both(pair: TableComparison) -> tuple[Table, Table]:
    assert pair.first is not None
    assert pair.second is not None
    return pair.first, pair.second


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
