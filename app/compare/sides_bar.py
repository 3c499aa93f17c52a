"""Says which two are compared and how, in a line; offers an earlier state."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QToolButton, QVBoxLayout, QWidget

from app.desk import Desk
from app.look.chip import Chip
from app.look.parts import ShortLabel, TextLabel
from app.look.tokens import NEAR, TIGHT

from .service import Comparing
from .sides import Side


class SidesBar(QWidget):
    """The summary in words; and an earlier state, where one stands in the reference's place.

    Which two sets are compared is chosen and said at the top of the window, for all pages. Only an
    earlier state is chosen here.

    Signals
    -------
    earlier_wanted
        An earlier state of the set being edited is to be chosen.
    result_wanted : bool
        The resulting torque is to be shown, or the tables.
    """

    earlier_wanted = Signal()
    result_wanted = Signal(bool)

    def __init__(self, desk: Desk, comparing: Comparing, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk, self._comparing = desk, comparing
        self.chips = Chip(), Chip()
        self.names = ShortLabel(), ShortLabel()
        self.earlier = self._button("Earlier state…")
        self.earlier.setToolTip("Compares the edited set with a state from its own history.")
        self.earlier.clicked.connect(lambda _checked=False: self.earlier_wanted.emit())
        self.back = self._button("Back to the reference")
        self.back.setToolTip("Compares with the reference set again.")
        self.back.clicked.connect(lambda _checked=False: comparing.back())
        self.result = self._button("Resulting torque")
        self.result.setToolTip("Shows what all tables of each set command together (Ctrl+F12).")
        self.result.setCheckable(True)
        self.result.toggled.connect(self.result_wanted)
        self.words = ShortLabel("", "small", second=True)
        self.pair = QWidget()
        row = QHBoxLayout(self.pair)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(NEAR)
        for number, before in ((1, ""), (0, "compared with")):
            if before:
                row.addWidget(TextLabel(before, second=True))
            row.addWidget(self.chips[number])
            row.addWidget(self.names[number], 1)
        row.addWidget(self.back)
        below = QHBoxLayout()
        below.setSpacing(NEAR)
        below.addWidget(self.words, 1)
        below.addWidget(self.earlier)
        below.addWidget(self.result)
        column = QVBoxLayout(self)
        column.setContentsMargins(NEAR, TIGHT, NEAR, TIGHT)
        column.setSpacing(TIGHT)
        column.addWidget(self.pair)
        column.addLayout(below)
        comparing.sides_changed.connect(self.refresh)
        desk.documents_changed.connect(self.refresh)
        self.refresh()

    def _button(self, text: str) -> QToolButton:
        button = QToolButton()
        button.setText(text)
        button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        return button

    def refresh(self) -> None:
        """Show which two are compared."""
        comparing = self._comparing
        sides = (comparing.first, comparing.second)
        for chip, label, side in zip(self.chips, self.names, sides, strict=True):
            self._say(chip, label, side)
        self.earlier.setEnabled(self._desk.current is not None)
        self.pair.setVisible(comparing.holds_earlier)  # else the top of the window says it
        self.back.setVisible(comparing.holds_earlier and self._desk.reference is not None)
        self.result.setEnabled(comparing.ready)
        self.setVisible(comparing.ready)

    def _say(self, chip: Chip, label: ShortLabel, side: Side | None) -> None:
        label.setText(side.name if side is not None else "")
        number = self._desk.number(side.document) if side is not None else -1
        chip.show_set(number)
