"""A change: an ordered group of edits that is applied whole, or not at all.

Applying a change to a set gives a new set; `Change.inverse` takes it back.  Undo, journal and
history all hold changes; `change_to_plain` is the one form that is written to disk.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..core.arrays import FloatArray, IntArray, frozen, same_values
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.plain import (
    axis_from_plain,
    axis_to_plain,
    numbers_from_plain,
    numbers_to_plain,
    table_from_plain,
    table_to_plain,
    text_from_plain,
)
from ..core.record import Item, Record
from ..core.record_plain import item_from_plain, item_to_plain
from ..core.table import Table
from ..core.times import stamp
from ..errors import EditRefused, ModelError
from .locks import locked_cells


@dataclass(frozen=True, eq=False)
class CellsEdit:
    """New values for some cells of one table.

    Parameters
    ----------
    table : str
    cells : int array, shape (k,)
        Flat cell numbers, rising.
    before, after : float arrays, shape (k,)
    """

    table: str
    cells: IntArray
    before: FloatArray
    after: FloatArray

    def inverse(self) -> CellsEdit:
        """Return the edit that takes this one back."""
        return CellsEdit(self.table, self.cells, self.after, self.before)


@dataclass(frozen=True)
class TableEdit:
    """A table added (`before` None), removed (`after` None) or exchanged whole."""

    before: Table | None
    after: Table | None
    position: int = -1
    """Where an added or removed table stands in the set."""

    @property
    def table(self) -> str:
        """Id of the table."""
        return (self.after or self.before).id  # type: ignore[union-attr]

    def inverse(self) -> TableEdit:
        """Return the edit that takes this one back."""
        return TableEdit(self.after, self.before, self.position)


@dataclass(frozen=True)
class SharedAxisEdit:
    """A shared axis added, removed or exchanged.  Its tables come as edits beside it."""

    id: str
    before: Axis | None
    after: Axis | None

    def inverse(self) -> SharedAxisEdit:
        """Return the edit that takes this one back."""
        return SharedAxisEdit(self.id, self.after, self.before)


@dataclass(frozen=True)
class AboutEdit:
    """A text field of the set, such as its revision."""

    field: str
    before: str
    after: str

    def inverse(self) -> AboutEdit:
        """Return the edit that takes this one back."""
        return AboutEdit(self.field, self.after, self.before)


@dataclass(frozen=True)
class RecordEdit:
    """An item of the record added (`before` None), removed (`after` None) or exchanged."""

    before: Item | None
    after: Item | None

    @property
    def item(self) -> Item:
        """The item after the edit, or the one removed."""
        item = self.after if self.after is not None else self.before
        assert item is not None
        return item

    def inverse(self) -> RecordEdit:
        """Return the edit that takes this one back."""
        return RecordEdit(self.after, self.before)


ABOUT_FIELDS = ("programme", "mode", "base_mode", "name", "revision", "description")
Edit = CellsEdit | TableEdit | SharedAxisEdit | AboutEdit | RecordEdit


@dataclass(frozen=True)
class Change:
    """One undo step.

    Parameters
    ----------
    title : str
        What was done, in the imperative: ``Scale 4 cells of Pre-engage torque by 1.1``.
    edits : tuple of edits
    reason, author, time : str
        Why, by whom and when (ISO 8601, UTC).
    merge : str
        Changes with the same non-empty text that follow each other (a drag, a held key) form
        one undo step.  Not written to disk.
    note : str
        What the user should know about the outcome, such as the error an interpolation made.
    """

    title: str
    edits: tuple[Edit, ...]
    reason: str = ""
    author: str = ""
    time: str = ""
    merge: str = ""
    note: str = ""

    @property
    def is_empty(self) -> bool:
        """Whether nothing is changed."""
        return not self.edits

    @property
    def tables(self) -> tuple[str, ...]:
        """Ids of the tables that are touched."""
        touched = (e.table for e in self.edits if isinstance(e, CellsEdit | TableEdit))
        return tuple(dict.fromkeys(touched))

    def inverse(self) -> Change:
        """Return the change that takes this one back."""
        return replace(self, edits=tuple(e.inverse() for e in reversed(self.edits)), merge="")

    def stamped(self, author: str, reason: str = "") -> Change:
        """Return the change with author and time filled in where they are empty."""
        return replace(
            self,
            author=self.author or author,
            time=self.time or stamp(),
            reason=self.reason or reason,
        )

    def merged_with(self, later: Change) -> Change:
        """Return one change that does this one and then `later` (both of cells of one table)."""
        return replace(later, edits=joined(self.edits + later.edits))


def joined(edits: tuple[Edit, ...]) -> tuple[Edit, ...]:
    """Fold cell edits that follow each other on one table into one edit each."""
    result: list[Edit] = []
    for edit in edits:
        last = result[-1] if result else None
        if isinstance(edit, CellsEdit) and isinstance(last, CellsEdit) and edit.table == last.table:
            result[-1] = _joined_cells(last, edit)
        else:
            result.append(edit)
    return tuple(e for e in result if not isinstance(e, CellsEdit) or e.cells.size)


def _joined_cells(first: CellsEdit, second: CellsEdit) -> CellsEdit:
    before = dict(zip(second.cells.tolist(), second.before.tolist(), strict=True))
    before |= dict(zip(first.cells.tolist(), first.before.tolist(), strict=True))
    after = dict(zip(first.cells.tolist(), first.after.tolist(), strict=True))
    after |= dict(zip(second.cells.tolist(), second.after.tolist(), strict=True))
    cells = np.array(sorted(before), dtype=np.int64)
    old = np.array([before[c] for c in cells.tolist()])
    new = np.array([after[c] for c in cells.tolist()])
    moved = ~((old == new) | (np.isnan(old) & np.isnan(new)))
    return CellsEdit(first.table, cells[moved], old[moved], new[moved])


def cells_edit(table: Table, values: FloatArray) -> CellsEdit:
    """Return the edit from a table to other values of its shape: only the cells that differ."""
    new = frozen(values)
    if new.shape != table.shape:
        raise EditRefused(
            f"{table.label} has {table.shape} cells, but {new.shape} values were given."
        )
    old_flat, new_flat = table.values.reshape(-1), new.reshape(-1)
    differs = ~((old_flat == new_flat) | (np.isnan(old_flat) & np.isnan(new_flat)))
    cells = np.flatnonzero(differs).astype(np.int64)
    return CellsEdit(table.id, cells, old_flat[cells], new_flat[cells])


def values_change(table: Table, values: FloatArray, title: str, **about: Any) -> Change:
    """Return the change from a table to other values, empty if they are the same.

    Locked cells keep their values; the change's note says how many were left.

    Raises
    ------
    EditRefused
        If every cell that would change is locked.
    """
    edit = cells_edit(table, values)
    held = locked_cells(table).reshape(-1)[edit.cells]
    if held.any():
        if held.all():
            raise EditRefused(
                f"{'The cell is' if held.size == 1 else 'The cells are'} locked.",
                "Unlock first (Free locked cells) if the value is meant to change.",
            )
        free = ~held
        edit = CellsEdit(edit.table, edit.cells[free], edit.before[free], edit.after[free])
        count = int(held.sum())
        about.setdefault(
            "note",
            f"{count} locked cell{' was' if count == 1 else 's were'} left as "
            f"{'it was' if count == 1 else 'they were'}.",
        )
    return Change(title, (edit,) if edit.cells.size else (), **about)


def table_change(before: Table, after: Table, title: str, **about: Any) -> Change:
    """Return the change that exchanges a whole table (axes, rules, texts), id kept."""
    edits = () if before == after else (TableEdit(before, after),)
    return Change(title, edits, **about)


def apply(content: CalibrationSet, change: Change) -> CalibrationSet:
    """Apply a change and return the new set, which shares what did not change.

    Raises
    ------
    EditRefused
        If the set is not what the change was made for; the set is as it was.
    """
    first = change.edits[0] if len(change.edits) == 1 else None
    if isinstance(first, CellsEdit):  # by far the commonest change
        return content.replaced({first.table: _with_cells(content, {}, first)})
    tables: dict[str, Table | None] = {}
    axes: dict[str, Axis | None] = {}
    about: dict[str, Any] = {}
    items: list[tuple[Item | None, Item | None]] = []
    order: list[str] | None = None
    for edit in change.edits:
        match edit:
            case CellsEdit():
                tables[edit.table] = _with_cells(content, tables, edit)
            case TableEdit():
                _require(content, tables, edit)
                tables[edit.table] = edit.after
                if edit.before is None or edit.after is None:
                    order = list(content.tables) if order is None else order
                    _reorder(order, edit)
            case SharedAxisEdit():
                axes[edit.id] = edit.after
            case AboutEdit():
                about[edit.field] = edit.after
            case RecordEdit():
                items.append((edit.before, edit.after))
    if items:
        about["record"] = _changed(content.record, items)
    return content.replaced(tables, axes, tuple(order) if order is not None else None, **about)


def _changed(record: Record, items: list[tuple[Item | None, Item | None]]) -> Record:
    try:
        return record.changed(items)
    except ModelError as error:
        raise EditRefused(error.problem, "Look at it as it is now.") from None


def _with_cells(
    content: CalibrationSet, changed: Mapping[str, Table | None], edit: CellsEdit
) -> Table:
    table = changed.get(edit.table) or content.tables.get(edit.table)
    if table is None:
        raise EditRefused(f"The set has no table {edit.table!r} any more.")
    values = table.values.copy()
    flat = values.reshape(-1)
    if edit.cells.size and (edit.cells.max() >= flat.size or edit.cells.min() < 0):
        raise EditRefused(f"{table.label} has no cell number {int(edit.cells.max())}.")
    if not same_values(flat[edit.cells], edit.before):
        raise EditRefused(
            f"{table.label} no longer holds the values this change was made for.",
            "Undo or repeat the edit on the present values.",
        )
    flat[edit.cells] = edit.after + 0.0  # a journal may hold -0
    values.setflags(write=False)
    return table.with_values(values)


def _require(content: CalibrationSet, changed: Mapping[str, Table | None], edit: TableEdit) -> None:
    now = changed[edit.table] if edit.table in changed else content.tables.get(edit.table)
    if now != edit.before:
        raise EditRefused(
            f"Table {edit.table} is not what this change was made for.",
            "Undo or repeat the edit on the present table.",
        )


def _reorder(order: list[str], edit: TableEdit) -> None:
    if edit.after is None:
        order.remove(edit.table)
    else:
        position = edit.position if edit.position >= 0 else len(order)
        order.insert(position, edit.table)


def add_table(content: CalibrationSet, table: Table, position: int = -1) -> Change:
    """Return the change that adds a table."""
    if table.id in content:
        raise EditRefused(f"The set has a table {table.id!r} already.", "Choose another id.")
    place = position if position >= 0 else len(content)
    return Change(f"Add {table.label}", (TableEdit(None, table, place),))


def remove_table(content: CalibrationSet, id: str) -> Change:
    """Return the change that removes a table."""
    table = content[id]
    place = list(content.tables).index(id)
    return Change(f"Remove {table.label}", (TableEdit(table, None, place),))


def describe(content: CalibrationSet, **about: str) -> Change:
    """Return the change of text fields of the set (`revision`, `name`, ...)."""
    now = content.about()
    unknown = set(about) - set(now)
    if unknown:
        raise EditRefused(f"A set has no field {sorted(unknown)[0]!r}.")
    edits = tuple(AboutEdit(f, now[f], new) for f, new in about.items() if now[f] != new)
    return Change("Describe set", edits)


def record_change(before: Item | None, after: Item | None, title: str, **about: Any) -> Change:
    """Return the change of one item of the record; empty if it stays the same."""
    edits = () if before == after else (RecordEdit(before, after),)
    return Change(title, edits, **about)


# -- plain form --------------------------------------------------------------------------


def change_to_plain(change: Change) -> dict[str, Any]:
    """Return a change as plain data for journal and history."""
    plain: dict[str, Any] = {
        "title": change.title,
        "reason": change.reason,
        "author": change.author,
        "time": change.time,
        "edits": [_edit_to_plain(e) for e in change.edits],
    }
    if change.note:
        plain["note"] = change.note
    return plain


def _edit_to_plain(edit: Edit) -> dict[str, Any]:
    match edit:
        case CellsEdit():
            return {
                "kind": "cells",
                "table": edit.table,
                "cells": edit.cells.tolist(),
                "before": numbers_to_plain(edit.before),
                "after": numbers_to_plain(edit.after),
            }
        case TableEdit():
            return {
                "kind": "table",
                "before": table_to_plain(edit.before) if edit.before else None,
                "after": table_to_plain(edit.after) if edit.after else None,
                "position": edit.position,
            }
        case SharedAxisEdit():
            return {
                "kind": "axis",
                "id": edit.id,
                "before": axis_to_plain(edit.before) if edit.before else None,
                "after": axis_to_plain(edit.after) if edit.after else None,
            }
        case AboutEdit():
            return {
                "kind": "about",
                "field": edit.field,
                "before": edit.before,
                "after": edit.after,
            }
        case RecordEdit():
            return {
                "kind": "record",
                "item": edit.item.KIND,
                "before": item_to_plain(edit.before) if edit.before else None,
                "after": item_to_plain(edit.after) if edit.after else None,
            }


def change_from_plain(plain: Mapping[str, Any]) -> Change:
    """Read back what `change_to_plain` wrote.

    Raises
    ------
    ModelError
        If the data is damaged.
    """
    try:
        return Change(
            text_from_plain(plain["title"]),
            tuple(_edit_from_plain(e) for e in plain["edits"]),
            text_from_plain(plain["reason"]),
            text_from_plain(plain["author"]),
            text_from_plain(plain["time"]),
            note=text_from_plain(plain.get("note", "")),
        )
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise ModelError(f"A recorded change is damaged: {error}.") from None


def _edit_from_plain(plain: Mapping[str, Any]) -> Edit:
    kind = plain["kind"]
    if kind == "cells":
        cells = np.array(plain["cells"], dtype=np.int64)
        before = numbers_from_plain(plain["before"], cells.shape)
        after = numbers_from_plain(plain["after"], cells.shape)
        if cells.ndim != 1:
            raise ModelError("A recorded change of values names no cells.")
        return CellsEdit(text_from_plain(plain["table"]), cells, before, after)
    if kind == "table":
        before, after = plain["before"], plain["after"]
        if before is None and after is None:
            raise ModelError("A recorded change of a table names no table.")
        return TableEdit(
            table_from_plain(before) if before is not None else None,
            table_from_plain(after) if after is not None else None,
            int(plain["position"]),
        )
    if kind == "axis":
        before, after = plain["before"], plain["after"]
        return SharedAxisEdit(
            text_from_plain(plain["id"]),
            axis_from_plain(before) if before is not None else None,
            axis_from_plain(after) if after is not None else None,
        )
    if kind == "about":
        if plain["field"] not in ABOUT_FIELDS:
            raise ModelError("A recorded change is of something that a set does not say.")
        return AboutEdit(*(text_from_plain(plain[key]) for key in ("field", "before", "after")))
    if kind == "record":
        old, new = (
            item_from_plain(plain["item"], plain[side]) if plain[side] is not None else None
            for side in ("before", "after")
        )
        if old is None and new is None:
            raise ModelError("A recorded change of the record names no item.")
        return RecordEdit(old, new)
    raise ModelError(f"A recorded change has an unknown part {kind!r}.")
