"""Draws a line: its mark and kind, the table, the sentence, the remedy."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QPointF, QRect, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetrics, QPainter, QPalette, QPen
from PySide6.QtWidgets import QStyledItemDelegate, QStyleOptionViewItem

from app.line_rows import LINE, Line
from app.look.palettes import tones_of
from app.look.rows import row_focus, row_ground
from app.look.type import strong
from app.severity import paint_severity, severity_colour

Index = QModelIndex | QPersistentModelIndex
_PAD = 8
_MARK = 12
_ELIDE = Qt.TextElideMode.ElideRight


class LineDelegate(QStyledItemDelegate):
    """Three lines of text at one height, so that thousands of rows need no layout."""

    def height(self, metrics: QFontMetrics) -> int:
        """Return the height of every row."""
        return 3 * metrics.height() + 2 * _PAD - 4

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Draw one row."""
        line = index.data(LINE)
        if not isinstance(line, Line):
            return
        painter.save()
        palette, rect = option.palette, option.rect
        row_ground(painter, option)
        colour = painter.pen().color()
        tall = option.fontMetrics.height()
        top, left = rect.top() + _PAD - 2, rect.left() + 2 * _PAD + _MARK
        place = QRectF(rect.left() + _PAD, top + (tall - _MARK) / 2, _MARK, _MARK)
        paint_mark(painter, place, line.mark, palette)
        room = rect.right() - _PAD - left
        bold = strong(option.font)
        painter.setPen(colour)
        width = self._write(painter, option.font, line.kind, left, top, room, tall)
        if line.title:
            gap = left + width + 2 * _PAD
            self._write(painter, bold, line.title, gap, top, rect.right() - _PAD - gap, tall)
        self._write(painter, option.font, line.text, left, top + tall, room, tall)
        painter.setPen(QColor(tones_of(palette).second))
        more = line.more.replace("\n", "  |  ")
        self._write(painter, option.font, more, left, top + 2 * tall, room, tall)
        painter.setPen(palette.color(QPalette.ColorRole.Mid))
        painter.drawLine(rect.bottomLeft(), rect.bottomRight())
        row_focus(painter, option)
        painter.restore()

    @staticmethod
    def _write(
        painter: QPainter, font: QFont, text: str, left: int, top: int, room: int, tall: int
    ) -> int:
        """Write a text, elided to the room there is; return its width."""
        painter.setFont(font)
        metrics = QFontMetrics(font)
        shown = metrics.elidedText(text, _ELIDE, max(room, 0))
        painter.drawText(QRect(left, top, max(room, 0), tall), Qt.AlignmentFlag.AlignVCenter, shown)
        return metrics.horizontalAdvance(shown)


def paint_mark(painter: QPainter, place: QRectF, mark: str, palette: QPalette) -> None:
    """Paint the mark of a line: a severity, a tick for what is done, nothing for no mark."""
    if not mark:
        return
    if mark != "done":
        base = palette.color(QPalette.ColorRole.Base)
        paint_severity(painter, place, mark, severity_colour(mark, base))
        return
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(QColor(tones_of(palette).text), 2))
    middle, low = place.center(), place.bottom() - 1
    painter.drawLine(QPointF(place.left(), middle.y()), QPointF(middle.x() - 1, low))
    painter.drawLine(QPointF(middle.x() - 1, low), QPointF(place.right(), place.top() + 1))
    painter.restore()
