"""The grid widget: cursor, selection, keys and editing, shared with whatever shows the table."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import (
    QEvent,
    QItemSelection,
    QItemSelectionModel,
    QItemSelectionRange,
    QModelIndex,
    QPersistentModelIndex,
    QSize,
    Qt,
    QTimer,
)
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPalette, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemDelegate,
    QAbstractItemView,
    QLineEdit,
    QTableView,
    QWidget,
)

from app.desk import Desk
from calib_model.core.arrays import BoolArray
from calib_model.editing.change import Change

from . import clipboard, edits, keys, layout
from .delegate import CellDelegate
from .headers import AxisHeader, CornerCaption
from .model import GridModel
from .navigation import jumped, stepped
from .plane import Cell, outline, rectangles
from .source import DeskSource, GridSource

if TYPE_CHECKING:
    from .entry_strip import EntryStrip

Index = QModelIndex | QPersistentModelIndex
_Flag = QItemSelectionModel.SelectionFlag
_SETTLE_MS = 400


class GridView(QTableView):
    """Shows and edits one plane of the source's table.

    The cursor and the selection are the source's: what is chosen here is chosen in every other
    view of the table, and the other way round.

    Parameters
    ----------
    source : GridSource or Desk
        A desk stands for the table in work on it.
    """

    def __init__(self, source: GridSource | Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.source = source = (
            source if isinstance(source, GridSource) else DeskSource(source, self)
        )
        self.strip: EntryStrip | None = None
        """Where operations ask for a number; `GridPanel` sets it."""
        self.editor: QLineEdit | None = None
        self.edited_cell: Cell = ()
        """The cell that `editor` is open on."""
        self.outline: list[list[list[bool]]] = []
        """Which sides of which cells are the selection's edge, see `plane.outline`."""
        self._anchor = (0, 0)
        self._listening = True
        self._burst = 0
        self._text_width = 0
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(_SETTLE_MS)
        self._settle.timeout.connect(self._refit)
        self._horizontal = AxisHeader(Qt.Orientation.Horizontal, self)
        self._vertical = AxisHeader(Qt.Orientation.Vertical, self)
        self.setHorizontalHeader(self._horizontal)
        self.setVerticalHeader(self._vertical)
        self.setCornerButtonEnabled(False)
        self._corner = CornerCaption(self)
        self.setItemDelegate(CellDelegate(self))
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.DoubleClicked)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setModel(GridModel(source, self))
        # Connected last: the selection model forgets cursor and selection in its own slot.
        self.grid.modelReset.connect(self._show_cursor)
        self.grid.modelReset.connect(self._show_selection)
        source.cursor_changed.connect(self._show_cursor)
        source.selection_changed.connect(self._show_selection)
        if isinstance(source, DeskSource):
            source.desk.focus_grid.connect(self.setFocus)
        self.reset()

    @property
    def grid(self) -> GridModel:
        """The grid's own model."""
        model = self.model()
        assert isinstance(model, GridModel)
        return model

    # -- one cursor, one selection -------------------------------------------------------------

    @contextmanager
    def _not_listening(self) -> Iterator[None]:
        before, self._listening = self._listening, False
        try:
            yield
        finally:
            self._listening = before

    def reset(self) -> None:
        """Show another table."""
        if not hasattr(self, "_corner"):  # Qt calls this once before the view is complete
            super().reset()
            return
        lost = self.editor.text() if self.editor is not None else ""
        if self.editor is not None and lost != self.editor.property("filled"):
            self.source.tell(f"{lost!r} was not taken: the table changed meanwhile.", refused=True)
        self.editor = None
        shape = (self.grid.plane.rows, self.grid.plane.columns)
        self.outline = outline(np.zeros(shape, dtype=bool)).tolist()
        with self._not_listening():
            super().reset()
        self._horizontal.end_edit()
        self._vertical.end_edit()
        table = self.grid.table
        self._horizontal.setVisible(table is not None and bool(table.axes))
        self._fit()
        self._show_cursor()
        self._show_selection()
        row, column = self.place
        self._anchor = (row, column)
        name = f"Values of {table.label}" if table is not None else "No table"
        self.setAccessibleName(name)
        caption = self.grid.caption(Qt.Orientation.Vertical)
        self._corner.show_caption(caption)

    @property
    def place(self) -> tuple[int, int]:
        """Row and column of the cursor."""
        found = self.grid.plane.place(self.source.cursor)
        return found or (0, 0)

    def selected_marks(self) -> BoolArray:
        """Return what is selected here, shape (rows, columns)."""
        marks = np.zeros((self.grid.plane.rows, self.grid.plane.columns), dtype=bool)
        for part in self.selectionModel().selection().toList():
            marks[part.top() : part.bottom() + 1, part.left() : part.right() + 1] = True
        return marks

    def _show_cursor(self) -> None:
        if not self._listening or self.grid.table is None:
            return
        row, column = self.place
        index = self.grid.index(row, column)
        if index != self.currentIndex():
            with self._not_listening():
                self.selectionModel().setCurrentIndex(index, _Flag.NoUpdate)
            self.scrollTo(index)
        self._horizontal.viewport().update()
        self._vertical.viewport().update()

    def _show_selection(self) -> None:
        if not self._listening or self.grid.table is None:
            return
        if self.source.selection.shape != self.grid.plane.shape:
            return
        marks = self.grid.plane.of(self.source.selection)
        if np.count_nonzero(marks) == 1:
            self._anchor = self.place
        chosen = QItemSelection()
        for top, left, bottom, right in rectangles(marks):
            chosen.append(
                QItemSelectionRange(self.grid.index(top, left), self.grid.index(bottom, right))
            )
        with self._not_listening():
            self.selectionModel().select(chosen, _Flag.ClearAndSelect)

    def dataChanged(self, first: Index, last: Index, roles: list[int] | None = None) -> None:  # type: ignore[override]
        """Draw what changed, and make room for longer texts."""
        super().dataChanged(first, last, roles or [])
        if hasattr(self, "_corner"):
            corners = first.row(), first.column(), last.row(), last.column()
            widest = layout.widest(self, *corners)
            if widest > self._text_width:
                self._text_width = widest
                self._lay_out()
            # Narrower again only after a pause: a value stepped from 10 to 9.5 and back would
            # move every column under the eye.
            self._settle.start()

    def currentChanged(self, current: Index, previous: Index) -> None:
        """Take the cursor to where the user went."""
        super().currentChanged(current, previous)
        self._horizontal.viewport().update()
        self._vertical.viewport().update()
        if self._listening and current.isValid():
            with self._not_listening():
                self.source.set_cursor(
                    self.grid.plane.cell(current.row(), current.column()), keep_selection=True
                )

    def selectionChanged(self, selected: QItemSelection, deselected: QItemSelection) -> None:
        """Take the selection over to the source."""
        super().selectionChanged(selected, deselected)
        if self.grid.table is None:
            return
        marks = self.selected_marks()
        self.outline = outline(marks).tolist()
        if not self._listening:
            return
        with self._not_listening():
            self.source.set_selection(self.grid.plane.spread(marks))
        if not marks.any():
            self._show_selection()

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

    def select_all(self) -> None:
        """Select all cells that are shown."""
        self.selectAll()

    # -- keys and mouse ------------------------------------------------------------------------

    def event(self, event: QEvent) -> bool:
        """Keep the grid's own keys from the menus while it has the focus."""
        if event.type() == QEvent.Type.ShortcutOverride:
            assert isinstance(event, QKeyEvent)
            if keys.is_own(event):
                event.accept()
                return True
        if event.type() == QEvent.Type.PaletteChange:
            self.grid.use_palette()
        if event.type() == QEvent.Type.FontChange:
            self._fit()
        return super().event(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the cells, or say that there are none."""
        super().paintEvent(event)
        if self.grid.table is None:
            painter = QPainter(self.viewport())
            painter.setPen(self.palette().color(QPalette.ColorRole.PlaceholderText))
            area = self.viewport().rect().adjusted(16, 16, -16, -16)
            flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
            painter.drawText(area, flags, "No table is open. Choose one from the list.")

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Do what a key asks for."""
        if self.grid.table is None or not keys.press(self, event):
            super().keyPressEvent(event)

    def focusNextPrevChild(self, next: bool) -> bool:
        """Tab goes right and Shift+Tab left, until the edge: there they leave the grid."""
        if self.grid.table is not None and self.step_cursor("right" if next else "left"):
            return True
        return super().focusNextPrevChild(next)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Start a selection, or extend it with Shift."""
        index = self.indexAt(event.position().toPoint())
        if index.isValid() and event.button() == Qt.MouseButton.LeftButton:
            if event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
                self.go(index.row(), index.column(), extend=True)
                return
            self._anchor = (index.row(), index.column())
        super().mousePressEvent(event)

    def focusInEvent(self, event: object) -> None:
        """Show the focus ring."""
        with self._not_listening():  # Qt would go to the first cell while the table is exchanged
            super().focusInEvent(event)  # type: ignore[arg-type]
        self._show_cursor()
        self.viewport().update()

    def focusOutEvent(self, event: object) -> None:
        """Dim the focus ring."""
        super().focusOutEvent(event)  # type: ignore[arg-type]
        self.viewport().update()

    # -- editing -------------------------------------------------------------------------------

    def may_edit(self) -> bool:
        """Tell why nothing can be edited and return False, or return True."""
        if self.grid.table is None:
            return False
        if self.source.read_only:
            self.source.tell(self.source.read_only, refused=True)
            return False
        return True

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

    def apply_plain(self, kind: str) -> bool:
        """Apply an operation of `edits.plain` to the selection."""
        return self.apply(lambda table, selection: edits.plain(kind, table, selection))

    def empty_cells(self) -> bool:
        """Empty the selected cells; they hold no value then, which is told."""
        return self.apply(edits.empty)

    def step_values(self, steps: int, *, held: bool = False) -> bool:
        """Move the selected values by storage steps; a held key's steps are undone together."""
        if not held:
            self._burst += 1
        table = self.grid.table
        merge = f"step {id(self)} {self._burst} {table.id if table is not None else ''}"
        return self.apply(edits.step, steps, merge)

    def copy(self, *, with_axes: bool = False) -> bool:
        """Copy the selected block to the clipboard as tab-separated text."""
        return clipboard.copy(self, with_axes=with_axes)

    def cut(self) -> bool:
        """Copy the selected block, then empty it."""
        return self.may_edit() and self.copy() and self.empty_cells()

    def paste(self) -> bool:
        """Paste the clipboard's block, whole or not at all."""
        return self.may_edit() and clipboard.paste(self)

    def add_block(self) -> bool:
        """Add the clipboard's block to the cells it would be pasted on."""
        return self.may_edit() and clipboard.paste(self, add=True)

    # -- breakpoints ---------------------------------------------------------------------------

    def can_edit_axis(self, orientation: Qt.Orientation) -> bool:
        """Tell why an axis's breakpoints cannot be edited and return False, or return True."""
        if self.grid.axis_number(orientation) is None:
            side = "across" if orientation == Qt.Orientation.Horizontal else "down"
            self.source.tell(f"This table has no axis that runs {side}.", refused=True)
            return False
        return self.may_edit()

    def edit_breakpoint(self, orientation: Qt.Orientation) -> bool:
        """Open an editor on the breakpoint at the cursor."""
        across = orientation == Qt.Orientation.Horizontal
        header = self._horizontal if across else self._vertical
        return header.edit_section(self.place[1] if across else self.place[0])

    # -- layout --------------------------------------------------------------------------------

    def _fit(self) -> None:
        """Measure the texts, then lay the cells out."""
        self._text_width = layout.widest_of_all(self)
        self.updateGeometries()
        self._lay_out()

    def _refit(self) -> None:
        """Give room back that longer texts took, if they are gone."""
        if layout.widest_of_all(self) != self._text_width:
            self._fit()

    def _lay_out(self) -> None:
        """Size the cells; the scroll bars' ranges do not follow a default size by themselves."""
        layout.spread(self, self._text_width)
        self.updateGeometries()
        if self.currentIndex().isValid():
            self.scrollTo(self.currentIndex())

    def updateGeometries(self) -> None:
        """Lay out headers and corner."""
        super().updateGeometries()
        if hasattr(self, "_corner"):
            self._place_corner()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep the corner in its corner."""
        layout.spread(self, self._text_width)  # before Qt settles which scroll bars are needed
        super().resizeEvent(event)
        self._lay_out()  # the headers may have taken another part of the room
        self._place_corner()

    def content_height(self) -> int:
        """Return the height at which every row has generous room and nothing is left empty."""
        rows = max(self.grid.rowCount(), 1) * layout.generous_height(self)
        head = self._horizontal.sizeHint().height() if self._horizontal.isVisibleTo(self) else 0
        return head + rows + self.horizontalScrollBar().sizeHint().height() + 2 * self.frameWidth()

    def minimumSizeHint(self) -> QSize:
        """Return room for the headers and three cells down and across."""
        width = self._vertical.sizeHint().width() + 3 * (self._text_width + layout.TIGHT)
        height = self._horizontal.sizeHint().height() + 3 * layout.least_height(self)
        return QSize(width, height + 2 * self.frameWidth())

    def _place_corner(self) -> None:
        frame = self.frameWidth()
        self._corner.setGeometry(frame, frame, self._vertical.width(), self._horizontal.height())
        self._corner.setVisible(self._horizontal.isVisibleTo(self))
        self._corner.raise_()
