"""What the window's parts share: open documents, the table in work, cursor and selection.

One `Desk` per window.  Widgets listen to its signals and ask it for values; none holds arrays
of its own.  Every edit goes through `Desk.do`, so that a refusal is told in one place.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from PySide6.QtCore import QObject, Signal

from app.driving_shown import DrivingShown
from calib_model.core.arrays import BoolArray
from calib_model.core.table import Table
from calib_model.editing.change import Change
from calib_model.errors import BitepointError
from calib_model.rules.check import Report
from calib_model.session.document import Document, Event

USUAL = ("base", "newest", "none")
"""Which open set of the programme is the reference by itself: the base set, the one opened last,
or none."""


class Desk(QObject):
    """Shared state of one window.

    Signals
    -------
    documents_changed
        A set was opened, closed, saved or renamed.
    current_changed
        Another document is current.
    reference_changed
        The reference document (the base for relations, the overlay) is another.
    table_changed
        Another table is in work, or its shape changed.
    edited : Event
        The current document was edited (undo and redo included).
    findings_changed
        The current document's findings are up to date again.
    proposal_changed
        Other values are proposed, shown over the present ones until they are applied or dropped.
    cursor_changed
        The cell under the shared cross-hair moved.
    selection_changed
        Other cells are selected.
    focus_grid
        The keyboard should go to the table's cells.
    told : str, bool
        A message for the status line; True if it is a refusal.
    """

    documents_changed = Signal()
    current_changed = Signal()
    reference_changed = Signal()
    table_changed = Signal()
    edited = Signal(object)
    findings_changed = Signal()
    proposal_changed = Signal()
    cursor_changed = Signal()
    selection_changed = Signal()
    focus_grid = Signal()
    told = Signal(str, bool)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.documents: list[Document] = []
        self.current: Document | None = None
        self.reference: Document | None = None
        self.report: Report | None = None
        """Findings of the current document; None while it is being checked."""
        self.check_failure = ""
        """Why there are none and will be none, until the set is checked again."""
        self._proposed: Mapping[str, Table] = {}
        self._proposal_remarks: Mapping[str, Mapping[tuple[int, ...], str]] = {}
        self.driving = DrivingShown(lambda: self.table, self)
        """What is shown of driving over the tables."""
        self._table_id = ""
        self._cursor: tuple[int, ...] = ()
        self._selection: BoolArray = np.zeros((), dtype=bool)
        self._unsubscribe: dict[int, Callable[[], None]] = {}
        self._last_place: dict[tuple[int, str], tuple[int, ...]] = {}
        self._numbers: dict[int, int] = {}
        self._wants_no_reference = False
        self.usual_reference = USUAL[0]
        """Which set becomes the reference while the user has not chosen any."""

    # -- documents ---------------------------------------------------------------------------

    def free_number(self, *taken: int) -> int:
        """Return the lowest number that no open set has, nor any of those given."""
        numbers = {*self._numbers.values(), *taken}
        return next(n for n in range(len(numbers) + 1) if n not in numbers)

    def add(self, document: Document, number: int | None = None) -> None:
        """Take in an opened document and make it current if it is the first.

        Parameters
        ----------
        document : Document
        number : int, optional
            Its number (see `number`); by default the lowest that is free.
        """
        self.documents.append(document)
        self._numbers[id(document)] = self.free_number() if number is None else number
        self._unsubscribe[id(document)] = document.subscribe(
            lambda event: self._on_edit(document, event)
        )
        self.documents_changed.emit()
        if self.current is None:
            self.set_current(document)
        self._suggest_reference()

    def remove(self, document: Document) -> None:
        """Let a document go; another becomes current."""
        place = self.documents.index(document)
        self.documents.remove(document)
        self._unsubscribe.pop(id(document))()
        self._numbers.pop(id(document), None)
        if self.reference is document:
            self._refer_to(None)
        self.documents_changed.emit()
        if self.current is document:
            rest = self.documents
            self.set_current(rest[min(place, len(rest) - 1)] if rest else None)
        self._suggest_reference()

    def set_current(self, document: Document | None) -> None:
        """Make a document current; the table in work keeps its id if the set has it."""
        if document is self.current:
            return
        before, self.current = self.current, document
        if document is not None and document is self.reference:
            # A set is not its own reference: the two change places.
            self._refer_to(before if before in self.documents else None)
        self.propose(None)
        self.current_changed.emit()
        tables = document.content.tables if document else {}
        wanted = self._table_id if self._table_id in tables else next(iter(tables), "")
        self._open_table(wanted)

    def set_reference(self, document: Document | None) -> None:
        """Choose the set that relations and overlays refer to, or none."""
        self._wants_no_reference = document is None
        self._refer_to(document)

    def _refer_to(self, document: Document | None) -> None:
        if document is not self.reference:
            self.reference = document
            self.reference_changed.emit()

    def _suggest_reference(self) -> None:
        """Refer to another set of the programme while the user has not said anything else."""
        now = self.current
        if self.reference is not None or now is None or self._wants_no_reference:
            return
        programme = now.content.programme
        others = [d for d in self.documents if d is not now and d.content.programme == programme]
        # Relations of the other modes refer to the base set, so it is the natural reference.
        others.sort(key=lambda d: not d.content.is_base)
        if self.usual_reference == "newest":
            others.sort(key=self.documents.index, reverse=True)
        if programme and others and self.usual_reference != "none":
            self._refer_to(others[0])

    def use_reference(self, usual: str) -> None:
        """Choose by itself from now on: one of `USUAL`; what was chosen by hand is let go."""
        self.usual_reference = usual
        self._wants_no_reference = False
        self._refer_to(None)
        self._suggest_reference()

    def number(self, document: Document | None) -> int:
        """Return the number of an open set, from 0 for A; -1 for none.

        It stays the same while the set is open, whatever else is opened or closed.
        """
        return self._numbers.get(id(document), -1)

    # -- the table in work -------------------------------------------------------------------

    @property
    def table(self) -> Table | None:
        """The table in work, as it is now."""
        return self.current.content.tables.get(self._table_id) if self.current else None

    @property
    def saved_table(self) -> Table | None:
        """The same table as it was when the set was opened or last saved."""
        return self.current.saved_content.tables.get(self._table_id) if self.current else None

    @property
    def reference_table(self) -> Table | None:
        """The same table in the reference set."""
        return self.reference.content.tables.get(self._table_id) if self.reference else None

    @property
    def proposed_table(self) -> Table | None:
        """The table in work as it is proposed, if it is and differs from the present one."""
        proposed = self._proposed.get(self._table_id)
        return None if proposed is None or proposed == self.table else proposed

    @property
    def proposal_remarks(self) -> Mapping[tuple[int, ...], str]:
        """What is to be said of single cells of the proposed table in work."""
        return self._proposal_remarks.get(self._table_id, {})

    def propose(
        self,
        tables: Mapping[str, Table] | None,
        remarks: Mapping[str, Mapping[tuple[int, ...], str]] | None = None,
    ) -> None:
        """Show tables as a proposal over the present ones; None drops it.

        Parameters
        ----------
        tables : mapping of id to Table
        remarks : mapping of id to mapping of cell to words, optional
            Such as how well a fitted cell is known; ``no data`` sets it in brackets.
        """
        if not tables and not self._proposed:
            return
        self._proposed = dict(tables or {})
        self._proposal_remarks = dict(remarks or {})
        self.proposal_changed.emit()

    def open_table(self, table_id: str, cell: tuple[int, ...] | None = None) -> None:
        """Work on a table of the current set, at a cell if one is given."""
        if self.current is None or table_id not in self.current.content.tables:
            return
        if table_id != self._table_id:
            self._open_table(table_id)
        if cell is not None:
            self.set_cursor(cell)

    def _open_table(self, table_id: str) -> None:
        self._table_id = table_id
        table = self.table
        shape = table.shape if table else ()
        place = self._last_place.get((id(self.current), table_id), (0,) * len(shape))
        self._cursor = tuple(min(i, n - 1) for i, n in zip(place, shape, strict=False))
        if len(self._cursor) != len(shape):
            self._cursor = (0,) * len(shape)
        self._selection = self._only_cursor()
        self.table_changed.emit()
        self.cursor_changed.emit()
        self.selection_changed.emit()

    # -- cursor and selection ------------------------------------------------------------------

    @property
    def cursor(self) -> tuple[int, ...]:
        """Index of the cell under the cross-hair, one number per axis."""
        return self._cursor

    @property
    def selection(self) -> BoolArray:
        """Selected cells, in the table's shape; always holds at least the cursor."""
        return self._selection

    def set_cursor(self, cell: tuple[int, ...], *, keep_selection: bool = False) -> None:
        """Move the cross-hair; the selection follows unless it is kept."""
        table = self.table
        if table is None or len(cell) != len(table.shape):
            return
        cell = tuple(min(max(int(i), 0), n - 1) for i, n in zip(cell, table.shape, strict=True))
        moved = cell != self._cursor
        self._cursor = cell
        self._last_place[(id(self.current), self._table_id)] = cell
        if moved:
            self.cursor_changed.emit()
        if not keep_selection:
            self.set_selection(self._only_cursor())

    def set_selection(self, selection: BoolArray) -> None:
        """Select cells; an empty selection falls back to the cursor's cell."""
        table = self.table
        if table is None or selection.shape != table.shape:
            return
        chosen = selection if selection.any() else self._only_cursor()
        if not np.array_equal(chosen, self._selection):
            self._selection = chosen
            self.selection_changed.emit()

    def _only_cursor(self) -> BoolArray:
        table = self.table
        only = np.zeros(table.shape if table else (), dtype=bool)
        if table is not None:
            only[self._cursor] = True
        return only

    # -- editing -------------------------------------------------------------------------------

    def do(self, change: Change | Callable[[], Change]) -> bool:
        """Apply a change to the current set; a refusal is told, not raised.

        Parameters
        ----------
        change : Change or callable
            A callable is asked for the change here, so that its refusals are told as well.
        """
        if self.current is None:
            return False
        try:
            made = change() if callable(change) else change
            event = self.current.do(made)
        except BitepointError as error:
            self.tell(str(error), refused=True)
            return False
        if event is not None:
            self.tell(f"{made.title}. {made.note}".strip() if made.note else made.title)
        return event is not None

    def tell(self, text: str, *, refused: bool = False) -> None:
        """Show a message in the status line."""
        self.told.emit(text, refused)

    def _on_edit(self, document: Document, event: Event) -> None:
        if document is not self.current:
            self.documents_changed.emit()
            return
        self.propose(None)  # it was made for other values
        table = self.table
        shape = table.shape if table else ()
        if table is None:
            self._open_table(next(iter(document.content.tables), ""))
        elif self._selection.shape != shape:
            self._open_table(self._table_id)
        elif event.cells.get(self._table_id, 0) is None:
            self.table_changed.emit()  # axes, rules or texts; cursor and selection stay
        self.edited.emit(event)
