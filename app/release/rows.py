"""The lines of the shown list as a model, filtered by words."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractListModel, QModelIndex, QPersistentModelIndex, Qt

from .lines import Line

Index = QModelIndex | QPersistentModelIndex
_NOWHERE = QModelIndex()
LINE = int(Qt.ItemDataRole.UserRole) + 1


class Rows(QAbstractListModel):
    """Lines that hold every word of the filter."""

    def __init__(self, parent: Any = None) -> None:
        super().__init__(parent)
        self._all: list[Line] = []
        self._words: tuple[str, ...] = ()
        self._rows: list[Line] = []

    def show(self, lines: list[Line]) -> None:
        """Show other lines."""
        if lines == self._all:
            return
        self._all = lines
        self._filter()

    def set_filter(self, text: str) -> None:
        """Show the lines that hold every word."""
        words = tuple(text.casefold().split())
        if words != self._words:
            self._words = words
            self._filter()

    def _filter(self) -> None:
        self.beginResetModel()
        if self._words:
            self._rows = [x for x in self._all if all(w in x.searched for w in self._words)]
        else:
            self._rows = list(self._all)
        self.endResetModel()

    @property
    def hidden(self) -> int:
        """How many lines the filter leaves out."""
        return len(self._all) - len(self._rows)

    def line(self, row: int) -> Line | None:
        """Return the line in a row."""
        return self._rows[row] if 0 <= row < len(self._rows) else None

    def places(self) -> dict[str, int]:
        """Return the row of each line by its key."""
        return {line.key: number for number, line in enumerate(self._rows)}

    def rowCount(self, parent: Index = _NOWHERE) -> int:
        return 0 if parent.isValid() else len(self._rows)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        line = self.line(index.row())
        if line is None:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return line.text
        if role == LINE:
            return line
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return line.spoken
        return None
