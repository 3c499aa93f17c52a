"""Lines of a list: what one says, and all of them as a model: grouped, folded, filtered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from PySide6.QtCore import QAbstractListModel, QModelIndex, QPersistentModelIndex, Qt

from app.plain import plain_tip

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
        ``error``, ``warning`` or ``note``; ``done`` for what is settled; empty for none.
    kind : str
        What it is, in a word or two.
    title : str
        A head, such as a table's name.
    text : str
        What it is, in a sentence.
    more : str
        Remedy, or who and when.
    group : str
        Heading that it stands under; empty for a list without headings.
    short : str
        What a row of one line says beside the title; empty for `text`.
    """

    key: str
    mark: str
    kind: str
    title: str
    text: str
    more: str = ""
    group: str = field(default="", kw_only=True)
    short: str = field(default="", kw_only=True)

    @property
    def searched(self) -> str:
        """What the filter looks in."""
        return f"{self.kind} {self.title} {self.short} {self.text} {self.more}".casefold()

    @property
    def spoken(self) -> str:
        """The row for a screen reader."""
        return ". ".join(part for part in (self.kind, self.title, self.text, self.more) if part)


@dataclass(frozen=True)
class Heading:
    """The row above a group.

    Parameters
    ----------
    group : str
    count : int
        Lines under it, folded or not.
    folded : bool
    """

    group: str
    count: int
    folded: bool

    @property
    def key(self) -> str:
        """The same for the same group, and no line's."""
        return f"\N{SECTION SIGN} {self.group}"

    @property
    def spoken(self) -> str:
        """The row for a screen reader."""
        return f"{self.group}: {self.count}, {'folded' if self.folded else 'open'}"


class Rows(QAbstractListModel):
    """Lines that hold every word of the filter, under the headings of their groups."""

    def __init__(self, parent: Any = None) -> None:
        super().__init__(parent)
        self._all: list[Line] = []
        self._words: tuple[str, ...] = ()
        self._found: dict[str, list[Line]] = {}
        self._rows: list[Line | Heading] = []
        self._folded: set[str] = set()

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

    def fold(self, group: str, on: bool) -> None:
        """Fold a group, or open it; while words are looked for all are open."""
        if on != (group in self._folded):
            (self._folded.add if on else self._folded.discard)(group)
            self._filter()

    def _filter(self) -> None:
        self.beginResetModel()
        found: dict[str, list[Line]] = {}
        for line in self._all:
            if not self._words or all(word in line.searched for word in self._words):
                found.setdefault(line.group, []).append(line)
        self._found, self._rows = found, []
        for group, lines in found.items():
            folded = group in self._folded and not self._words
            if group:
                self._rows.append(Heading(group, len(lines), folded))
            if not folded:
                self._rows += lines
        self.endResetModel()

    @property
    def hidden(self) -> int:
        """How many lines the filter leaves out."""
        return len(self._all) - sum(map(len, self._found.values()))

    @property
    def found(self) -> list[Line]:
        """The lines that hold every word, also those of folded groups."""
        return [line for lines in self._found.values() for line in lines]

    def line(self, row: int) -> Any:
        """Return the line in a row; None for a heading."""
        one = self._rows[row] if 0 <= row < len(self._rows) else None
        return one if isinstance(one, Line) else None

    def heading(self, row: int) -> Heading | None:
        """Return the heading in a row; None for a line."""
        one = self._rows[row] if 0 <= row < len(self._rows) else None
        return one if isinstance(one, Heading) else None

    def of_group(self, group: str) -> list[Any]:
        """Return the lines under a heading, folded or not."""
        return list(self._found.get(group, ()))

    def places(self) -> dict[str, int]:
        """Return the row of each line and heading by its key."""
        return {one.key: number for number, one in enumerate(self._rows)}

    def rowCount(self, parent: Index = _NOWHERE) -> int:
        return 0 if parent.isValid() else len(self._rows)

    def flags(self, index: Index) -> Qt.ItemFlag:
        """A heading takes the cursor, which means all under it, but is no line itself."""
        if self.heading(index.row()) is not None:
            return Qt.ItemFlag.ItemIsEnabled
        return super().flags(index)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        row = index.row()
        one = self._rows[row] if 0 <= row < len(self._rows) else None
        if one is None:
            return None
        if role == LINE:
            return one
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return one.spoken
        if isinstance(one, Heading):
            return one.group if role == Qt.ItemDataRole.DisplayRole else None
        if role == Qt.ItemDataRole.DisplayRole:
            return one.text
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip("\n".join(part for part in (one.title, one.text, one.more) if part))
        return None
