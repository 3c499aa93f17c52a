"""Rows of the table list: groups and the tables in them that match what is asked for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import QAbstractListModel, QModelIndex, QObject, QPersistentModelIndex, Qt

from app.desk import Desk
from app.plain import plain_tip
from calib_model.core.table import Table
from calib_model.core.units import shown
from calib_model.session.document import Event

Index = QModelIndex | QPersistentModelIndex
Counts = tuple[int, int, int]
"""Errors, warnings, notes."""
_NONE: Counts = (0, 0, 0)
_NOWHERE = QModelIndex()
NO_GROUP = "No function named"


def search_text(table: Table) -> str:
    """Return what the filter's words are looked for in, in lower case."""
    text = f"{table.id} {table.name} {table.function} {table.unit} {shown(table.unit)} {table.role}"
    return text.casefold()


class TableRows(QAbstractListModel):
    """Rows of the current set's tables, grouped by function.

    The rows are an own list: a proxy model takes a third of a second per key stroke on 30,000
    tables, a pass over prepared texts a few milliseconds.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._tables: list[Table] = []
        self._texts: list[str] = []
        self._place: dict[str, int] = {}
        self._group_of: list[int] = []
        self._groups: list[str] = []
        self._folded: set[str] = set()
        self._rows: list[int] = []
        self._row_of: dict[int, int] = {}
        self._shown_per_group: dict[int, int] = {}
        self._matching = 0
        self._findings: Mapping[str, Counts] = {}
        self._group_counts: dict[int, Counts] = {}
        self._differs: dict[str, tuple[Table, Table, bool]] = {}
        self.words: tuple[str, ...] = ()
        self.only_findings = False
        self.only_changed = False
        desk.current_changed.connect(self.rebuild)
        desk.documents_changed.connect(self._on_saved)
        desk.edited.connect(self._on_edit)
        self.rebuild()

    # -- what is asked for -----------------------------------------------------------------------

    def set_filter(self, text: str) -> None:
        """Keep the tables that hold every word."""
        words = tuple(text.casefold().split())
        if words != self.words:
            self.words = words
            self._select_rows()

    def set_only_findings(self, on: bool) -> None:
        """Keep the tables with findings, or all."""
        self.only_findings = on
        self._select_rows()

    def set_only_changed(self, on: bool) -> None:
        """Keep the tables that differ from the saved set, or all."""
        self.only_changed = on
        self._select_rows()

    def set_findings(self, findings: Mapping[str, Counts]) -> None:
        """Take in how many (errors, warnings, notes) each table has."""
        self._findings = findings
        self._group_counts.clear()
        if self.only_findings:
            self._select_rows()
        else:
            self._all_changed()

    def toggle_group(self, row: int) -> None:
        """Fold a group, or unfold it."""
        name = self.group_at(row)
        if name is not None:
            self._folded ^= {name}
            self._select_rows()

    # -- rows ------------------------------------------------------------------------------------

    def table_at(self, row: int) -> Table | None:
        """Return the table in a row; None for a group's row."""
        number = self._rows[row] if 0 <= row < len(self._rows) else -1
        return self._tables[number] if number >= 0 else None

    def group_at(self, row: int) -> str | None:
        """Return the group whose row this is; None for a table's row."""
        number = self._rows[row] if 0 <= row < len(self._rows) else 0
        return self._groups[-number - 1] if number < 0 else None

    def row_of(self, table_id: str) -> int:
        """Return a table's row, -1 if it is not shown."""
        return self._row_of.get(self._place.get(table_id, -1), -1)

    def group_row_of(self, row: int) -> int:
        """Return the row of the group that a row belongs to."""
        while row > 0 and self._rows[row] >= 0:
            row -= 1
        return row

    def first_table_row(self) -> int:
        """Return the first row with a table, -1 if there is none."""
        return next((row for row, number in enumerate(self._rows) if number >= 0), -1)

    def is_folded(self, row: int) -> bool:
        """Tell whether a group's tables are hidden; a filter shows them all the same."""
        return not self._asking and self.group_at(row) in self._folded

    @property
    def total(self) -> int:
        """Number of tables in the set."""
        return len(self._tables)

    @property
    def matching(self) -> int:
        """Number of tables that match."""
        return self._matching

    @property
    def _asking(self) -> bool:
        return bool(self.words) or self.only_findings or self.only_changed

    def counts_at(self, row: int) -> Counts:
        """Return the findings of a row: a table's, or the sum over a group."""
        table = self.table_at(row)
        if table is not None:
            return self._findings.get(table.id, _NONE)
        group = -self._rows[row] - 1
        if group not in self._group_counts:
            inside = [
                self._findings.get(table.id, _NONE)
                for table, number in zip(self._tables, self._group_of, strict=True)
                if number == group
            ]
            self._group_counts[group] = (
                sum(c[0] for c in inside), sum(c[1] for c in inside), sum(c[2] for c in inside),
            )  # fmt: skip
        return self._group_counts[group]

    def size_of_group(self, row: int) -> int:
        """Return how many tables of a group match."""
        return self._shown_per_group.get(-self._rows[row] - 1, 0)

    def is_changed(self, table: Table) -> bool:
        """Tell whether a table differs from the saved set."""
        document = self._desk.current
        if document is None:
            return False
        saved = document.saved_content.tables.get(table.id)
        if saved is table:
            return False
        if saved is None:
            return True
        known = self._differs.get(table.id)
        if known is None or known[0] is not table or known[1] is not saved:
            known = (table, saved, table != saved)
            self._differs[table.id] = known
        return known[2]

    # -- Qt's questions --------------------------------------------------------------------------

    def rowCount(self, parent: Index = _NOWHERE) -> int:
        """Return the number of rows."""
        return 0 if parent.isValid() else len(self._rows)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return a row in words."""
        if not index.isValid() or index.row() >= len(self._rows):
            return None
        row = index.row()
        table = self.table_at(row)
        if role == Qt.ItemDataRole.DisplayRole:
            return self.group_at(row) if table is None else table.label
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return self._spoken_group(row) if table is None else self._spoken(table, row)
        if role == Qt.ItemDataRole.ToolTipRole and table is not None:
            lines = [f"{table.label} ({table.id})", table.description, self._size(table)]
            return plain_tip("\n".join(filter(None, lines)))
        return None

    def _spoken_group(self, row: int) -> str:
        state = "folded" if self.is_folded(row) else "unfolded"
        size = self.size_of_group(row)
        said = [f"Group {self.group_at(row)}, {size} table{'' if size == 1 else 's'}, {state}"]
        return "; ".join([*said, *_count_words(self.counts_at(row))])

    def _spoken(self, table: Table, row: int) -> str:
        said = [f"{table.label}, {table.id}", self._size(table)]
        if self.is_changed(table):
            said.append("changed since saved")
        return "; ".join([*said, *_count_words(self.counts_at(row))])

    @staticmethod
    def _size(table: Table) -> str:
        size = " × ".join(str(n) for n in table.shape)
        unit = shown(table.unit)
        return " ".join(filter(None, [table.kind, size, f"in {unit}" if unit else ""]))

    # -- keeping up ------------------------------------------------------------------------------

    def rebuild(self) -> None:
        """Read the current set's tables again."""
        document = self._desk.current
        tables = list(document.content.tables.values()) if document is not None else []
        groups = {name: n for n, name in enumerate(dict.fromkeys(t.function for t in tables))}
        order = sorted(range(len(tables)), key=lambda i: groups[tables[i].function])
        self._groups = [name or NO_GROUP for name in groups]
        self._tables = [tables[i] for i in order]
        self._texts = [search_text(t) for t in self._tables]
        self._group_of = [groups[t.function] for t in self._tables]
        self._place = {t.id: i for i, t in enumerate(self._tables)}
        self._group_counts.clear()
        self._differs.clear()
        self._select_rows()

    def _select_rows(self) -> None:
        self.beginResetModel()
        matching = self._matches()
        self._matching = len(matching)
        asking = self._asking
        folded = {n for n, name in enumerate(self._groups) if name in self._folded}
        rows: list[int] = []
        self._shown_per_group = shown_per_group = {}
        group_of, last = self._group_of, -1
        for number in matching:
            group = group_of[number]
            if group != last:
                rows.append(-group - 1)
                shown_per_group[group] = 0
                last = group
            shown_per_group[group] += 1
            if asking or group not in folded:
                rows.append(number)
        self._rows = rows
        self._row_of = {number: row for row, number in enumerate(rows) if number >= 0}
        self.endResetModel()

    def _matches(self) -> list[int]:
        """Return the numbers of the tables that match: one look at each text for each word."""
        texts = self._texts
        found = list(range(len(texts)))
        for word in self.words:
            found = [number for number in found if word in texts[number]]
        if self.only_findings:
            found = [n for n in found if any(self._findings.get(self._tables[n].id, _NONE))]
        if self.only_changed:
            found = [n for n in found if self.is_changed(self._tables[n])]
        return found

    def _on_edit(self, event: Event) -> None:
        document = self._desk.current
        if document is None:
            return
        if event.tables_changed or any(id not in self._place for id in event.cells):
            self.rebuild()
            return
        regroup = False
        for id in event.cells:
            place, table = self._place[id], document.content.tables[id]
            regroup |= table.function != self._tables[place].function
            self._tables[place] = table
            self._texts[place] = search_text(table)
        if regroup:
            self.rebuild()
        elif self.only_changed:
            self._select_rows()
        else:
            for id in event.cells:
                row = self.row_of(id)
                if row >= 0:
                    self.dataChanged.emit(self.index(row), self.index(row))

    def _on_saved(self) -> None:
        if self.only_changed:
            self._select_rows()
        else:
            self._all_changed()

    def _all_changed(self) -> None:
        if self._rows:
            self.dataChanged.emit(self.index(0), self.index(len(self._rows) - 1))


def _count_words(counts: Counts) -> list[str]:
    names = ("error", "warning", "note")
    return [
        f"{n} {name}{'' if n == 1 else 's'}" for n, name in zip(counts, names, strict=True) if n
    ]
