"""The rules in force for the table in work, in words, each with whether it holds."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QListWidget, QListWidgetItem, QPushButton, QVBoxLayout, QWidget

from app.desk import Desk
from app.plain import plain_tip
from calib_model.core.rule import Rule
from calib_model.core.table import Table
from calib_model.errors import BitepointError
from calib_model.rules.limits import Limits
from calib_model.rules.relations import ModeRelation

HOLDS, BROKEN, UNKNOWN = "✓", "✗", "?"
_WORDS = {HOLDS: "holds", BROKEN: "does not hold", UNKNOWN: "not checked"}


class RulesPanel(QWidget):
    """What the table must satisfy.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self.list = QListWidget()
        self.list.setAccessibleName("Rules of the table")
        self.list.setWordWrap(True)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.edit_button = QPushButton("Edit r&ules…")
        self.edit_button.setMinimumHeight(36)
        self.edit_button.setToolTip("Write the table's rules, relations and bindings as text.")
        column = QVBoxLayout(self)
        column.setContentsMargins(8, 8, 8, 8)
        column.addWidget(self.list, 1)
        column.addWidget(self.edit_button)
        desk.table_changed.connect(self._show)
        desk.findings_changed.connect(self._show)
        self._show()

    def _show(self) -> None:
        table = self._desk.table
        lines = rule_lines(self._desk, table) if table is not None else []
        self.edit_button.setEnabled(table is not None)
        if [self.list.item(n).text() for n in range(self.list.count())] == lines:
            return
        self.list.clear()
        for line in lines:
            item = QListWidgetItem(line)
            item.setData(
                Qt.ItemDataRole.AccessibleTextRole, f"{_WORDS[line[0]]}: {line[1:].strip()}"
            )
            item.setToolTip(plain_tip(_WORDS[line[0]].capitalize()))
            self.list.addItem(item)


def rule_lines(desk: Desk, table: Table) -> list[str]:
    """Return one line per rule: a mark, then the rule in words."""
    report = desk.report
    broken = {f.source for f in report.of(table.id)} if report else set()
    unknown = {n.rule for n in report.not_checked_by_table.get(table.id, ())} if report else set()
    rules: list[Rule] = [Limits(), *table.rules]
    if table.relations:
        rules.append(ModeRelation())
    lines = []
    for rule in rules:
        try:
            words = rule.statement(table)
        except BitepointError as error:
            words = str(error)
        state = HOLDS
        if rule.off:
            words += " (turned off)"
        if report is None or rule.off or rule.kind in unknown:
            state = UNKNOWN
        if rule in broken:
            state = BROKEN
        lines.append(f"{state}  {words[:1].upper()}{words[1:]}")
    return lines
