"""The doubts of a table in words, each with the choices that settle it."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from app.look.parts import TextLabel
from app.look.tokens import NEAR, TIGHT
from app.severity import paint_severity, severity_colour
from calib_model.bringing.found import Doubt

from .offer import CONFIRM, EMPTY


class _Mark(QWidget):
    """The shape of a doubt: a triangle where nothing can be taken before it is settled."""

    def __init__(self, severity: str) -> None:
        super().__init__()
        self._severity = severity
        self.setFixedSize(QSize(12, 12))
        self.setAccessibleName("Must be settled" if severity == "error" else "Doubtful")

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw it."""
        painter = QPainter(self)
        tone = severity_colour(self._severity, self.palette().window().color())
        paint_severity(painter, QRectF(self.rect()).adjusted(1, 1, -1, -1), self._severity, tone)


def ways_of(doubt: Doubt) -> list[tuple[str, str]]:
    """Return what settles a doubt: words of a button, and what it chooses."""
    if doubt.about == "numbers":
        words = {",": "Decimal comma", ".": "Decimal point"}
        return [(words.get(mark, mark), mark) for mark in doubt.choices]
    if doubt.about == "cells":
        return [("Leave them empty", EMPTY)]
    if doubt.about.startswith("axis") and "sorted" in doubt.choices:
        return [("Sort it", "sorted"), ("As it stands", CONFIRM)]
    ways = [(choice, choice) for choice in doubt.choices[:3]]
    if not ways and not doubt.blocks:
        ways = [("Right as it is", CONFIRM)]
    return ways


class DoubtsPanel(QWidget):
    """Lists the doubts of a table.

    Signals
    -------
    settled : Doubt, str
        A doubt, and what was chosen to settle it.
    """

    settled = Signal(object, str)

    def __init__(self) -> None:
        super().__init__()
        self._shown: tuple[Doubt, ...] | None = None
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(TIGHT)
        self.buttons: list[QPushButton] = []

    def show_doubts(self, doubts: tuple[Doubt, ...]) -> None:
        """Show other doubts."""
        if doubts == self._shown:
            return
        self._shown = doubts
        self.buttons = []
        while self._column.count():
            item = self._column.takeAt(0)
            old = item.widget() if item is not None else None
            if old is not None:
                old.hide()
                old.deleteLater()
        for doubt in doubts:
            self._column.addWidget(self._line(doubt))
        self.setVisible(bool(doubts))

    def _line(self, doubt: Doubt) -> QWidget:
        line = QWidget()
        row = QHBoxLayout(line)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(NEAR)
        row.addWidget(_Mark("error" if doubt.blocks else "warning"), 0, Qt.AlignmentFlag.AlignTop)
        ways = ways_of(doubt)
        said = TextLabel(doubt.why if ways else f"{doubt.why} {doubt.remedy}".strip())
        said.setWordWrap(True)
        row.addWidget(said, 1)
        for text, choice in ways:
            button = QPushButton(text)
            button.setAutoDefault(False)
            button.setAccessibleDescription(doubt.why)
            button.clicked.connect(
                lambda _checked=False, doubt=doubt, choice=choice: self.settled.emit(doubt, choice)
            )
            self.buttons.append(button)
            row.addWidget(button, 0, Qt.AlignmentFlag.AlignTop)
        return line
