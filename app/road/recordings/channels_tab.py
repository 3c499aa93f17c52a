"""Which channel gives which input, in which unit, and what stands for those that are missing."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent
from PySide6.QtWidgets import (
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QScrollArea,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.plain import PlainLabel, plain_tip
from app.quiet import QuietCombo
from app.road.recordings.service import OpenDrive, Recordings
from app.road.rows import Column, Row, RowsView
from calib_model.core.numbers import exact
from calib_model.core.units import shown
from calib_model.errors import BitepointError
from calib_model.evidence.mapping import TARGETS, Constant, FromChannel, suggest

if TYPE_CHECKING:
    from calib_model.evidence.mapping import ChannelMap, Source

NOTHING, CONSTANT = "nothing", "a constant"
_PARTS = {"input": "", "wheel": "", "controller": "controller: "}


class ChannelsTab(QWidget):
    """The mapping of the recording that is looked at.

    Signals
    -------
    layout_shown
        The user wants to see, or change, how the file was read.
    """

    layout_shown = Signal()

    def __init__(self, service: Recordings) -> None:
        super().__init__()
        self._service = service
        self._drive: OpenDrive | None = None
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        self.words.setContentsMargins(6, 4, 6, 2)
        self.list = RowsView(
            (
                Column("Input"),
                Column("From", False, "The channel that gives it, or a constant."),
                Column("Unit", False, "The unit the channel is in."),
                Column("Times", True, "Factor of the channel: -1 turns its sign."),
            ),
            1,
            "Inputs and the channels that give them",
            wrap=True,
        )
        self.list.setMinimumHeight(4 * self.fontMetrics().height())
        self.list.taken.connect(lambda _name: self._edit())
        self.list.selectionModel().currentRowChanged.connect(lambda *_: self._show_form())
        self.source = QuietCombo()
        self.source.setAccessibleName("Where the input comes from")
        self.source.setMinimumContentsLength(12)
        self.source.setSizeAdjustPolicy(
            QuietCombo.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.unit = QLineEdit()
        self.unit.setAccessibleName("Unit of the channel or constant")
        self.unit.setPlaceholderText("unit")
        self.number = QLineEdit()
        self.number.setAccessibleName("Factor of the channel, or value of the constant")
        self.name = PlainLabel()
        self.use = self._button("Use", "Uses this source (Enter) and remembers it.")
        self.again = self._button("Suggest again", "Maps the channels by their names anew.")
        self.lay_out = self._button("How it was read…", "Shows how the file was read.")
        self.use.clicked.connect(lambda _checked=False: self._use())
        self.again.clicked.connect(lambda _checked=False: self._suggest())
        self.lay_out.clicked.connect(lambda _checked=False: self.layout_shown.emit())
        self.source.activated.connect(lambda _number: self._show_fields())
        for line in (self.unit, self.number):
            line.returnPressed.connect(self._use)
        form = QGridLayout()
        form.setContentsMargins(6, 2, 6, 2)
        form.addWidget(self.name, 0, 0, 1, 4)
        for place, widget in enumerate((self.source, self.number, self.unit, self.use)):
            form.addWidget(widget, 1, place)
        form.setColumnStretch(0, 4)
        form.setColumnStretch(1, 2)
        form.setColumnStretch(2, 1)
        buttons = QHBoxLayout()
        buttons.setContentsMargins(6, 2, 6, 4)
        buttons.addWidget(self.again)
        buttons.addWidget(self.lay_out)
        buttons.addStretch(1)
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.words)
        column.addWidget(self.list, 1)
        column.addLayout(form)
        column.addLayout(buttons)
        area = QScrollArea()
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.setWidgetResizable(True)
        area.setWidget(inside)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(area)

    def _button(self, text: str, tip: str) -> QToolButton:
        button = QToolButton()
        button.setText(text)
        button.setToolTip(plain_tip(tip))
        button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        button.setMinimumHeight(2 * self.fontMetrics().height())
        return button

    # -- showing ---------------------------------------------------------------------------------

    def show_drive(self, drive: OpenDrive | None) -> None:
        """Show the mapping of a recording."""
        other = drive is not self._drive
        self._drive = drive
        for widget in (self.source, self.unit, self.number, self.use, self.again, self.lay_out):
            widget.setEnabled(drive is not None)
        if drive is None:
            self.words.setText("No recording is open.")
            self.list.show_rows(())
            return

        chosen = drive.chosen
        problems = chosen.problems(drive.recording)
        self.words.setText(words_of(drive, chosen, problems))
        if other:
            self.source.clear()
            self.source.addItems([NOTHING, CONSTANT])
            for channel in drive.recording.channels.values():
                unit = f", {shown(channel.unit)}" if channel.unit else ""
                self.source.addItem(f"{channel.name}{unit}", channel.name)
        missing = set(chosen.missing)
        rows = []
        for name, target in TARGETS.items():
            source = chosen.get(name)
            if source is None and target.part == "controller" and name not in _OFTEN:
                continue
            unit = f", {shown(target.unit)}" if target.unit not in ("", "-") else ""
            label = f"{_PARTS[target.part]}{target.label}{unit}"
            from_, its_unit, times = self._cells(drive, source, name in missing, target.part)
            if name in problems:
                from_ = f"\N{WARNING SIGN} {from_}"
            tip = f"{target.meaning}. {problems.get(name, '')}".strip()
            rows.append(
                Row((label, from_, its_unit, times), name, name in problems or name in missing, tip)
            )
        self.list.show_rows(rows)
        self._show_form()

    def _cells(
        self, drive: OpenDrive, source: Source | None, missing: bool, part: str
    ) -> tuple[str, str, str]:
        if source is None:
            return ("missing" if missing else NOTHING if part == "controller" else
                    "worked out or not needed", "", "")  # fmt: skip
        if isinstance(source, Constant):
            return f"constant {exact(source.value)}", shown(source.unit), ""
        channel = drive.recording.channels.get(source.channel)
        unit = source.unit or (channel.unit if channel is not None else "")
        return source.channel, shown(unit), "" if source.factor == 1.0 else exact(source.factor)

    def _show_form(self) -> None:
        name = self.list.chosen()
        if self._drive is None or name is None:
            self.name.setText("")
            return
        target = TARGETS[name]
        self.name.setText(f"{target.label} [{shown(target.unit) or 'no unit'}] comes from")
        self.name.setToolTip(plain_tip(target.meaning))
        source = self._drive.chosen.get(name)
        if source is None:
            self.source.setCurrentIndex(0)
        elif isinstance(source, Constant):
            self.source.setCurrentIndex(1)
            self.number.setText(exact(source.value))
        else:
            self.source.setCurrentIndex(max(self.source.findData(source.channel), 0))
            self.number.setText(exact(source.factor))
        self.unit.setText(source.unit if source is not None else "")
        self._show_fields()

    def _show_fields(self) -> None:
        place = self.source.currentIndex()
        self.number.setEnabled(place > 0)
        self.unit.setEnabled(place > 0)
        self.number.setPlaceholderText("value" if place == 1 else "times 1")
        if place > 1 and not self.number.text():
            self.number.setText("1")

    # -- changing --------------------------------------------------------------------------------

    def _edit(self) -> None:
        self.source.setFocus(Qt.FocusReason.OtherFocusReason)

    def _source(self) -> Source | None:
        """Return what the form says; raises BitepointError or ValueError if it cannot be used."""
        place = self.source.currentIndex()
        if place <= 0:
            return None
        text = self.number.text().strip().replace("\N{MINUS SIGN}", "-").replace(",", ".")
        number = float(text) if text else (1.0 if place > 1 else math.nan)
        unit = self.unit.text().strip()
        if place == 1:
            return Constant(number, unit)
        return FromChannel(self.source.itemData(place), unit, number)

    def _use(self) -> None:
        name = self.list.chosen()
        if self._drive is None or name is None:
            return
        tell = self._service.desk.tell
        try:
            changed = self._drive.chosen.with_source(name, self._source())
        except ValueError:
            tell(f"{self.number.text()!r} is no number. Type one, such as 60.", refused=True)
            return
        except BitepointError as error:
            tell(str(error), refused=True)
            return
        problem = changed.problems(self._drive.recording).get(name)
        if problem:
            tell(f"{name.replace('_', ' ')}: {problem}.", refused=True)
            return
        self._service.set_mapping(self._drive, changed)
        self.show_drive(self._drive)
        self.list.setFocus(Qt.FocusReason.OtherFocusReason)
        tell("The mapping is remembered for recordings with the same channels.")

    def _suggest(self) -> None:
        if self._drive is not None:
            self._service.set_mapping(self._drive, suggest(self._drive.recording))
            self.show_drive(self._drive)

    # -- keyboard --------------------------------------------------------------------------------

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on to the list."""
        super().focusInEvent(event)
        self.list.setFocus(Qt.FocusReason.OtherFocusReason)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter in the form uses it, Esc goes back to the list."""
        in_list = self.list.hasFocus()
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not in_list:
            self._use()
        elif event.key() == Qt.Key.Key_Escape and not in_list:
            self._show_form()
            self.list.setFocus(Qt.FocusReason.OtherFocusReason)
        else:
            super().keyPressEvent(event)


_OFTEN = frozenset({"controller.torque", "controller.clamp", "controller.current"})
"""The controller's own signals that are listed even where nothing gives them."""


def words_of(drive: OpenDrive, chosen: ChannelMap, problems: dict[str, str]) -> str:
    """Say what the mapping leaves open."""
    parts = []
    if problems:
        first = next(iter(problems))
        parts.append(f"\N{WARNING SIGN} {TARGETS[first].label}: {problems[first]}.")
    constants = [
        f"{target.label} {target.said(one.value, one.unit)}"
        for target, one in ((TARGETS[name], one) for name, one in chosen.constants.items())
    ]
    if constants:
        parts.append(f"Taken as constant: {', '.join(constants)}.")
    if chosen.missing:
        listed = ", ".join(TARGETS[name].label for name in chosen.missing if name in TARGETS)
        parts.append(f"Missing, so that their tables take no part: {listed}.")
    if not parts:
        parts.append("Every input comes from a channel.")
    return " ".join(parts) + " Enter changes where an input comes from."
