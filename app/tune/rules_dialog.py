"""Writing a table's rules as a rule sheet: text in, one undoable change out."""

from __future__ import annotations

from PySide6.QtGui import QFontDatabase
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QPlainTextEdit,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.plain import PlainLabel
from calib_model.errors import BitepointError
from calib_model.rules.sheet import parse_sheet, sheet_text
from calib_model.session.rule_sheet import apply_sheet


class RulesDialog(QDialog):
    """Edit the rule sheet of the table in work.

    Parameters
    ----------
    desk : Desk
        Must have a table in work.
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        table = desk.table
        assert table is not None
        self.setWindowTitle(f"Rules of {table.label}")
        self.resize(720, 520)
        self.text = QPlainTextEdit(sheet_text(table))
        self.text.setFont(QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont))
        self.text.setAccessibleName("Rule sheet")
        self.text.setTabChangesFocus(True)
        self._problem = PlainLabel()
        self._problem.setWordWrap(True)
        self._problem.setAccessibleName("Problem in the rule sheet")
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel
        )
        buttons.button(QDialogButtonBox.StandardButton.Ok).setText("&Use these rules")
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        hint = PlainLabel(
            "What the table must satisfy, one entry per rule. The sheet replaces the table's "
            "rules, relations and bindings; it can be undone."
        )
        hint.setWordWrap(True)
        column.addWidget(hint)
        column.addWidget(self.text, 1)
        column.addWidget(self._problem)
        column.addWidget(buttons)

    def accept(self) -> None:
        document = self._desk.current
        if document is None:
            return
        try:
            sheet = parse_sheet(self.text.toPlainText(), "rule sheet")
            change = apply_sheet(document.content, sheet)
        except BitepointError as error:
            self._problem.setText(str(error))
            return
        if change.is_empty or self._desk.do(change):
            super().accept()
        else:
            self._problem.setText("The rules were not changed; see the status line.")
