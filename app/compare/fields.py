"""Rules, texts and settings of a compared table, field by field."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QFont, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from calib_model.compare import FieldChange, TableComparison


class FieldsView(QTableWidget):
    """What differs besides the values: a row a field, set beside set, texts in full."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(0, 3, parent)
        self.setAccessibleName("Rules, texts and settings that differ")
        self.setWordWrap(True)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setTabKeyNavigation(False)
        self.verticalHeader().hide()
        header = self.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self._wrap = QTimer(self)
        self._wrap.setSingleShot(True)
        self._wrap.timeout.connect(self.resizeRowsToContents)

    def show_pair(
        self, pair: TableComparison | None, of_sets: Sequence[FieldChange], names: tuple[str, str]
    ) -> None:
        """Show a table's fields, and below them those of the sets themselves."""
        self.clearSpans()
        self.setRowCount(0)
        self.setHorizontalHeaderLabels(["Field", *names])
        if pair is not None:
            self._group("Of this table", pair.fields, "rules, texts, limits and axes are the same.")
        self._group("Of the sets", of_sets, "what they say of themselves is the same.")
        self._wrap.start()

    def _group(self, title: str, fields: Sequence[FieldChange], nothing: str) -> None:
        row = self._add([title if fields else f"{title}: {nothing}"])
        self.setSpan(row, 0, 1, 3)
        if fields:
            bold = QFont(self.font())
            bold.setBold(True)
            cell = self.item(row, 0)
            assert cell is not None, "the row was just filled"
            cell.setFont(bold)
        for field in fields:
            self._add([field.field, field.before or "nothing", field.after or "nothing"])

    def _add(self, texts: Sequence[str]) -> int:
        row = self.rowCount()
        self.insertRow(row)
        for column, text in enumerate(texts):
            item = QTableWidgetItem(text)
            item.setFlags(Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable)
            item.setTextAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
            if len(texts) == 3:
                spoken = f"{texts[0]}: reference {texts[1]}; edited set {texts[2]}"
                item.setData(Qt.ItemDataRole.AccessibleTextRole, spoken)
            self.setItem(row, column, item)
        return row

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Wrap the texts again."""
        super().resizeEvent(event)
        self._wrap.start()
