"""Name, description, unit, limits and storage of the table in work."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QLineEdit,
    QPlainTextEdit,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.plain import PlainLabel
from calib_model.core.numbers import exact
from calib_model.core.storage import FLOAT_TYPES, INTEGER_TYPES, Storage
from calib_model.core.table import Table
from calib_model.core.typed_number import parse_number
from calib_model.editing.change import table_change
from calib_model.errors import BitepointError, EditRefused


class DetailsDialog(QDialog):
    """Edit what a table is.

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
        self._table = table
        self.setWindowTitle(f"Details of {table.id}")
        self.resize(560, 460)
        s = table.storage
        self.name = QLineEdit(table.name)
        self.function = QLineEdit(table.function)
        self.unit = QLineEdit(table.unit)
        self.smallest, self.largest = QLineEdit(exact(table.lower)), QLineEdit(exact(table.upper))
        self.type = QComboBox()
        self.type.addItems([*INTEGER_TYPES, *FLOAT_TYPES])
        self.type.setCurrentText(s.type)
        step = str(Fraction(s.numerator, s.denominator))
        self.step = QLineEdit(step if s.is_integer else "")
        self.step.setPlaceholderText("such as 0.5 or 1/250")
        self.offset = QLineEdit(exact(s.offset / s.denominator) if s.is_integer else "")
        self.description = QPlainTextEdit(table.description)
        self.description.setTabChangesFocus(True)
        form = QFormLayout()
        fields: tuple[tuple[str, QWidget], ...] = (
            ("&Name", self.name),
            ("&Function group", self.function),
            ("&Unit", self.unit),
            ("&Smallest value", self.smallest),
            ("&Largest value", self.largest),
            ("S&torage type", self.type),
            ("Storage s&tep", self.step),
            ("Storage &offset", self.offset),
            ("&Description", self.description),
        )
        for label, widget in fields:
            widget.setAccessibleName(label.replace("&", ""))
            form.addRow(label, widget)
        self._problem = PlainLabel()
        self._problem.setWordWrap(True)
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel
        )
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        column.addLayout(form)
        column.addWidget(self._problem)
        column.addWidget(buttons)

    def changed(self) -> Table:
        """Return the table as the form describes it.

        Raises
        ------
        BitepointError
            In words, if a field cannot be used.
        """
        lower, upper = (_number(field, what) for field, what in (
            (self.smallest, "smallest value"), (self.largest, "largest value")))  # fmt: skip
        if lower > upper:
            raise EditRefused("The smallest value is above the largest.")
        kind = self.type.currentText()
        if kind in FLOAT_TYPES:
            storage = Storage(kind)
        else:
            try:
                storage = Storage.of(
                    kind, self.step.text().strip() or "1", self.offset.text().strip() or "0"
                )
            except (ValueError, ZeroDivisionError):
                raise EditRefused(
                    "The storage step and offset must be numbers.", "Write 0.5 or 1/250."
                ) from None
        return replace(
            self._table,
            name=self.name.text().strip(),
            function=self.function.text().strip(),
            unit=self.unit.text().strip() or "-",
            lower=lower,
            upper=upper,
            storage=storage,
            description=self.description.toPlainText().strip(),
        )

    def accept(self) -> None:
        try:
            new = self.changed()
        except BitepointError as error:
            self._problem.setText(str(error))
            return
        change = table_change(self._table, new, f"Change details of {self._table.label}")
        if change.is_empty or self._desk.do(change):
            super().accept()
        else:
            self._problem.setText("The details were not changed; see the status line.")


def _number(field: QLineEdit, what: str) -> float:
    text = field.text().strip().lower()
    if text in ("inf", "-inf", ""):
        return float(text) if text else (float("-inf") if "smallest" in what else float("inf"))
    try:
        return parse_number(text)
    except BitepointError as error:
        raise EditRefused(f"The {what}: {error.problem}", error.remedy) from None
