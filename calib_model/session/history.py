"""The history of an open set: who changed what, when and why, and any earlier state.

An entry is the plain form of a change.  The state at an entry is found by walking back from
the present one; nothing but the entries is stored for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Protocol, Self

from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.numbers import exact
from ..core.table import Table
from ..core.units import shown
from ..editing.change import (
    AboutEdit,
    CellsEdit,
    Change,
    RecordEdit,
    SharedAxisEdit,
    TableEdit,
    apply,
    cells_edit,
    change_from_plain,
    change_to_plain,
)
from ..editing.difference import change_between
from ..errors import EditRefused, ModelError

if TYPE_CHECKING:
    from .document import Document

MAX_LINES = 400
_STRETCH = 1000
"""So many entries between two whole sets on the way to an earlier one."""


class HistoryLike(Protocol):
    """Entries that a file holds, decoded when asked for."""

    def __len__(self) -> int:
        """Number of entries."""

    def entries(self) -> Iterator[dict[str, Any]]:
        """Yield the entries in their plain form, oldest first."""

    def views(self) -> list[Mapping[str, Any]]:
        """Return the entries, oldest first; what they hold may be decoded when asked for."""

    def with_entries(self, entries: Iterable[Mapping[str, Any]]) -> Self:
        """Return a history with entries added; this one stays as it is."""


class PlainHistory:
    """A history in memory.

    Parameters
    ----------
    entries : iterable of plain changes, optional
        Oldest first.
    """

    def __init__(self, entries: Iterable[Mapping[str, Any]] = ()) -> None:
        self._entries = tuple(entries)

    def __len__(self) -> int:
        return len(self._entries)

    def entries(self) -> Iterator[dict[str, Any]]:
        """Yield the entries in their plain form, oldest first."""
        return (dict(entry) for entry in self._entries)

    def views(self) -> list[Mapping[str, Any]]:
        """Return the entries, oldest first."""
        return list(self._entries)

    def with_entries(self, entries: Iterable[Mapping[str, Any]]) -> PlainHistory:
        """Return a history with entries added; this one stays as it is."""
        return PlainHistory((*self._entries, *entries))


@dataclass(frozen=True)
class Entry:
    """One entry of a history.

    Parameters
    ----------
    plain : mapping
        The change in its plain form; what it holds may be decoded when asked for.
    saved : bool
        Whether the file holds it; else it is a change since the last save.
    """

    plain: Mapping[str, Any]
    saved: bool

    def _text(self, key: str) -> str:
        value = self.plain.get(key, "")
        return value if isinstance(value, str) else ""

    @property
    def title(self) -> str:
        """What was done."""
        return self._text("title")

    @property
    def reason(self) -> str:
        """Why; may be empty."""
        return self._text("reason")

    @property
    def author(self) -> str:
        """By whom."""
        return self._text("author")

    @property
    def time(self) -> str:
        """When, ISO 8601 in UTC."""
        return self._text("time")

    def change(self) -> Change:
        """Return the change itself; ModelError if its record is damaged."""
        return change_from_plain(self.plain)


def entries_of(document: Document) -> list[Entry]:
    """Return every entry of a document, oldest first, changes since the last save included.

    What an entry holds is decoded when it is asked for: a damaged one raises `ModelError` then.
    """
    saved = [Entry(plain, True) for plain in document.history.views()]
    return saved + [Entry(change_to_plain(change), False) for change in document.pending]


def content_after(content: CalibrationSet, later: Iterable[Entry]) -> CalibrationSet:
    """Return an earlier state of a set.

    Parameters
    ----------
    content : CalibrationSet
        The present state.
    later : iterable of Entry
        Entries made after the wanted state, oldest first.

    Raises
    ------
    EditRefused
        If the entries do not lead to the present state: something changed the set unrecorded.
    """
    backwards = list(later)[::-1]
    for start in range(0, len(backwards), _STRETCH):
        content = _followed_back(content, backwards[start : start + _STRETCH])
    return content


def _followed_back(content: CalibrationSet, entries: list[Entry]) -> CalibrationSet:
    """Take entries back, the latest first.

    Most edit cells of a few tables.  Those are followed in a set of these tables alone, since
    each state of a set holds an index of all of its tables.
    """
    nothing = CalibrationSet(shared_axes=content.shared_axes)
    part = nothing
    for entry in entries:
        try:
            change = entry.change()
            cells = [edit for edit in change.edits if isinstance(edit, CellsEdit)]
            if len(cells) == len(change.edits):
                more = {e.table: content[e.table] for e in cells if e.table not in part}
                part = apply(part.replaced(more) if more else part, change.inverse())
            else:
                content = apply(content.replaced(part.tables), change.inverse())
                part = replace(nothing, shared_axes=content.shared_axes)
        except (EditRefused, ModelError) as error:
            raise EditRefused(
                f"The history cannot be followed back past “{entry.title}” of {entry.time}.",
                "The set was changed by something that wrote no history; later states can "
                "still be restored.",
            ) from error
    return content.replaced(part.tables)


def restore_change(document: Document, entries: list[Entry], number: int) -> Change:
    """Return one change that brings back the set as it was after an entry.

    Parameters
    ----------
    document : Document
    entries : list of Entry
        As `entries_of` gave them for the document's present state.
    number : int
        Which entry; -1 for the state before the first one.

    Raises
    ------
    EditRefused
        See `content_after`.
    """
    wanted = content_after(document.content, entries[number + 1 :])
    if number < 0:
        title = "Restore the set as it was before its first recorded edit"
    else:
        title = f"Restore the set as it was after “{entries[number].title}”"
    return change_between(document.content, wanted, title)


def describe_change(change: Change, content: CalibrationSet | None = None) -> list[str]:
    """Say in words what a change did: one line per cell or part.

    Parameters
    ----------
    change : Change
    content : CalibrationSet, optional
        Where to find names, units and axis values of the tables; ids and cell numbers are
        given without it.
    """
    lines: list[str] = []
    for edit in change.edits:
        match edit:
            case CellsEdit():
                table = content.tables.get(edit.table) if content is not None else None
                lines.extend(_cell_lines(edit, table, MAX_LINES - len(lines)))
            case TableEdit():
                lines.append(_table_line(edit))
                lines.extend(_exchanged_values(edit, MAX_LINES - len(lines)))
            case SharedAxisEdit():
                lines.append(f"Shared axis {edit.id}: {_axis(edit.before)} → {_axis(edit.after)}")
            case AboutEdit():
                lines.append(f"{edit.field}: “{edit.before}” → “{edit.after}”")
            case RecordEdit():
                lines.append(_item_line(edit))
        if len(lines) >= MAX_LINES:
            lines.append("… and more")
            break
    return lines


def _cell_lines(edit: CellsEdit, table: Table | None, room: int) -> list[str]:
    name = table.label if table is not None else edit.table
    lines = []
    triples = zip(edit.cells.tolist(), edit.before.tolist(), edit.after.tolist(), strict=True)
    for cell, before, after in list(triples)[: max(room, 0)]:
        place = cell_words(table, cell)
        new = _said(table, after) if table is not None else _value(after)
        lines.append(f"{name}{place}: {_old(table, before)} → {new}")
    return lines


def cell_words(table: Table | None, flat: int) -> str:
    """Return where a cell lies: its axis values, as `` at Pedal 40 %``; its number without them."""
    if table is None or flat >= table.values.size:
        return f" cell {flat + 1}"
    if not table.shape:
        return ""
    rest, index = flat, []
    for length in reversed(table.shape):
        rest, i = divmod(rest, length)
        index.append(i)
    words = [
        f"{axis.label} {_said(axis, float(axis.values[i]))}"
        for axis, i in zip(table.axes, reversed(index), strict=True)
    ]
    return f" at {', '.join(words)}"


def _said(owner: Axis | Table, value: float) -> str:
    """Return a value to its last digit with its unit, or its label."""
    return owner.labels.name(value) or f"{_value(value)} {shown(owner.unit)}".rstrip()


def _old(table: Table | None, value: float) -> str:
    return (table.labels.name(value) if table is not None else "") or _value(value)


def _value(value: float) -> str:
    return "empty" if value != value else exact(value)


def _axis(axis: Any) -> str:
    if axis is None:
        return "none"
    return f"[{' '.join(exact(float(v)) for v in axis.values[:20])}] {shown(axis.unit)}".strip()


def _item_line(edit: RecordEdit) -> str:
    item = edit.item
    what = f"{item.KIND[:1].upper()}{item.KIND[1:]}"
    table = getattr(item, "table", "")
    of = f" on {table}" if table else ""
    done = "added" if edit.before is None else "removed" if edit.after is None else "changed"
    said = next(
        (t for k in ("text", "reason", "comment", "note") if (t := getattr(item, k, ""))), ""
    )
    return f"{what}{of} {done}" + (f": {said}" if said else "")


def _table_line(edit: TableEdit) -> str:
    if edit.before is None:
        return f"Table {edit.table} added"
    if edit.after is None:
        return f"Table {edit.table} removed"
    parts = []
    for old, new in zip(edit.before.axes, edit.after.axes, strict=False):
        if old != new:
            parts.append(f"{old.label} {_axis(old)} → {_axis(new)}")
    if edit.before.rules != edit.after.rules:
        parts.append("rules or locks changed")
    if edit.before.settings()[:-1] != edit.after.settings()[:-1]:
        parts.append("name, unit, limits or other details changed")
    if not parts:
        parts.append("values changed")
    return f"{edit.after.label}: {'; '.join(parts)}"


def _exchanged_values(edit: TableEdit, room: int) -> list[str]:
    """Cells that changed in a table exchanged whole, where its axes stayed."""
    before, after = edit.before, edit.after
    if before is None or after is None or before.shape != after.shape:
        return []
    cells = cells_edit(before, after.values)
    return _cell_lines(cells, after, room) if cells.cells.size else []
