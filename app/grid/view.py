"""The grid widget: cursor and selection, shared with whatever shows the table; keys, layout."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from PySide6.QtCore import (
    QEvent,
    QItemSelection,
    QItemSelectionModel,
    QItemSelectionRange,
    QModelIndex,
    QPersistentModelIndex,
    QPoint,
    QSize,
    Qt,
    QTimer,
)
from PySide6.QtGui import (
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPalette,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QAbstractItemView, QWidget

from app.desk import Desk
from calib_model.core.arrays import BoolArray

from . import keys, layout, zoom
from .cells import GridCells
from .delegate import CellDelegate
from .headers import AxisHeader, CornerCaption
from .model import GridModel
from .plane import outline, rectangles
from .source import DeskSource, GridSource

Index = QModelIndex | QPersistentModelIndex
_Flag = QItemSelectionModel.SelectionFlag
_SETTLE_MS = 400


class GridView(GridCells):
    """Shows and edits one plane of the source's table.

    The cursor and the selection are the source's: what is chosen here is chosen in every other
    view of the table, and the other way round.

    Parameters
    ----------
    source : GridSource or Desk
        A desk stands for the table in work on it.
    """

    def __init__(self, source: GridSource | Desk, parent: QWidget | None = None) -> None:
        super().__init__(source, parent)
        self._listening = True
        self._text_width = 0
        self._zoom = zoom.PLAIN
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
        self.setModel(GridModel(self.source, self))
        # Connected last: the selection model forgets cursor and selection in its own slot.
        self.grid.modelReset.connect(self._show_cursor)
        self.grid.modelReset.connect(self._show_selection)
        self.source.cursor_changed.connect(self._show_cursor)
        self.source.selection_changed.connect(self._show_selection)
        if isinstance(self.source, DeskSource):
            self.source.desk.focus_grid.connect(self.setFocus)
        self.reset()

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
        self._anchor = self.place
        name = f"Values of {table.label}" if table is not None else "No table"
        self.setAccessibleName(name)
        caption = self.grid.caption(Qt.Orientation.Vertical)
        self._corner.show_caption(caption)

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
            if layout.widest(self, *corners) > self._text_width:
                widest = layout.widest_of_all(self)  # one cell alone widens nothing
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
            self._fit()  # numbers may have other decimals
        if event.type() == QEvent.Type.FontChange:
            self._fit()
        if event.type() == QEvent.Type.ApplicationFontChange and self._zoom != zoom.PLAIN:
            zoom.use(self, self._zoom)
        return super().event(event)

    def zoom_by(self, steps: int) -> None:
        """Make the cells larger or smaller by steps; 0 goes back to the window's size."""
        step = zoom.zoomed(self._zoom + steps) if steps else zoom.PLAIN
        if step != self._zoom:
            self._zoom = step
            zoom.use(self, step)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom while Ctrl is held, else scroll."""
        turn = event.angleDelta().y()
        if event.modifiers() & Qt.KeyboardModifier.ControlModifier and turn:
            self.zoom_by(1 if turn > 0 else -1)
            event.accept()
        else:
            super().wheelEvent(event)

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

    @property
    def headers(self) -> tuple[AxisHeader, AxisHeader]:
        """The headers across and down."""
        return self._horizontal, self._vertical

    def choose_at(self, point: QPoint) -> bool:
        """Go to the cell at a point of the viewport, unless it is selected; False beside cells."""
        index = self.indexAt(point)
        if index.isValid() and not self.selectionModel().isSelected(index):
            self.go(index.row(), index.column())
        return index.isValid()

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

    def content_width(self) -> int:
        """Return the width at which every column has easy room."""
        columns = max(self.grid.columnCount(), 1) * (self._text_width + layout.EASY)
        side = self._vertical.sizeHint().width()
        return side + columns + self.verticalScrollBar().sizeHint().width() + 2 * self.frameWidth()

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
