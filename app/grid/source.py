"""Where a grid's table comes from: the desk, or one table that is only looked at."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from PySide6.QtCore import QObject, Signal

from app.cell_marks import CellMarks
from app.desk import Desk
from calib_model.core.arrays import BoolArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import Change
from calib_model.session.document import Event

from .plane import Cell


class GridSource(QObject):
    """A table with a cursor and a selection, as the grid sees it.

    This base holds one table that can only be looked at (compare shows such grids); set it with
    `show_table`.  `DeskSource` is the editable one.

    Signals
    -------
    table_changed
        Another table, or one of another shape.
    values_changed : object
        Flat numbers of the cells whose values changed.
    saved_changed
        What counts as saved is another.
    cell_marks_changed
        Other marks are to be drawn over the cells, or none.
    cursor_changed, selection_changed
    """

    table_changed = Signal()
    values_changed = Signal(object)
    proposal_changed = Signal()
    saved_changed = Signal()
    cell_marks_changed = Signal()
    cursor_changed = Signal()
    selection_changed = Signal()
    told = Signal(str, bool)

    def __init__(self, table: Table | None = None, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._table: Table | None = None
        self._base: Table | None = None
        self._cursor: Cell = ()
        self._selection: BoolArray = np.zeros((), dtype=bool)
        if table is not None:
            self.show_table(table)

    def show_table(self, table: Table | None, base: Table | None = None) -> None:
        """Show another table; cells that differ from `base` are marked as changed."""
        self._table, self._base = table, base
        shape = table.shape if table is not None else ()
        self._cursor = (0,) * len(shape)
        self._selection = self._one(self._cursor)
        self.table_changed.emit()
        self.cursor_changed.emit()
        self.selection_changed.emit()

    @property
    def table(self) -> Table | None:
        """The table to show."""
        return self._table

    @property
    def saved_table(self) -> Table | None:
        """The table that changes are marked against, or None."""
        return self._base

    @property
    def proposed_table(self) -> Table | None:
        """The table as it is proposed to be, on the same axes; None if nothing is proposed."""
        return None

    @property
    def proposal_remarks(self) -> Mapping[Cell, str]:
        """What is to be said of single cells of the proposed table."""
        return {}

    @property
    def cell_marks(self) -> CellMarks | None:
        """What is to be marked over the cells, such as how they were driven."""
        return None

    @property
    def content(self) -> CalibrationSet | None:
        """The set the table belongs to, for edits of axes; None where nothing is edited."""
        return None

    @property
    def read_only(self) -> str:
        """Why nothing can be edited here; empty if it can."""
        return "This table is shown for comparison and cannot be edited here."

    @property
    def cursor(self) -> Cell:
        """Index of the cell under the cross-hair."""
        return self._cursor

    @property
    def selection(self) -> BoolArray:
        """Selected cells, in the table's shape."""
        return self._selection

    def set_cursor(self, cell: Cell, *, keep_selection: bool = False) -> None:
        """Move the cross-hair."""
        if self._table is None or len(cell) != len(self._table.shape):
            return
        if cell != self._cursor:
            self._cursor = cell
            self.cursor_changed.emit()
        if not keep_selection:
            self.set_selection(self._one(cell))

    def set_selection(self, selection: BoolArray) -> None:
        """Select cells; an empty selection falls back to the cursor's cell."""
        if self._table is None or selection.shape != self._table.shape:
            return
        chosen = selection if selection.any() else self._one(self._cursor)
        if not np.array_equal(chosen, self._selection):
            self._selection = chosen
            self.selection_changed.emit()

    def _one(self, cell: Cell) -> BoolArray:
        marks = np.zeros(self._table.shape if self._table is not None else (), dtype=bool)
        marks[cell] = True
        return marks

    def do(self, change: Change | Callable[[], Change]) -> bool:
        """Apply a change; tell and return False where it is refused."""
        self.tell(self.read_only, refused=True)
        return False

    def tell(self, text: str, *, refused: bool = False) -> None:
        """Show a message where the user looks for messages."""
        self.told.emit(text, refused)


class DeskSource(GridSource):
    """The table in work on a desk, with the desk's cursor and selection."""

    def __init__(self, desk: Desk, parent: QObject | None = None) -> None:
        super().__init__(None, parent)
        self.desk = desk
        desk.table_changed.connect(self.table_changed)
        desk.cursor_changed.connect(self.cursor_changed)
        desk.selection_changed.connect(self.selection_changed)
        desk.edited.connect(self._on_edit)
        desk.documents_changed.connect(self.saved_changed)
        desk.proposal_changed.connect(self.proposal_changed)
        desk.driving.cell_marks_changed.connect(self.cell_marks_changed)

    @property
    def table(self) -> Table | None:
        """The table in work."""
        return self.desk.table

    @property
    def saved_table(self) -> Table | None:
        """The table as it was opened or last saved."""
        return self.desk.saved_table

    @property
    def proposed_table(self) -> Table | None:
        """The table as a tool proposes it, if one does."""
        return self.desk.proposed_table

    @property
    def proposal_remarks(self) -> Mapping[Cell, str]:
        """What the tool says of single cells."""
        return self.desk.proposal_remarks

    @property
    def cell_marks(self) -> CellMarks | None:
        """What is known of the driving, or of whatever else is marked."""
        return self.desk.driving.cell_marks

    @property
    def content(self) -> CalibrationSet | None:
        """The current set."""
        return self.desk.current.content if self.desk.current is not None else None

    @property
    def read_only(self) -> str:
        """Why nothing can be edited; empty if it can."""
        document = self.desk.current
        if document is None:
            return "No set is open."
        if document.read_only:
            return f"{document.title} is open read-only. Use Save as to make a copy to edit."
        return ""

    @property
    def cursor(self) -> Cell:
        """The desk's cursor."""
        return self.desk.cursor

    @property
    def selection(self) -> BoolArray:
        """The desk's selection."""
        return self.desk.selection

    def set_cursor(self, cell: Cell, *, keep_selection: bool = False) -> None:
        """Move the desk's cursor."""
        self.desk.set_cursor(cell, keep_selection=keep_selection)

    def set_selection(self, selection: BoolArray) -> None:
        """Set the desk's selection."""
        self.desk.set_selection(selection)

    def do(self, change: Change | Callable[[], Change]) -> bool:
        """Apply a change to the current document."""
        return self.desk.do(change)

    def tell(self, text: str, *, refused: bool = False) -> None:
        """Show a message in the status line."""
        self.desk.tell(text, refused=refused)

    def _on_edit(self, event: Event) -> None:
        table = self.desk.table
        cells = event.cells.get(table.id) if table is not None else None
        # None: the whole table was exchanged, and the desk has said so by table_changed already.
        if cells is not None:
            self.values_changed.emit(cells)
