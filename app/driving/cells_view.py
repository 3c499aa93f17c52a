"""A number for every cell of a table, on its axes: which cells matter, and by how much.

A difference's colour with its sign; cells that were never read are bare.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import (
    QAbstractTableModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    Qt,
    Signal,
)
from PySide6.QtGui import QBrush, QColor, QKeyEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView, QWidget

from app.colours import colours_of, difference_map, is_dark, text_on
from app.driving.verdict import judge, number, signed
from app.plain import plain_tip
from app.plots import words
from calib_model.core.numbers import short
from calib_model.core.table import Table
from calib_model.core.units import shown

if TYPE_CHECKING:
    from calib_model.vehicle.sensitivity import Sensitivity

Index = QModelIndex | QPersistentModelIndex
_NOWHERE = QModelIndex()
Cell = tuple[int, ...]


class CellsModel(QAbstractTableModel):
    """Changes of a measure on the last two axes of a table."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.table: Table | None = None
        self.found: Sensitivity | None = None
        self.further: Cell = ()
        """Where the axes before the last two are cut."""
        self._dark = False
        self._plane = np.zeros((0, 0))

    def show(self, table: Table | None, found: Sensitivity | None, further: Cell = ()) -> None:
        """Show another result."""
        self.beginResetModel()
        self.table, self.found, self.further = table, found, further
        self._plane = np.zeros((0, 0))
        if table is not None and found is not None:
            self._plane = np.atleast_2d(found.change[further])
        self.endResetModel()

    def use_dark(self, dark: bool) -> None:
        """Take colours for a dark or a light ground."""
        if dark != self._dark:
            self._dark = dark
            if self._plane.size:
                last = self.index(self.rowCount() - 1, self.columnCount() - 1)
                self.dataChanged.emit(self.index(0, 0), last)

    def cell_at(self, row: int, column: int) -> Cell:
        """Return the table's cell of a row and column."""
        if self.table is None or not self.table.axes:
            return ()
        return (column,) if len(self.table.axes) == 1 else (*self.further, row, column)

    def rowCount(self, parent: Index = _NOWHERE) -> int:
        return 0 if parent.isValid() else self._plane.shape[0]

    def columnCount(self, parent: Index = _NOWHERE) -> int:
        return 0 if parent.isValid() else self._plane.shape[1]

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        table = self.table
        if table is None or role != Qt.ItemDataRole.DisplayRole or not table.axes:
            return None
        across = orientation == Qt.Orientation.Horizontal
        if across:
            axis = table.axes[-1]
        elif len(table.axes) > 1:
            axis = table.axes[-2]
        else:
            return None
        if not 0 <= section < len(axis):
            return None
        return short(float(axis.values[section]))

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        if not index.isValid() or self.table is None or self.found is None:
            return None
        row, column = index.row(), index.column()
        value = float(self._plane[row, column])
        cell = self.cell_at(row, column)
        read = self.found.read is None or bool(self.found.read[cell])
        if role == Qt.ItemDataRole.DisplayRole:
            if np.isnan(value):
                return "?"
            return self._short(value) if value else ("0" if read else "·")
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(Qt.AlignmentFlag.AlignCenter)
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip(self.sentence(cell))
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return self.sentence(cell)
        if role in (Qt.ItemDataRole.BackgroundRole, Qt.ItemDataRole.ForegroundRole):
            if np.isnan(value) or not value:
                return None
            colour = self._colour(value)
            wanted = colour if role == Qt.ItemDataRole.BackgroundRole else text_on(colour)
            return QBrush(wanted)
        return None

    def _short(self, value: float) -> str:
        """Write a change with the decimals that the largest one needs for three digits."""
        assert self.found is not None
        most = float(np.nanmax(np.abs(self.found.change)))
        digits = min(max(2 - int(np.floor(np.log10(most))), 0), 9) if most > 0 else 0
        text = f"{abs(value):.{digits}f}"
        if not float(text):
            return "≈ 0"
        return f"+{text}" if value > 0 else f"\N{MINUS SIGN}{text}"

    def _colour(self, value: float) -> QColor:
        assert self.found is not None
        most = float(np.nanmax(np.abs(self.found.change))) or 1.0
        rgb = colours_of(np.array([value]), -most, most, difference_map(dark=self._dark))[0]
        return QColor(*(int(c) for c in rgb))

    def sentence(self, cell: Cell) -> str:
        """Say what a cell's step does to the measure."""
        table, found = self.table, self.found
        if table is None or found is None:
            return ""
        where = words.place(table, cell) or table.label
        value = float(found.change[cell])
        if np.isnan(value):
            return f"{where}: {found.why.get(cell, 'not driven')}"
        if found.read is not None and not found.read[cell]:
            return f"{where}: never read in this manoeuvre, so it changes nothing."
        verdict = judge(found.metric, found.base, found.base + value)
        unit = found.metric.unit
        if verdict.kind == "same":
            return f"{where}: the step changes nothing."
        return (
            f"{where}: {signed(value, unit)} on {number(found.base, unit)} {verdict.words}".rstrip()
        )


class CellsView(QTableView):
    """The cells, worked by keyboard.

    Signals
    -------
    taken : tuple of int
        Enter on a cell: it is to be seen in Tune.
    moved
        Another cell is current.
    """

    taken = Signal(tuple)
    moved = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.cells = CellsModel(self)
        self.setModel(self.cells)
        self.setAccessibleName("Change of the estimate by a step of each cell")
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setTabKeyNavigation(False)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.horizontalHeader().setMinimumSectionSize(48)
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.doubleClicked.connect(lambda _index: self._take())
        self._look()

    def show_found(
        self, table: Table | None, found: Sensitivity | None, further: Cell = ()
    ) -> None:
        """Show another result."""
        self.cells.show(table, found, further)
        if found is not None and self.cells.rowCount():
            most = found.most(1)
            row, column = 0, 0
            if most and table is not None and table.axes and most[0][0][: len(further)] == further:
                *_, row, column = (0, *most[0][0])
            self.setCurrentIndex(self.cells.index(row, column))

    @property
    def current_cell(self) -> Cell:
        """The table's cell that is current; the first if none is."""
        index = self.currentIndex()
        return self.cells.cell_at(max(index.row(), 0), max(index.column(), 0))

    def current_sentence(self) -> str:
        """Say what the current cell does."""
        index = self.currentIndex()
        if not index.isValid():
            return ""
        return self.cells.sentence(self.cells.cell_at(index.row(), index.column()))

    def currentChanged(
        self,
        current: QModelIndex | QPersistentModelIndex,
        previous: QModelIndex | QPersistentModelIndex,
    ) -> None:
        """Tell that another cell is current."""
        super().currentChanged(current, previous)
        self.moved.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter goes to the cell in Tune."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not event.isAutoRepeat():
            self._take()
        elif event.text().isalpha():
            event.ignore()  # there are only numbers to look for; a letter is for who holds the view
        else:
            super().keyPressEvent(event)

    def _take(self) -> None:
        index = self.currentIndex()
        if index.isValid():
            self.taken.emit(self.cells.cell_at(index.row(), index.column()))

    def _look(self) -> None:
        self.cells.use_dark(is_dark(self.palette()))
        self.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + 8)

    def changeEvent(self, event: QEvent) -> None:
        """Follow palette and font."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.PaletteChange, QEvent.Type.FontChange):
            self._look()


def axes_words(table: Table) -> str:
    """Say which axis runs down and which across."""
    if not table.axes:
        return ""
    across = words.axis_title(table.axes[-1])
    if len(table.axes) == 1:
        return f"Across: {across}."
    return f"Down: {words.axis_title(table.axes[-2])}. Across: {across}."


def step_of(table: Table) -> float:
    """Return a step worth trying: a twentieth of the span, on the table's raster."""
    values = table.values[np.isfinite(table.values)]
    span = float(np.ptp(values)) if values.size else 0.0
    size = float(np.abs(values).max()) if values.size else 1.0
    step = span / 20 or size / 10 or 1.0
    power = 10.0 ** np.floor(np.log10(step))
    round_step = float(max(m * power for m in (1, 2, 5, 10) if m * power <= step * (1 + 1e-9)))
    raster = table.storage.resolution if table.storage.is_integer else 0.0
    return max(round_step, float(raster))


def unit_words(table: Table) -> str:
    """Return the table's unit as shown."""
    return shown(table.unit)
