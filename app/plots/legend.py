"""The key of a plot in words, under it, so that it never covers a point and never is cut off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPaintEvent, QResizeEvent, QTransform
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.colours import pen
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
    """

    words: str
    colour: QColor
    style: Qt.PenStyle = Qt.PenStyle.SolidLine
    width: float = 1.5
    mark: str = ""
    filled: bool = False


class Legend(QWidget):
    """Samples with words, wrapped to the width."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.entries: tuple[Entry, ...] = ()
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
        self.setAccessibleDescription("; ".join(e.words for e in new))
        self._fit()
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
        for entry, place in zip(self.entries, self._places(self.width()), strict=True):
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
