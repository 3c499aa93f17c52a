"""The cells of a file as they stand there, with what each was taken for."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtGui import QColor, QPainter
from PySide6.QtWidgets import (
    QAbstractItemView,
    QApplication,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from app.look.palettes import tones_of
from app.look.type import strong
from app.plain import plain_tip
from calib_model.bringing.draft import Draft
from calib_model.bringing.found import Cells
from calib_model.bringing.grid import Grid, column_letters
from calib_model.bringing.said import is_unit
from calib_model.bringing.understanding import Understood
from calib_model.foreign_text import plain_lines

Index = QModelIndex | QPersistentModelIndex
LONGEST = 80
"""Characters of a cell that are shown; all are in its tool tip."""
WORDS = {
    "value": "value",
    "breakpoint": "breakpoint",
    "heading": "heading",
    "unit": "unit",
    "": "not of this table",
}


class CellRows(QAbstractTableModel):
    """A grid of a file; the cells of the chosen table are told apart from the others."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._grid: Grid | None = None
        self._cells: Cells | None = None

    def show_grid(self, grid: Grid | None, cells: Cells | None) -> None:
        """Show another grid, or another table of it."""
        if grid is self._grid:
            self._cells = cells
            last = self.index(self.rowCount() - 1, self.columnCount() - 1)
            self.dataChanged.emit(self.index(0, 0), last)
            return
        self.beginResetModel()
        self._grid, self._cells = grid, cells
        self.endResetModel()

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() or self._grid is None else int(self._grid.codes.shape[0])

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() or self._grid is None else int(self._grid.codes.shape[1])

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        if role != Qt.ItemDataRole.DisplayRole or self._grid is None:
            return None
        if orientation == Qt.Orientation.Horizontal:
            plain = not self._grid.sheet and self._grid.lines is not None
            return str(section + 1) if plain else column_letters(section)
        lines = self._grid.lines
        return str(int(lines[section]) if lines is not None else section + 1)

    def part(self, row: int, column: int) -> str:
        """Return what a cell was taken for (a key of `WORDS`)."""
        found = self._cells.part(row, column) if self._cells is not None else ""
        if found == "heading" and self._grid is not None:
            text = self._grid.text(row, column).strip("[]() ")
            return "unit" if text and is_unit(text) else found
        return found

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        grid = self._grid
        if grid is None:
            return None
        row, column = index.row(), index.column()
        roles = Qt.ItemDataRole
        if role == roles.DisplayRole:
            return plain_lines(grid.text(row, column)[:LONGEST])
        if role in (roles.ToolTipRole, roles.AccessibleTextRole):
            said = f"{grid.text(row, column)}: {WORDS[self.part(row, column)]}"
            return plain_tip(f"{grid.place(row, column)}, {said}")
        own = tones_of(QApplication.palette())
        part = self.part(row, column)
        if role == roles.BackgroundRole and part in ("breakpoint", "value"):
            return QColor(own.selection if part == "breakpoint" else own.base)
        if role == roles.BackgroundRole:
            return QColor(own.panel if part else own.frame)
        if role == roles.ForegroundRole:
            return QColor(own.text if part else own.second)
        if role == roles.FontRole and part in ("heading", "unit"):
            return strong(QApplication.font())
        if role == roles.TextAlignmentRole and part in ("breakpoint", "value"):
            return int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        return None


class _Delegate(QStyledItemDelegate):
    """Paints the ground that a cell asks for: the style of the window has one for all."""

    def initStyleOption(self, option: QStyleOptionViewItem, index: Index) -> None:
        super().initStyleOption(option, index)
        option.features &= ~QStyleOptionViewItem.ViewItemFeature.HasDecoration

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        ground = index.data(Qt.ItemDataRole.BackgroundRole)
        if ground is not None and not option.state & QStyle.StateFlag.State_Selected:
            painter.fillRect(option.rect, ground)
        super().paint(painter, option, index)


class CellsView(QTableView):
    """Shows the source of a table."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.cells = CellRows(self)
        self.setModel(self.cells)
        self.setItemDelegate(_Delegate(self))
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setTabKeyNavigation(False)
        self.setAccessibleName("Cells of the file")
        self.setFrameShape(QTableView.Shape.NoFrame)
        self.horizontalHeader().setDefaultSectionSize(84)
        self.verticalHeader().setMinimumSectionSize(20)

    def show_source(self, understood: Understood, draft: Draft | None) -> bool:
        """Show where a table comes from; False where it was not read from cells."""
        grid = grid_of_source(understood, draft.source) if draft is not None else None
        cells = draft.found.cells if draft is not None else None
        if cells is None:
            grid = None
        self.cells.show_grid(grid, cells)
        self.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + 6)
        if grid is not None and cells is not None:
            top, left = cells.area[:2]
            self.scrollTo(self.cells.index(top, left), QTableView.ScrollHint.PositionAtTop)
        return grid is not None


def grid_of_source(understood: Understood, source: str) -> Grid | None:
    """Return the grid that tables of a source were read from."""
    for one in understood.files:
        for grid in one.contents.grids:
            if grid.source == source:
                return grid
    return None
