"""The chip of an open set: its letter in a rounded square of its colour, the same everywhere."""

from __future__ import annotations

from functools import lru_cache

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtGui import (
    QFont,
    QGuiApplication,
    QIcon,
    QIconEngine,
    QPainter,
    QPaintEvent,
    QPalette,
    QPixmap,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from .brush import box, colour
from .palettes import tones_of
from .tokens import STRONG

EDGE = 18
"""Edge of a chip in pixels."""


def letter_of(number: int) -> str:
    """Return the letter of the set with a number: A, B, ... Z, A2, B2, ..."""
    turn, place = divmod(number, 26)
    return f"{chr(ord('A') + place)}{turn + 1 if turn else ''}"


def paint_chip(painter: QPainter, rect: QRect, number: int, palette: QPalette) -> None:
    """Paint the chip of the set with a number into a square."""
    own, letter = tones_of(palette), letter_of(number)
    box(painter, rect, own.sets[number % len(own.sets)], radius=rect.height() * 0.22)
    painter.save()
    font = QFont(QGuiApplication.font())
    font.setPixelSize(max(round(rect.height() * (0.66 if len(letter) == 1 else 0.5)), 6))
    font.setWeight(QFont.Weight(STRONG))
    painter.setFont(font)
    painter.setPen(colour(own.on_set))
    painter.drawText(rect, int(Qt.AlignmentFlag.AlignCenter), letter)
    painter.restore()


class _ChipEngine(QIconEngine):
    def __init__(self, number: int) -> None:
        super().__init__()
        self._number = number

    def paint(self, painter: QPainter, rect: QRect, mode: QIcon.Mode, state: QIcon.State) -> None:
        """Draw the chip."""
        paint_chip(painter, rect, self._number, QGuiApplication.palette())

    def pixmap(self, size: QSize, mode: QIcon.Mode, state: QIcon.State) -> QPixmap:
        """Return the chip as a picture."""
        made = QPixmap(size)
        made.fill(Qt.GlobalColor.transparent)
        painter = QPainter(made)
        self.paint(painter, QRect(0, 0, size.width(), size.height()), mode, state)
        painter.end()
        return made

    def clone(self) -> QIconEngine:
        """Return another of the same."""
        made = _ChipEngine(self._number)
        _KEPT.append(made)
        return made


_KEPT: list[QIconEngine] = []


@lru_cache(maxsize=64)
def chip_icon(number: int) -> QIcon:
    """Return the chip of the set with a number as an icon, for lists and choices."""
    engine = _ChipEngine(number)
    _KEPT.append(engine)
    return QIcon(engine)


class Chip(QWidget):
    """A chip beside a set's name; takes no room while it shows none."""

    def __init__(self, number: int = -1, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.number = -1
        self.show_set(number)

    def show_set(self, number: int) -> None:
        """Show the set with a number; -1 for none."""
        self.number = number
        self.setAccessibleName(f"Set {letter_of(number)}" if number >= 0 else "")
        self.setVisible(number >= 0)
        self.update()

    def sizeHint(self) -> QSize:
        """Return the size of the square."""
        return QSize(EDGE, EDGE)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the chip."""
        if self.number >= 0:
            paint_chip(QPainter(self), self.rect(), self.number, self.palette())
