"""What a shaping tool asks for: plain descriptions, and the widgets made from them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFileDialog,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QWidget,
)

from app.plain import plain_tip
from app.quiet import QuietCombo, QuietSlider
from calib_model.core.numbers import exact, short
from calib_model.core.typed_number import parse_number
from calib_model.errors import BitepointError, EditRefused
from calib_model.shaping.options import Option


@dataclass(frozen=True)
class Field:
    """One thing that a tool asks for.

    Parameters
    ----------
    key, label, tip : str
    kind : ``choice``, ``number``, ``numbers``, ``check``, ``slider``, ``text`` or ``file``
    options : tuple of (value, words)
        Of a choice.
    default : Any
    low, high : float
        Of a slider.
    when : callable or None
        Asked with the values of all fields whether this one matters now.
    option : Option or None
        The option of the tool that it asks for; its bounds hold.
    """

    key: str
    label: str
    kind: str
    tip: str = ""
    options: tuple[tuple[Any, str], ...] = ()
    default: Any = None
    low: float = 0.0
    high: float = 1.0
    when: Callable[[dict[str, Any]], bool] | None = None
    option: Option | None = None


class FieldWidget(QWidget):
    """The widget of one field.

    Parameters
    ----------
    field : Field
    changed : callable
        Called after every change by the user.
    """

    def __init__(self, field: Field, changed: Callable[[], None]) -> None:
        super().__init__()
        self.field = field
        self.folder = ""
        """Where a file is looked for first."""
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        self.setToolTip(plain_tip(field.tip))
        made = getattr(self, f"_{field.kind}")(field, changed)
        for widget in made:
            row.addWidget(widget, 1 if widget is made[0] else 0)
        self.main = made[0]
        self.main.setAccessibleName(field.label.replace("&", ""))
        self.main.setAccessibleDescription(field.tip)
        self.main.setMinimumHeight(30)
        if field.kind in ("choice", "text"):
            self.main.setMinimumWidth(150)  # a long label goes above, rather than cut the choice
        self.setFocusProxy(self.main)

    @property
    def value(self) -> Any:
        """What is entered.

        Raises
        ------
        EditRefused
            If a number cannot be read.
        """
        return self._read()

    def set_value(self, value: Any) -> None:
        """Enter a value without telling anybody."""
        blocked = self.main.blockSignals(True)
        self._write(value)
        self.main.blockSignals(blocked)

    _read: Callable[[], Any]
    _write: Callable[[Any], None]

    def _choice(self, field: Field, changed: Callable[[], None]) -> tuple[QWidget, ...]:
        box = QuietCombo()
        for _, words in field.options:
            box.addItem(words)
        values = [value for value, _ in field.options]
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self._read = lambda: values[box.currentIndex()]
        self._write = lambda value: box.setCurrentIndex(values.index(value))
        if field.default is not None:
            self._write(field.default)
        box.activated.connect(lambda _index: changed())
        return (box,)

    def _number(self, field: Field, changed: Callable[[], None]) -> tuple[QWidget, ...]:
        line = QLineEdit("" if field.default is None else exact(field.default))

        def read() -> float | None:
            if not line.text().strip():
                return None
            number = _parsed(field, line.text())
            return number if field.option is None else field.option.check(number)

        self._read = read
        self._write = lambda value: line.setText("" if value is None else exact(value))
        line.editingFinished.connect(changed)
        return (line,)

    def _numbers(self, field: Field, changed: Callable[[], None]) -> tuple[QWidget, ...]:
        """Numbers that blanks or semicolons separate."""
        line = QLineEdit()

        def read() -> tuple[float, ...] | None:
            words = line.text().replace(";", " ").split()
            return tuple(_parsed(field, word) for word in words) or None

        self._read = read

        def write(value: tuple[float, ...] | None) -> None:
            line.setText(" ".join(map(exact, value or ())))
            line.setCursorPosition(0)  # the first are in sight

        self._write = write
        self._write(field.default)
        line.editingFinished.connect(changed)
        return (line,)

    def _text(self, field: Field, changed: Callable[[], None]) -> tuple[QWidget, ...]:
        line = QLineEdit(field.default or "")
        self._read = lambda: line.text().strip()
        self._write = lambda value: line.setText(value or "")
        line.editingFinished.connect(changed)
        return (line,)

    def _check(self, field: Field, changed: Callable[[], None]) -> tuple[QWidget, ...]:
        box = QCheckBox()
        box.setChecked(bool(field.default))
        self._read = box.isChecked
        self._write = lambda value: box.setChecked(bool(value))
        box.toggled.connect(lambda _on: changed())
        return (box,)

    def _slider(self, field: Field, changed: Callable[[], None]) -> tuple[QWidget, ...]:
        """A slider over powers of ten, with the number beside it."""
        slider, line = QuietSlider(Qt.Orientation.Horizontal), QLineEdit()
        slider.setRange(round(field.low * 20), round(field.high * 20))
        slider.setPageStep(10)
        line.setFixedWidth(80)
        line.setReadOnly(True)
        line.setFocusPolicy(Qt.FocusPolicy.NoFocus)

        def read() -> float:
            return float(10.0 ** (slider.value() / 20))

        def write(value: float) -> None:
            slider.setValue(round(math.log10(max(value, 1e-300)) * 20))
            line.setText(short(read(), 3))

        def moved(_value: int) -> None:
            line.setText(short(read(), 3))
            changed()

        self._read, self._write = read, write
        write(field.default if field.default is not None else 1.0)
        slider.valueChanged.connect(moved)
        return (slider, line)

    def _file(self, field: Field, changed: Callable[[], None]) -> tuple[QWidget, ...]:
        line, button = QLineEdit(), QPushButton("…")
        button.setAccessibleName(f"Choose a file for {field.label.replace('&', '').lower()}")
        button.setFixedWidth(36)

        def choose() -> None:
            name, _ = QFileDialog.getOpenFileName(
                self,
                field.label.replace("&", ""),
                line.text().strip() or self.folder,
                field.default or "",
            )
            if name:
                line.setText(name)
                changed()

        self._read = lambda: Path(line.text().strip()) if line.text().strip() else None
        self._write = lambda value: line.setText(str(value) if value else "")
        button.clicked.connect(choose)
        line.editingFinished.connect(changed)
        return (line, button)


def _parsed(field: Field, text: str) -> float:
    try:
        return parse_number(text)
    except BitepointError as error:
        label = field.option.label if field.option is not None else field.label.replace("&", "")
        raise EditRefused(f"{label}: {error.problem}", error.remedy) from None
