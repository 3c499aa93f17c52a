"""Draws a row of the summary: state, name, extent, size of the difference, breaches."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRect, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPalette
from PySide6.QtWidgets import QStyledItemDelegate, QStyleOptionViewItem

from app.look.palettes import tones_of
from app.look.rows import row_focus, row_ground
from app.look.type import sized, strong
from app.severity import paint_severity, severity_colour

from .rows import ComparedRows
from .words import SIGNS, in_short

Index = QModelIndex | QPersistentModelIndex
_PAD = 7
_EDGE = 22
"""Room for the sign of the state."""


class ComparedRowDelegate(QStyledItemDelegate):
    """Delegate of the summary."""

    def height(self, metrics: QFontMetrics) -> int:
        """Return the height of every row: two lines of text."""
        return 2 * metrics.height() + 10

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Draw one row."""
        model = index.model()
        assert isinstance(model, ComparedRows)
        pair = model.pair_at(index.row())
        if pair is None:
            return
        painter.save()
        palette, rect = option.palette, option.rect
        row_ground(painter, option)
        metrics = option.fontMetrics
        line = metrics.height()
        top = rect.top() + (rect.height() - 2 * line) // 2
        painter.setFont(strong(option.font))
        edge = QRect(rect.left() + 2, top, _EDGE - 2, line)
        painter.drawText(edge, Qt.AlignmentFlag.AlignCenter, SIGNS[pair.state])
        size, more = model.size_words(pair)
        small = sized(option.font, "small")
        right = rect.right() - _PAD
        left = rect.left() + _EDGE + 2
        painter.setFont(option.font)
        upper = self._write_right(painter, size, right, top, line)
        if pair.breaches:
            mark = max(9, line - 6)
            place = QRectF(upper - mark - 5, top + (line - mark) / 2, mark, mark)
            worst = str(pair.breaches[0].severity)
            colour = severity_colour(worst, palette.color(QPalette.ColorRole.Base))
            waived = all(b.waived for b in pair.breaches)
            paint_severity(painter, place, "note" if waived else worst, colour)
            upper = int(place.left()) - 4
        room = upper - 6 - left
        name = metrics.elidedText(pair.table.label, Qt.TextElideMode.ElideMiddle, room)
        painter.drawText(QRect(left, top, room, line), Qt.AlignmentFlag.AlignVCenter, name)
        painter.setFont(small)
        painter.setPen(QColor(tones_of(palette).second))
        lower = self._write_right(painter, more, right, top + line, line)
        detail = in_short(pair)
        room = lower - 6 - left
        detail = painter.fontMetrics().elidedText(detail, Qt.TextElideMode.ElideRight, room)
        painter.drawText(QRect(left, top + line, room, line), Qt.AlignmentFlag.AlignVCenter, detail)
        row_focus(painter, option)
        painter.restore()

    @staticmethod
    def _write_right(painter: QPainter, text: str, right: int, top: int, line: int) -> int:
        """Write a text that ends at the right edge; return where it begins."""
        if not text:
            return right
        width = painter.fontMetrics().horizontalAdvance(text)
        place = QRect(right - width, top, width + 2, line)
        painter.drawText(place, Qt.AlignmentFlag.AlignVCenter, text)
        return right - width
