"""The key of a plot in words, under it, so that it never covers a point and never is cut off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QPoint, QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFontMetrics,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QTransform,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.colours import pen
from app.plain import plain_tip
from app.plots.symbols import symbol

_LINE, _MARK = 24, 12
"""How wide the samples are."""


@dataclass(frozen=True)
class Entry:
    """One line of the key.

    Parameters
    ----------
    words : str
    colour : QColor
    style : Qt.PenStyle
        Of the sample line; ``NoPen`` for a mark.
    width : float
    mark : str
        A symbol's kind, see `symbols.symbol`; empty for a line.
    filled : bool
        Whether the mark is filled.
    part : str
        What of the drawing the entry switches on and off; empty for what is always drawn.
    """

    words: str
    colour: QColor
    style: Qt.PenStyle = Qt.PenStyle.SolidLine
    width: float = 1.5
    mark: str = ""
    filled: bool = False
    part: str = ""


class Legend(QWidget):
    """Samples with words, wrapped to the width; a click or Space takes a line out and back.

    Signals
    -------
    switched : str, bool
        A part of the drawing is to be shown, or not.
    """

    switched = Signal(str, bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.entries: tuple[Entry, ...] = ()
        self.off: frozenset[str] = frozenset()
        """Parts that are taken out of the drawing; their words are struck through."""
        self._at = 0
        self.setMouseTracking(True)
        policy = QSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.setAccessibleName("Key of the plot")

    def show_entries(self, entries: Sequence[Entry]) -> None:
        """Show other entries."""
        new = tuple(entries)
        if new == self.entries:
            return
        self.entries = new
        able = any(entry.part for entry in new)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus if able else Qt.FocusPolicy.NoFocus)
        self.setAccessibleDescription("; ".join(e.words for e in new))
        self._fit()
        self.update()

    def show_off(self, parts: frozenset[str]) -> None:
        """Strike through what is taken out of the drawing."""
        if parts != self.off:
            self.off = parts
            self.update()

    def _switch(self, number: int) -> None:
        part = self.entries[number].part if 0 <= number < len(self.entries) else ""
        if part:
            on = part in self.off
            self.show_off(self.off - {part} if on else self.off | {part})
            self.switched.emit(part, on)

    def _entry_at(self, place: QPoint) -> int:
        places = self._places(self.width())
        return next((n for n, rect in enumerate(places) if rect.contains(place)), -1)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take a line out of the drawing, or back."""
        number = self._entry_at(event.position().toPoint())
        if event.button() == Qt.MouseButton.LeftButton and number >= 0:
            self._at = number
            self._switch(number)
        else:
            super().mousePressEvent(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Show a hand and a tip over what can be switched."""
        number = self._entry_at(event.position().toPoint())
        can = number >= 0 and bool(self.entries[number].part)
        self.setCursor(Qt.CursorShape.PointingHandCursor if can else Qt.CursorShape.ArrowCursor)
        tip = "Click to take this line out of the plot, or back." if can else ""
        self.setToolTip(plain_tip(tip))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Left and Right go through the lines, Space switches one."""
        able = [n for n, entry in enumerate(self.entries) if entry.part]
        if not able or event.key() not in (Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Space):
            super().keyPressEvent(event)
            return
        at = able.index(self._at) if self._at in able else 0
        if event.key() == Qt.Key.Key_Space:
            self._switch(able[at])
        else:
            at = (at + (1 if event.key() == Qt.Key.Key_Right else -1)) % len(able)
        self._at = able[at]
        self.update()

    def sizeHint(self) -> QSize:
        """As tall as the words need at the present width."""
        return QSize(120, self.heightForWidth(self.width()))

    def hasHeightForWidth(self) -> bool:
        """Narrower means taller."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Return the height that the words need at a width."""
        places = self._places(width)
        return places[-1].bottom() + 3 if places else 0

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Wrap again."""
        super().resizeEvent(event)
        self._fit()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw samples and words."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        text = self.palette().windowText().color()
        metrics = painter.fontMetrics()
        able = [n for n, entry in enumerate(self.entries) if entry.part]
        ringed = (self._at if self._at in able else able[0]) if able and self.hasFocus() else -1
        font = painter.font()
        for number, (entry, place) in enumerate(
            zip(self.entries, self._places(self.width()), strict=True)
        ):
            gone = entry.part in self.off
            font.setStrikeOut(gone)
            painter.setFont(font)
            painter.setOpacity(0.6 if gone else 1.0)
            if number == ringed:
                painter.setPen(pen(self.palette().accent().color(), 1.5))
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.drawRect(place.adjusted(0, 0, -1, -1))
            middle = place.center().y() + 0.5
            sample = _sample(entry)
            if entry.mark:
                painter.setPen(pen(entry.colour, 1.6))
                painter.setBrush(entry.colour if entry.filled else Qt.BrushStyle.NoBrush)
                spot = QTransform.fromTranslate(place.left() + sample / 2, middle).scale(10, 10)
                painter.drawPath(spot.map(symbol(entry.mark)))
            else:
                painter.setPen(pen(entry.colour, entry.width, entry.style))
                painter.drawLine(
                    QPointF(place.left(), middle), QPointF(place.left() + sample, middle)
                )
            painter.setPen(text)
            room = QRectF(place.adjusted(sample + 4, 0, 0, 0))
            words = metrics.elidedText(
                entry.words, Qt.TextElideMode.ElideMiddle, int(room.width()) + 1
            )
            painter.drawText(
                room, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, words
            )

    def _fit(self) -> None:
        height = self.heightForWidth(self.width())
        if height != self.minimumHeight():
            self.setFixedHeight(height)

    def _places(self, width: int) -> list[QRect]:
        metrics = QFontMetrics(self.font())
        height, gap = metrics.height() + 1, 12
        x = y = 0
        places = []
        for entry in self.entries:
            need = _sample(entry) + 6 + metrics.horizontalAdvance(entry.words)
            if x and x + need > width:
                x, y = 0, y + height
            places.append(QRect(x, y, min(need, max(width, 60)), height))
            x += need + gap
        return places


def _sample(entry: Entry) -> int:
    return _MARK if entry.mark else _LINE
