"""An open calibration set: swaps values, keeps undo, journals every edit.

The document is the only mutable object of the model.  It never changes a value in place: an
edit gives a new `CalibrationSet`, and the document points at that one from then on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from ..core.arrays import IntArray
from ..core.calibration_set import CalibrationSet
from ..core.record import SignOff, Waiver
from ..editing.change import CellsEdit, Change, RecordEdit, TableEdit, apply, change_to_plain
from ..errors import EditRefused
from .file_state import FileState
from .history import HistoryLike, PlainHistory

if TYPE_CHECKING:
    from ..store import SavePoint

_NO_CELLS: IntArray = np.empty(0, dtype=np.int64)


@dataclass(frozen=True)
class Event:
    """What an edit touched, for whoever shows it.

    Parameters
    ----------
    change : Change
        As applied: the inverse for an undo.
    cells : mapping of table id to flat cell numbers
        Cells whose values changed; None where the whole table (axes, rules, texts) did.
    tables_changed : bool
        Whether tables were added, removed or put in another order, or texts of the set changed.
    record_changed : bool
        Whether remarks, waivers, decisions, maturity or sign-offs changed.  A waiver's table is
        in `cells` without a cell: its findings are to be looked at again.
    """

    change: Change
    cells: Mapping[str, IntArray | None] = field(default_factory=lambda: MappingProxyType({}))
    tables_changed: bool = False
    record_changed: bool = False

    @property
    def tables(self) -> tuple[str, ...]:
        """Ids of the touched tables."""
        return tuple(self.cells)


@dataclass(frozen=True)
class Snapshot:
    """What a save writes: the set at one moment, and the changes that led to it.

    Parameters
    ----------
    content : CalibrationSet
    pending : tuple of Change
        Changes since the last save, oldest first.
    history : HistoryLike
        Entries that the file is to hold, the pending ones included.
    """

    content: CalibrationSet
    pending: tuple[Change, ...]
    history: HistoryLike


class JournalLike(Protocol):
    """Where edits are recorded between saves."""

    def append(self, record: Mapping[str, Any]) -> None:
        """Record one change in its plain form, durable against the end of this process."""

    def save_point(self) -> SavePoint:
        """Note which edits the state to be saved now includes: all up to this moment."""


class Document:
    """One open set.

    Parameters
    ----------
    content : CalibrationSet
    path : Path or None
        None for a set that was never saved.
    read_only : bool
        Edits are refused; "save as" makes a document that can be edited.
    author : str
        Who edits, for history.
    """

    def __init__(
        self,
        content: CalibrationSet,
        path: Path | None = None,
        *,
        read_only: bool = False,
        author: str = "",
    ) -> None:
        self._content = content
        self._saved = content
        self._compared = (content, content, False)
        self.path = path
        self.read_only = read_only
        self.author = author
        self.journal: JournalLike | None = None
        self.stored: FileState | None = None
        """How the file was when it was opened or last saved; None for a set without a file."""
        self.history: HistoryLike = PlainHistory()
        """Entries that the file holds, oldest first."""
        self._undo: list[Change] = []
        self._redo: list[tuple[Change, Change | None]] = []
        """Changes taken back, each with the pending one that says so; None where taking it back
        left nothing to say."""
        self._pending: list[Change] = []
        self._being_saved = 0
        """How many of the pending changes a running save writes: those are not taken back or
        merged into any more, since the file may hold them already."""
        self._listeners: list[Callable[[Event], None]] = []

    # -- what it holds ---------------------------------------------------------------------

    @property
    def content(self) -> CalibrationSet:
        """The set as it is now."""
        return self._content

    @property
    def saved_content(self) -> CalibrationSet:
        """The set as it was opened or last saved."""
        return self._saved

    @property
    def is_modified(self) -> bool:
        """Whether the set differs from the saved one."""
        now, saved = self._content, self._saved
        if now is saved:
            return False
        if self._compared[0] is not now or self._compared[1] is not saved:
            # Asked many times per edit by whoever shows it; comparing costs more in a large set.
            self._compared = (now, saved, now != saved)
        return self._compared[2]

    @property
    def pending(self) -> tuple[Change, ...]:
        """Changes since the last save, for the history; oldest first."""
        return tuple(self._pending)

    @property
    def title(self) -> str:
        """File name, or the set's label."""
        return self.path.name if self.path else self._content.label

    # -- editing -----------------------------------------------------------------------------

    def do(self, change: Change) -> Event | None:
        """Apply a change; return the event, or None if it changes nothing.

        Raises
        ------
        EditRefused
            If the document is read-only or the change does not fit; nothing is changed.
        """
        if change.is_empty:
            return None
        self._require_writable()
        if _signs(change):
            raise EditRefused("A sign-off is not an edit.", "Use Sign; it cannot be undone.")
        change = change.stamped(self.author)
        new = apply(self._content, change)
        last = self._undo[-1] if self._undo else None
        merges = (
            bool(change.merge)
            and last is not None
            and last.merge == change.merge
            and self._content is not self._saved
            and not self._redo
            and self._last_pending() is last  # a file or a running save may hold it already
        )
        if merges and last is not None:
            merged = last.merged_with(change)
            if merged.is_empty:  # dragged away and back: nothing is left to undo
                self._undo.pop()
                self._pending.pop()
            else:
                self._undo[-1] = self._pending[-1] = merged
        else:
            self._undo.append(change)
            self._pending.append(change)
        self._redo.clear()
        return self._switch(new, change)

    def undo(self) -> Event | None:
        """Take the last change back."""
        if not self._undo:
            return None
        self._require_writable()
        change = self._undo[-1]
        inverse = replace(change.inverse(), title=f"Undo {change.title}", time="")
        inverse = inverse.stamped(self.author)
        new = apply(self._content, inverse)
        self._undo.pop()
        if self._last_pending() is change:
            self._pending.pop()
            self._redo.append((change, None))
        else:
            self._pending.append(inverse)
            self._redo.append((change, inverse))
        return self._switch(new, inverse)

    def redo(self) -> Event | None:
        """Do the last change that was taken back again."""
        if not self._redo:
            return None
        self._require_writable()
        undone, recorded = self._redo[-1]
        change = replace(undone, merge="")
        new = apply(self._content, change)
        self._redo.pop()
        self._undo.append(change)
        if recorded is not None and self._last_pending() is recorded:
            self._pending.pop()
        else:
            self._pending.append(change)
        return self._switch(new, change)

    def sign(self, sign_off: SignOff, title: str = "Sign off") -> Event:
        """Add a sign-off to the record; it is in the history but cannot be undone.

        Earlier edits can still be undone; the sign-off then shows what changed since.

        Raises
        ------
        EditRefused
            If the document is read-only.
        """
        self._require_writable()
        self.break_merge()
        change = Change(title, (RecordEdit(None, sign_off),)).stamped(self.author)
        new = apply(self._content, change)
        self._pending.append(change)
        return self._switch(new, change)

    @property
    def undo_title(self) -> str:
        """What undo would take back; empty if nothing."""
        return self._undo[-1].title if self._undo else ""

    @property
    def redo_title(self) -> str:
        """What redo would do again; empty if nothing."""
        return self._redo[-1][0].title if self._redo else ""

    def break_merge(self) -> None:
        """End a run of merged changes: the next one is its own undo step."""
        if self._undo and self._undo[-1].merge:
            ended = replace(self._undo[-1], merge="")
            if self._pending and self._pending[-1] is self._undo[-1]:
                self._pending[-1] = ended
            self._undo[-1] = ended

    def give_reason(self, text: str) -> bool:
        """Note why the last change since the last save was made; False if there is none."""
        last = self._last_pending()
        if last is None:
            return False
        told = replace(last, reason=text, merge="")
        self._pending[-1] = told
        if self._undo and self._undo[-1] is last:
            self._undo[-1] = told
        if self.journal is not None:
            self.journal.append({"reason": text})
        return True

    @property
    def last_reason(self) -> str | None:
        """Reason of the change that `give_reason` would write to; None if there is none."""
        last = self._last_pending()
        return None if last is None else last.reason

    def _last_pending(self) -> Change | None:
        """Return the last pending change, unless a running save writes it."""
        return self._pending[-1] if len(self._pending) > self._being_saved else None

    # -- saving ------------------------------------------------------------------------------

    def begin_save(self) -> Snapshot:
        """Return what a save is to write; edits made meanwhile stay pending.

        End it with `mark_saved` or `save_failed`.
        """
        self._being_saved = len(self._pending)
        pending = tuple(self._pending)
        history = self.history.with_entries(map(change_to_plain, pending))
        return Snapshot(self._content, pending, history)

    def mark_saved(self, content: CalibrationSet, path: Path | None = None) -> None:
        """Note that `content` (this document's set at some moment) is now what the file holds."""
        count = self._being_saved
        if not count and content is self._content:
            count = len(self._pending)
        self.history = self.history.with_entries(map(change_to_plain, self._pending[:count]))
        del self._pending[:count]
        self._being_saved = 0
        self._saved = content
        if path is not None:
            self.path = path

    def save_failed(self) -> None:
        """Note that a save came to nothing: every change is pending as before."""
        self._being_saved = 0

    def recovered(self, changes: list[Change]) -> None:
        """Apply recorded changes after a crash, as undoable and unsaved edits.

        Raises
        ------
        EditRefused
            If one does not fit; those before it are kept.
        """
        for change in changes:
            self._content = apply(self._content, change)
            if not _signs(change):
                self._undo.append(change)
            self._pending.append(change)

    # -- listeners ---------------------------------------------------------------------------

    def subscribe(self, listener: Callable[[Event], None]) -> Callable[[], None]:
        """Call `listener` after every edit; the returned function ends that."""
        self._listeners.append(listener)
        return lambda: self._listeners.remove(listener)

    def _switch(self, new: CalibrationSet, change: Change) -> Event:
        if self.journal is not None:
            self.journal.append(change_to_plain(change))
        self._content = new
        event = event_of(change)
        for listener in tuple(self._listeners):
            listener(event)
        return event

    def _require_writable(self) -> None:
        if self.read_only:
            raise EditRefused(
                f"{self.title} is open read-only.", "Use Save as to make a copy to edit."
            )


def _signs(change: Change) -> bool:
    return any(isinstance(e, RecordEdit) and isinstance(e.item, SignOff) for e in change.edits)


def event_of(change: Change) -> Event:
    """Return what a change touches."""
    cells: dict[str, IntArray | None] = {}
    tables_changed = record_changed = False
    for edit in change.edits:
        if isinstance(edit, RecordEdit):
            record_changed = True
            if isinstance(edit.item, Waiver):
                cells.setdefault(edit.item.table, _NO_CELLS)
        elif isinstance(edit, CellsEdit):
            known = cells.get(edit.table, _NO_CELLS)
            cells[edit.table] = edit.cells if known is not None and not known.size else None
        elif isinstance(edit, TableEdit):
            cells[edit.table] = None
            tables_changed |= edit.before is None or edit.after is None
        else:
            tables_changed = True
    return Event(change, MappingProxyType(cells), tables_changed, record_changed)
