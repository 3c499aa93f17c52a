"""Chooses what the picture shows: two inputs along its axes, and where the others stand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from app.plain import PlainLabel, plain_tip
from app.quiet import QuietCombo, QuietSpin
from calib_model.core.numbers import short
from calib_model.core.units import shown
from calib_model.evidence.result import Ask, Integral

if TYPE_CHECKING:
    from calib_model.evidence.result_inputs import Choice

_STATE_WORDS = {
    "wiper_state": ("off", "interval", "slow", "fast"),
    "brake_state": ("not acting", "acting"),
    "inside_brake_request": ("no", "yes"),
}


class Asking(QScrollArea):
    """The form beside the maps.

    Signals
    -------
    asked
        Something else is to be shown; see `ask`.
    """

    asked = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._choices: dict[str, Choice] = {}
        self._at: dict[str, float] = {}
        self._fields: dict[str, tuple[QLabel, QWidget]] = {}
        self._quiet = False
        self.across = self._combo("Input along the bottom")
        self.upward = self._combo("Input up the side")
        self.integral = self._combo("What becomes of the slip integral")
        self.integral.setToolTip(
            "Where slip stays above its target the integral grows until a limit holds it: "
            "left at zero, the picture shows what is asked for as soon as the slip is there."
        )
        self.connected = QCheckBox("Keep the driveshaft connected")
        self.connected.setToolTip(
            "Otherwise it is disconnected where speed and pedal say so, and carries no torque."
        )
        self.connected.toggled.connect(self._changed)
        self._body = QWidget()
        self._grid = QGridLayout(self._body)
        self._grid.setContentsMargins(4, 2, 4, 2)
        self._grid.setHorizontalSpacing(4)
        self._grid.setVerticalSpacing(2)
        self._grid.setColumnStretch(1, 1)
        for row, (text, box) in enumerate(
            (("Across", self.across), ("Up", self.upward), ("Integral", self.integral))
        ):
            label = PlainLabel(text)
            label.setBuddy(box)
            # Short words, long choices: these rows share no column with the fields below.
            line = QHBoxLayout()
            line.setSpacing(8)
            line.addWidget(label)
            line.addWidget(box, 1)
            self._grid.addLayout(line, row, 0, 1, 2)
        self._grid.addWidget(self.connected, 3, 0, 1, 2)
        self._fixed_rows = 4
        outer = QWidget()
        column = QVBoxLayout(outer)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._body)
        column.addStretch(1)
        self.setWidget(outer)
        self._fit_width()

    def _combo(self, name: str) -> QuietCombo:
        box = QuietCombo()
        box.setAccessibleName(name)
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        box.setMinimumContentsLength(8)
        box.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        box.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        box.activated.connect(lambda _number, box=box: self._on_axis(box))
        return box

    # -- what is offered and asked ---------------------------------------------------------------

    def offer(self, choices: Sequence[Choice], ask: Ask) -> None:
        """Offer inputs; `ask` says what is shown."""
        offered = {choice.name: choice for choice in choices}
        if list(offered) == list(self._choices) and all(
            _alike(offered[name], self._choices[name]) for name in offered
        ):
            self._choices = offered
            return
        self._quiet = True
        self._choices = offered
        self._at = {n: self._at.get(n, ask.at.get(n, c.usual)) for n, c in offered.items()}
        for box, name in ((self.across, ask.x), (self.upward, ask.y)):
            box.clear()
            for choice in choices:
                box.addItem(choice.label, choice.name)
            box.setCurrentIndex(list(offered).index(name))

        self.integral.clear()
        for kind in Integral:
            self.integral.addItem(kind.value, kind)
        self.integral.setCurrentIndex(list(Integral).index(ask.integral))
        self.integral.setEnabled("front_slip" in offered)
        self._make_fields()
        self._quiet = False

    @property
    def ask(self) -> Ask | None:
        """What is asked for; None while nothing is offered."""
        if not self._choices:
            return None

        x, y = self.across.currentData(), self.upward.currentData()
        held = {name for name in self._at if name not in (x, y) and self._free(name)}
        at = {name: value for name, value in self._at.items() if name in held}
        return Ask(x, y, at, self.integral.currentData(), self.connected.isChecked())

    def set_at(self, name: str, value: float) -> None:
        """Let an input stand somewhere else."""
        choice = self._choices[name]
        self._at[name] = min(max(value, choice.low), choice.high)
        field = self._fields.get(name)
        if field is not None:
            _put(field[1], self._at[name])

    def set_axes(self, x: str, y: str) -> None:
        """Run other inputs along the axes."""
        names = list(self._choices)
        self.across.setCurrentIndex(names.index(x))
        self.upward.setCurrentIndex(names.index(y))
        self._make_fields()
        self._changed()

    # -- fields ----------------------------------------------------------------------------------

    def _free(self, name: str) -> bool:
        """Whether an input stands still: the two ways to state slip exclude each other."""
        axes = (self.across.currentData(), self.upward.currentData())
        if name == "axle_speed_difference":
            return False
        return not (name == "front_slip" and "axle_speed_difference" in axes)

    def _make_fields(self) -> None:
        for label, widget in self._fields.values():
            for part in (label, widget):
                self._grid.removeWidget(part)
                part.hide()
                part.deleteLater()
        self._fields = {}
        axes = (self.across.currentData(), self.upward.currentData())
        row = self._fixed_rows
        before: QWidget = self.connected
        for name, choice in self._choices.items():
            if name in axes or not self._free(name):
                continue
            label = PlainLabel(choice.label)
            label.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
            widget = self._field(choice)
            label.setBuddy(widget)
            self._grid.addWidget(label, row, 0)
            self._grid.addWidget(widget, row, 1)
            label.show()  # the layout leaves out what is still hidden
            widget.show()
            self._fields[name] = (label, widget)
            QWidget.setTabOrder(before, widget)
            before, row = widget, row + 1
        self._fit_width()

    def _fit_width(self) -> None:
        """Be as wide as labels and fields need: nothing here is cut off."""
        bar = self.verticalScrollBar().sizeHint().width()
        self.setFixedWidth(self._body.minimumSizeHint().width() + bar + 2)

    def changeEvent(self, event: QEvent) -> None:
        """Give labels the width that another font needs."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange and hasattr(self, "_body"):
            self._fit_width()

    def _field(self, choice: Choice) -> QWidget:
        unit = shown(choice.unit)
        name = f"{choice.label}, {unit}" if unit else choice.label
        if choice.states:
            box = QuietCombo()
            words = _STATE_WORDS.get(choice.name, ())
            for number, state in enumerate(choice.states):
                text = words[number] if number < len(words) else short(state)
                box.addItem(text, state)
            box.setCurrentIndex(_index(choice, self._at[choice.name]))
            box.setAccessibleName(name)
            box.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
            box.setMinimumContentsLength(5)
            box.setSizeAdjustPolicy(
                QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
            )
            box.activated.connect(
                lambda _number, box=box: self._on_value(choice.name, box.currentData())
            )
            return box
        spin = QuietSpin()
        span = choice.high - choice.low
        spin.setDecimals(0 if span >= 100 else 1)
        spin.setRange(choice.low, choice.high)
        spin.setSingleStep(_step(span))
        spin.setValue(self._at[choice.name])
        spin.setSuffix(f" {unit}" if unit else "")
        spin.setAccessibleName(name)
        spin.setToolTip(
            plain_tip(
                f"The tables read {choice.label[:1].lower()}{choice.label[1:]} from "
                f"{short(choice.low)} to {short(choice.high)} {unit}."
            )
        )
        spin.valueChanged.connect(lambda value: self._on_value(choice.name, value))
        return spin

    def _on_value(self, name: str, value: float) -> None:
        self._at[name] = float(value)
        self._changed()

    def _on_axis(self, box: QuietCombo) -> None:
        if box is self.integral:
            self._changed()
            return
        other = self.upward if box is self.across else self.across
        if other.currentIndex() == box.currentIndex():
            # The same input twice: the other axis takes the first one that is free.
            free = [n for n in range(other.count()) if n != box.currentIndex()]
            other.setCurrentIndex(free[0])
        self._make_fields()
        self._changed()

    def _changed(self) -> None:
        if not self._quiet:
            self.asked.emit()


def _alike(a: Choice, b: Choice) -> bool:
    return (a.low, a.high, a.states) == (b.low, b.high, b.states)


def _index(choice: Choice, value: float) -> int:
    return min(range(len(choice.states)), key=lambda n: abs(choice.states[n] - value))


def _step(span: float) -> float:
    for step in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0):
        if span / step <= 40:
            return step
    return 500.0


def _put(widget: QWidget, value: float) -> None:
    if isinstance(widget, QuietSpin):
        widget.setValue(value)
    elif isinstance(widget, QuietCombo):
        widget.setCurrentIndex(widget.findData(value))
