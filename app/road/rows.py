"""Lists with headings that are looked at and chosen from, never edited: one model, one view."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QModelIndex,
    QPersistentModelIndex,
    Qt,
    QTimer,
    Signal,
)
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView, QWidget

from app.plain import plain_tip
from calib_model.foreign_text import plain_line

Index = QModelIndex | QPersistentModelIndex
_NOWHERE = QModelIndex()


@dataclass(frozen=True)
class Column:
    """One column.

    Parameters
    ----------
    title : str
    number : bool
        Whether its texts are numbers, which stand at the right.
    tip : str
    """

    title: str
    number: bool = False
    tip: str = ""


@dataclass(frozen=True)
class Row:
    """One row: its texts, what it stands for, and whether it matters more than the others."""

    texts: tuple[str, ...]
    key: Any = None
    strong: bool = False
    tip: str = ""


class RowsModel(QAbstractTableModel):
    """Rows of texts; they are exchanged together."""

    def __init__(self, columns: Sequence[Column], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.columns = tuple(columns)
        self.rows: tuple[Row, ...] = ()

    def show(self, rows: Sequence[Row]) -> None:
        """Show other rows; where there are as many as before, the view keeps its place."""
        new = tuple(rows)
        if len(new) == len(self.rows):
            self.rows = new
            if new:
                last = self.index(len(new) - 1, len(self.columns) - 1)
                self.dataChanged.emit(self.index(0, 0), last)
            return
        self.beginResetModel()
        self.rows = new
        self.endResetModel()

    def rowCount(self, parent: Index = _NOWHERE) -> int:
        """Return the number of rows."""
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index = _NOWHERE) -> int:
        """Return the number of columns."""
        return 0 if parent.isValid() else len(self.columns)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return text, place and weight of a cell."""
        if not index.isValid() or not self.rows:
            return None
        row, column = self.rows[index.row()], self.columns[index.column()]
        text = row.texts[index.column()]
        if role == Qt.ItemDataRole.DisplayRole:
            return plain_line(text)
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip(row.tip or text)
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return f"{column.title}: {text}"
        if role == Qt.ItemDataRole.TextAlignmentRole and column.number:
            return Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        if role == Qt.ItemDataRole.FontRole and row.strong:
            parent = self.parent()
            font = parent.font() if isinstance(parent, QWidget) else None
            if font is not None:
                font.setBold(True)
            return font
        return None

    def headerData(
        self,
        section: int,
        orientation: Qt.Orientation,
        role: int = Qt.ItemDataRole.DisplayRole,
    ) -> Any:
        """Return a column's title."""
        if orientation == Qt.Orientation.Horizontal and 0 <= section < len(self.columns):
            column = self.columns[section]
            if role == Qt.ItemDataRole.DisplayRole:
                return column.title
            if role == Qt.ItemDataRole.ToolTipRole:
                return plain_tip(column.tip or column.title)
            if role == Qt.ItemDataRole.TextAlignmentRole:
                side = Qt.AlignmentFlag.AlignRight if column.number else Qt.AlignmentFlag.AlignLeft
                return side | Qt.AlignmentFlag.AlignVCenter
        return None


class RowsView(QTableView):
    """A list with headings; Enter or a double click takes a row.

    Signals
    -------
    taken : object
        Key of the row that was taken.

    Parameters
    ----------
    columns : sequence of Column
    stretch : int
        Number of the column that gets the room that is left.
    name : str
        For screen readers.
    wrap : bool
        Whether long texts take several lines, where names that begin alike would be cut alike.
    """

    taken = Signal(object)

    def __init__(
        self,
        columns: Sequence[Column],
        stretch: int,
        name: str,
        parent: QWidget | None = None,
        *,
        wrap: bool = False,
    ) -> None:
        super().__init__(parent)
        self.rows_model = RowsModel(columns, self)
        self.setModel(self.rows_model)
        self.setAccessibleName(name)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setTabKeyNavigation(False)
        self.setShowGrid(False)
        self.setWordWrap(wrap)
        self.setAlternatingRowColors(True)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + 8)
        head = self.horizontalHeader()
        head.setHighlightSections(False)
        head.setMinimumSectionSize(36)
        for number in range(len(columns)):
            mode = QHeaderView.ResizeMode.Stretch if number == stretch else None
            head.setSectionResizeMode(number, mode or QHeaderView.ResizeMode.ResizeToContents)
        head.setResizeContentsPrecision(40)  # rows in sight say enough, and long lists stay quick
        if wrap:
            self.setTextElideMode(Qt.TextElideMode.ElideNone)
            self._heights = QTimer(self)
            self._heights.setSingleShot(True)
            self._heights.setInterval(0)
            self._heights.timeout.connect(self.resizeRowsToContents)
            self.rows_model.modelReset.connect(self._heights.start)
            self.rows_model.dataChanged.connect(lambda *_: self._heights.start())
            head.sectionResized.connect(lambda *_: self._heights.start())
        self.doubleClicked.connect(lambda _index: self.take())

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows."""
        return self.rows_model.rows

    def show_rows(self, rows: Sequence[Row], *, keep: bool = True) -> None:
        """Show other rows.

        Parameters
        ----------
        rows : sequence of Row
        keep : bool
            Whether the row that is chosen stays so by its key, if it is still there; else the
            first one is chosen.
        """
        chosen = self.chosen()
        if tuple(rows) == self.rows:
            return
        self.rows_model.show(rows)
        if not self.rows:
            return
        if not keep:
            self.setCurrentIndex(self.rows_model.index(0, 0))
            self.scrollToTop()
            return
        place = next((i for i, row in enumerate(self.rows) if row.key == chosen), None)
        if place is None:
            place = max(min(self.currentIndex().row(), len(self.rows) - 1), 0)
        if place != self.currentIndex().row():
            self.setCurrentIndex(self.rows_model.index(place, 0))

    def chosen(self) -> Any:
        """Return the key of the chosen row; None if there is none."""
        place = self.currentIndex().row()
        return self.rows[place].key if 0 <= place < len(self.rows) else None

    def choose(self, key: Any) -> bool:
        """Choose the row with a key."""
        for place, row in enumerate(self.rows):
            if row.key == key:
                self.setCurrentIndex(self.rows_model.index(place, 0))
                return True
        return False

    def take(self) -> bool:
        """Take the chosen row; False if there is none."""
        there = 0 <= self.currentIndex().row() < len(self.rows)
        if there:
            self.taken.emit(self.chosen())
        return there

    def text(self) -> str:
        """Return headings and rows, with tabs between cells, as sheets read them."""
        titles = tuple(column.title for column in self.rows_model.columns)
        lines = (titles, *(row.texts for row in self.rows))
        return "\n".join("\t".join(" ".join(c.split()) for c in line) for line in lines)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter takes the chosen row."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not event.isAutoRepeat():
            self.take()
        else:
            super().keyPressEvent(event)
