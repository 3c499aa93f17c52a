"""The findings as a list model: of the table in work, or of the whole set."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractListModel, QModelIndex, QPersistentModelIndex, Qt

from app.desk import Desk
from app.plain import plain_tip
from app.severity import WORDS
from calib_model.rules.check import Finding

Index = QModelIndex | QPersistentModelIndex
_NOWHERE = QModelIndex()
FINDING = int(Qt.ItemDataRole.UserRole) + 1
SUBTITLE = FINDING + 1


class FindingsModel(QAbstractListModel):
    """Findings of the desk's current set."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self._whole_set = False
        self._table_id = ""
        self._rows: tuple[Finding, ...] = ()
        desk.findings_changed.connect(self.refresh)
        desk.table_changed.connect(self.refresh)
        self.refresh()

    @property
    def whole_set(self) -> bool:
        """Whether findings of every table are listed."""
        return self._whole_set

    def set_whole_set(self, whole: bool) -> None:
        """List the findings of every table, or of the one in work."""
        if whole != self._whole_set:
            self._whole_set = whole
            self.refresh()

    def refresh(self) -> None:
        """Read the findings again; rows that stay keep their place."""
        rows = self._wanted()
        if rows == self._rows:
            return
        self.beginResetModel()
        self._rows = rows
        self.endResetModel()

    def _wanted(self) -> tuple[Finding, ...]:
        report, table = self._desk.report, self._desk.table
        if report is None:
            return ()
        if self._whole_set:
            return report.findings
        return report.of(table.id) if table is not None else ()

    def finding(self, row: int) -> Finding | None:
        """Return the finding in a row."""
        return self._rows[row] if 0 <= row < len(self._rows) else None

    def row_of(self, finding: Finding) -> int:
        """Return the row of the same rule's finding on the same table, or -1."""
        for row, here in enumerate(self._rows):
            if here.table == finding.table and here.source == finding.source:
                return row
        return -1

    def rowCount(self, parent: Index = _NOWHERE) -> int:
        return 0 if parent.isValid() else len(self._rows)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        finding = self.finding(index.row())
        if finding is None:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return finding.message
        if role == SUBTITLE:
            return self._label(finding) if self._whole_set else ""
        if role == FINDING:
            return finding
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return f"{WORDS[finding.severity]}, {self._label(finding)}: {finding.message}"
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip(f"{self._label(finding)} ({finding.table})")
        return None

    def _label(self, finding: Finding) -> str:
        document = self._desk.current
        table = document.content.tables.get(finding.table) if document else None
        return table.label if table else finding.table
