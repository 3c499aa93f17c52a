"""Rules, texts and settings of a compared table, field by field."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QFont
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTreeWidget, QTreeWidgetItem, QWidget

from calib_model.compare import FieldChange, TableComparison


class FieldsView(QTreeWidget):
    """What differs besides the values: a row for each field, A beside B."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setColumnCount(3)
        self.setHeaderLabels(["Field", "A", "B"])
        self.setAccessibleName("Rules, texts and settings that differ")
        self.setRootIsDecorated(False)
        self.setIndentation(10)
        self.setWordWrap(True)
        self.setUniformRowHeights(False)
        self.setAlternatingRowColors(True)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        header = self.header()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        header.setMinimumSectionSize(60)

    def show_pair(
        self, pair: TableComparison | None, of_sets: Sequence[FieldChange], names: tuple[str, str]
    ) -> None:
        """Show a table's fields, and below them those of the sets themselves."""
        self.clear()
        self.setHeaderLabels(["Field", *names])
        if pair is not None:
            self._group("Of this table", pair.fields, "Rules, texts, limits and axes are the same.")
        self._group("Of the sets", of_sets, "What the sets say of themselves is the same.")
        self.expandAll()

    def _group(self, title: str, fields: Sequence[FieldChange], nothing: str) -> None:
        top = QTreeWidgetItem([title if fields else f"{title}: {nothing}"])
        bold = QFont(self.font())
        bold.setBold(True)
        top.setFont(0, bold)
        self.addTopLevelItem(top)
        top.setFirstColumnSpanned(True)
        for field in fields:
            texts = [field.field, field.before or "nothing", field.after or "nothing"]
            item = QTreeWidgetItem(texts)
            for column, text in enumerate(texts):
                item.setToolTip(column, text)
                item.setTextAlignment(column, Qt.AlignmentFlag.AlignTop)
            spoken = f"{field.field}: A {texts[1]}; B {texts[2]}"
            item.setData(0, Qt.ItemDataRole.AccessibleTextRole, spoken)
            top.addChild(item)
