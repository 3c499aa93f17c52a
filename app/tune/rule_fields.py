"""The fields of a rule's settings, made from what its kind says of itself."""

from __future__ import annotations

from math import isinf
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QLineEdit, QWidget

from app.look.parts import TextLabel
from app.look.tokens import TIGHT
from app.plain import plain_tip
from app.quiet import QuietCombo
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import exact
from calib_model.core.rule import Range, Rule
from calib_model.core.rule_settings import In, Of, Setting
from calib_model.core.table import Table
from calib_model.rules.kinds import setting_words, unit_of

HINTS = {Of.SCOPE: "everywhere", Of.POINT: "one value per axis, such as 20, 60"}


class RuleField(QWidget):
    """One setting of a rule.

    Parameters
    ----------
    setting : Setting
    table : Table
        Whose axes can be chosen.
    content : CalibrationSet
        Whose tables can be chosen.

    Signals
    -------
    changed
    """

    changed = Signal()

    def __init__(self, setting: Setting, table: Table, content: CalibrationSet) -> None:
        super().__init__()
        self.setting, self._table = setting, table
        self._unit = TextLabel(second=True)
        self.edit: QuietCombo | QCheckBox | QLineEdit
        match setting.of:
            case Of.AXIS:
                self.edit = self._choice(axes_of(table))
            case Of.TABLE:
                others = [(t.label, t.id) for t in content if t.id != table.id]
                none = [] if setting.required else [("none", "")]
                self.edit = self._choice([*none, *others])
            case Of.CHOICE:
                self.edit = self._choice([(str(c), str(c)) for c in setting.choices])
            case Of.SWITCH:
                self.edit = QCheckBox()
                self.edit.toggled.connect(self.changed)
            case _:
                self.edit = QLineEdit()
                self.edit.setMaxLength(1000)
                self.edit.setPlaceholderText(HINTS.get(setting.of, ""))
                self.edit.textChanged.connect(self.changed)
        self.edit.setAccessibleName(self.label)
        self.edit.setToolTip(plain_tip(_tip(setting)))
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(TIGHT)
        row.addWidget(self.edit, 1)
        row.addWidget(self._unit)
        self._unit.setVisible(setting.unit is not In.NONE)
        if not setting.required:
            self.show_value(setting.default)
        self.show_unit(-1)

    def _choice(self, options: list[tuple[str, str]]) -> QuietCombo:
        box = QuietCombo()
        box.setMinimumContentsLength(8)
        box.setSizeAdjustPolicy(QuietCombo.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        for text, value in options:
            box.addItem(text, value)
        box.currentIndexChanged.connect(self.changed)
        return box

    @property
    def label(self) -> str:
        """What the setting is called in the window."""
        return self.setting.name.replace("_", " ").capitalize()

    @property
    def text(self) -> str:
        """What stands in the field, as `rule_from_texts` reads it."""
        if isinstance(self.edit, QCheckBox):
            return "yes" if self.edit.isChecked() else ""
        if isinstance(self.edit, QLineEdit):
            return self.edit.text().strip()
        return str(self.edit.currentData() or "")

    def show_value(self, value: Any) -> None:
        """Show what a rule has."""
        if isinstance(self.edit, QCheckBox):
            self.edit.setChecked(bool(value))
        elif isinstance(self.edit, QLineEdit):
            self.edit.setText(text_of(value))
        else:
            found = self.edit.findData(str(value))
            if found < 0 and value not in ("", None):  # a name that is not there any more stays
                self.edit.addItem(str(value), str(value))
                found = self.edit.count() - 1
            self.edit.setCurrentIndex(max(found, 0))

    def show_unit(self, axis: int) -> None:
        """Show the unit of a number, where it depends on the axis chosen."""
        self._unit.setText(unit_of(self.setting, self._table, axis))


def axes_of(table: Table) -> list[tuple[str, str]]:
    """Return the axes to choose from: what is shown, and what a rule names."""
    found: list[tuple[str, str]] = []
    for number, axis in enumerate(table.axes, 1):
        name = axis.quantity or axis.name
        taken = any(name == value for _, value in found)
        found.append((axis.label, str(number) if taken or not name else name))
    return found


def text_of(value: Any) -> str:
    """Return a setting as a field shows it, and `rule_from_texts` reads it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return "" if isinf(value) else exact(value)
    if isinstance(value, Range):
        low, high = text_of(value.low), text_of(value.high)
        return f"{value.axis}:{low}..{high}"
    if isinstance(value, tuple):
        return ", ".join(text_of(one) for one in value)
    return str(value)


def fields_of(rule: Rule, settings: tuple[Setting, ...]) -> dict[str, Any]:
    """Return what a rule has for each setting."""
    return {setting.name: getattr(rule, setting.name) for setting in settings}


def _tip(setting: Setting) -> str:
    words = setting_words(setting)
    if setting.of is Of.SCOPE:
        words += " Write axis:low..high, several parted by commas, such as vehicle_speed:0..20."
    return words
