"""Lines of a list: what one says, and all of them as a model that is filtered by words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QAbstractListModel, QModelIndex, QPersistentModelIndex, Qt

Index = QModelIndex | QPersistentModelIndex
_NOWHERE = QModelIndex()
LINE = int(Qt.ItemDataRole.UserRole) + 1


@dataclass(frozen=True)
class Line:
    """One row.

    Parameters
    ----------
    key : str
        The same for the same thing after an edit, so that it stays chosen.
    mark : str
        ``error``, ``warning`` or ``note``; ``done`` for what is settled.
    kind : str
        What it is, in a word or two.
    title : str
        A head, such as a table's name.
    text : str
        What it is, in a sentence.
    more : str
        Remedy, or who and when.
    """

    key: str
    mark: str
    kind: str
    title: str
    text: str
    more: str = ""

    @property
    def searched(self) -> str:
        """What the filter looks in."""
        return f"{self.kind} {self.title} {self.text} {self.more}".casefold()

    @property
    def spoken(self) -> str:
        """The row for a screen reader."""
        return ". ".join(part for part in (self.kind, self.title, self.text, self.more) if part)


class Rows(QAbstractListModel):
    """Lines that hold every word of the filter."""

    def __init__(self, parent: Any = None) -> None:
        super().__init__(parent)
        self._all: list[Line] = []
        self._words: tuple[str, ...] = ()
        self._rows: list[Line] = []

    def show(self, lines: Sequence[Line]) -> None:
        """Show other lines."""
        if list(lines) == self._all:
            return
        self._all = list(lines)
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

    def line(self, row: int) -> Any:
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
