"""The cells of a grid: where the cursor goes, and how the table is edited there.

Headers, delegate, keys and clipboard work on these; `GridView` shows them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QItemSelection, QItemSelectionModel, Qt
from PySide6.QtWidgets import QAbstractItemDelegate, QLineEdit, QTableView, QWidget

from app.desk import Desk
from calib_model.editing.change import Change

from . import edits
from .entry_strip import EntryStrip
from .model import GridModel
from .navigation import jumped, stepped
from .plane import Cell
from .source import DeskSource, GridSource

_Flag = QItemSelectionModel.SelectionFlag


class GridCells(QTableView):
    """One plane of the source's table, to move in and to edit.

    Parameters
    ----------
    source : GridSource or Desk
        A desk stands for the table in work on it.
    """

    def __init__(self, source: GridSource | Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.source = source if isinstance(source, GridSource) else DeskSource(source, self)
        self.strip: EntryStrip | None = None
        """Where operations ask for a number; `GridPanel` sets it."""
        self.editor: QLineEdit | None = None
        self.edited_cell: Cell = ()
        """The cell that `editor` is open on."""
        self.outline: list[list[list[bool]]] = []
        """Which sides of which cells are the selection's edge, see `plane.outline`."""
        self._anchor = (0, 0)
        self._burst = 0

    @property
    def grid(self) -> GridModel:
        """The grid's own model."""
        model = self.model()
        assert isinstance(model, GridModel)
        return model

    @property
    def place(self) -> tuple[int, int]:
        """Row and column of the cursor."""
        found = self.grid.plane.place(self.source.cursor)
        return found or (0, 0)

    # -- the cursor ----------------------------------------------------------------------------

    def go(self, row: int, column: int, *, extend: bool = False) -> None:
        """Move the cursor to a cell, or extend the selection to it from where it began."""
        if self.grid.table is None:
            return
        row = min(max(row, 0), self.grid.plane.rows - 1)
        column = min(max(column, 0), self.grid.plane.columns - 1)
        index = self.grid.index(row, column)
        if not extend:
            self._anchor = (row, column)
            self.selectionModel().setCurrentIndex(index, _Flag.ClearAndSelect)
        else:
            top, left = min(row, self._anchor[0]), min(column, self._anchor[1])
            bottom, right = max(row, self._anchor[0]), max(column, self._anchor[1])
            chosen = QItemSelection(self.grid.index(top, left), self.grid.index(bottom, right))
            self.selectionModel().setCurrentIndex(index, _Flag.NoUpdate)
            self.selectionModel().select(chosen, _Flag.ClearAndSelect)
        self.scrollTo(index)

    def step_cursor(self, direction: str, *, extend: bool = False) -> bool:
        """Move one cell; False at the edge."""
        row, column = self.place
        goal = stepped(row, column, self.grid.plane.rows, self.grid.plane.columns, direction)
        if goal is None:
            return False
        self.go(*goal, extend=extend)
        return True

    def jump_cursor(self, direction: str, *, extend: bool = False) -> None:
        """Move to the end of the filled cells in a direction."""
        if self.grid.table is None:
            return
        filled = np.isfinite(self.grid.plane.of(self.grid.table.values))
        self.go(*jumped(*self.place, filled, direction), extend=extend)

    def step_plane(self, axis: int, step: int) -> bool:
        """Show the next or the last plane along the third or fourth axis; False at its end."""
        cursor = list(self.source.cursor)
        if not 2 <= axis < len(cursor):
            return False
        goal = cursor[axis] + step
        if not 0 <= goal < self.grid.plane.shape[axis]:
            return False
        cursor[axis] = goal
        self.source.set_cursor(tuple(cursor))
        return True

    # -- editing -------------------------------------------------------------------------------

    def may_edit(self) -> bool:
        """Tell why nothing can be edited and return False, or return True."""
        if self.grid.table is None:
            return False
        if self.source.read_only:
            self.source.tell(self.source.read_only, refused=True)
            return False
        return True

    def can_edit_axis(self, orientation: Qt.Orientation) -> bool:
        """Tell why an axis's breakpoints cannot be edited and return False, or return True."""
        if self.grid.axis_number(orientation) is None:
            side = "across" if orientation == Qt.Orientation.Horizontal else "down"
            self.source.tell(f"This table has no axis that runs {side}.", refused=True)
            return False
        return self.may_edit()

    def edit_cell(self, text: str | None = None) -> None:
        """Open the editor on the cursor's cell, with its exact text or with what was typed."""
        if not self.may_edit():
            return
        row, column = self.place
        single = int(np.count_nonzero(self.source.selection)) == 1
        if single and self.grid.look(row, column).locked:
            said = "The cell is locked. Unlock it first (Free locked cells, Ctrl+Shift+U)."
            self.source.tell(said, refused=True)
            return
        self.edit(self.currentIndex())
        if text is not None and self.editor is not None:
            self.editor.setText(text)

    def commit_editor(self, then: str, *, leave: bool = False) -> None:
        """Take what was typed, then move.

        Parameters
        ----------
        then : str
            ``stay``, ``up``, ``down``, ``left``, ``right``, or ``fill``: give the typed value to
            the whole selection.
        leave : bool
            Close the editor even if the text is refused (the focus has gone).
        """
        editor = self.editor
        if editor is None:
            return
        taken = self.take_text(editor, fill=then == "fill")
        if taken or leave:
            if self.editor is editor:
                self.closeEditor(editor, QAbstractItemDelegate.EndEditHint.NoHint)
            if then in ("left", "right"):
                if not self.step_cursor(then):
                    super().focusNextPrevChild(then == "right")
            elif then in ("up", "down"):
                self.step_cursor(then)
        else:
            editor.selectAll()

    def take_text(self, editor: QLineEdit, *, fill: bool = False) -> bool:
        """Give the edited cell, or the selection, what stands in the editor."""
        text, filled = editor.text().strip(), str(editor.property("filled") or "")
        if fill:
            return self.grid.set_text(text, self.source.selection)
        if text == filled:
            return True
        only = np.zeros(self.source.selection.shape, dtype=bool)
        only[self.edited_cell] = True  # the cursor may be elsewhere by now
        return self.grid.set_text(text, only)

    def closeEditor(self, editor: QWidget, hint: QAbstractItemDelegate.EndEditHint) -> None:
        """Close the cell's editor; the focus comes back to the grid."""
        self.editor = None
        super().closeEditor(editor, QAbstractItemDelegate.EndEditHint.NoHint)

    def apply(self, make: Callable[..., Change], *arguments: object) -> bool:
        """Apply ``make(table, selection, ...)`` to the selection; refusals are told."""
        table = self.grid.table
        if table is None or not self.may_edit():
            return False
        return self.source.do(lambda: make(table, self.source.selection, *arguments))

    def step_values(self, steps: int, *, held: bool = False) -> bool:
        """Move the selected values by storage steps; a held key's steps are undone together."""
        if not held:
            self._burst += 1
        table = self.grid.table
        merge = f"step {id(self)} {self._burst} {table.id if table is not None else ''}"
        return self.apply(edits.step, steps, merge)
