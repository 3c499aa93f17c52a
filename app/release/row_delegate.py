"""Draws a row of one line: its mark, the table, the sentence; or the heading of a group."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRect, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetrics, QPainter
from PySide6.QtWidgets import QStyle, QStyledItemDelegate, QStyleOptionViewItem, QTableView

from app.line_delegate import paint_mark
from app.line_rows import LINE, Heading, Line
from app.look.icons import icon
from app.look.palettes import tones_of
from app.look.rows import row_focus, row_ground
from app.look.tokens import APART, ICON, NEAR, TIGHT
from app.look.type import strong

Index = QModelIndex | QPersistentModelIndex
_MARK = 12
_TITLE = 0.38
"""Share of the room that titles have; the sentences begin below each other."""
FOLDER = NEAR + ICON + TIGHT
"""Width at the left of a heading that folds it with one click, in pixels."""


class RowDelegate(QStyledItemDelegate):
    """One line of text at one height, so that thousands of rows need no layout."""

    def height(self, metrics: QFontMetrics) -> int:
        """Return the height of every row."""
        return metrics.height() + APART

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Draw one row."""
        one = index.data(LINE)
        painter.save()
        if isinstance(one, Heading):
            self._heading(painter, option, one, index)
        elif isinstance(one, Line):
            self._line(painter, option, one)
        row_focus(painter, option)
        painter.restore()

    def _line(self, painter: QPainter, option: QStyleOptionViewItem, line: Line) -> None:
        row_ground(painter, option)
        rect, own = option.rect, tones_of(option.palette)
        left = rect.left() + NEAR
        if line.mark:
            mark = QRectF(left + 2, rect.center().y() - _MARK / 2 + 1, _MARK, _MARK)
            paint_mark(painter, mark, line.mark, option.palette)
            left += ICON + NEAR
        room = rect.right() - NEAR - left
        title = round(room * _TITLE) if line.title else 0
        painter.setPen(QColor(own.text))
        self._write(painter, option.font, line.title, QRect(left, rect.top(), title, rect.height()))
        start = left + title + (APART if title else 0)
        place = QRect(start, rect.top(), rect.right() - NEAR - start, rect.height())
        painter.setPen(QColor(own.second))
        self._write(painter, option.font, (line.short or line.text).partition("\n")[0], place)

    def _heading(
        self, painter: QPainter, option: QStyleOptionViewItem, head: Heading, index: Index
    ) -> None:
        view = option.widget
        if isinstance(view, QTableView) and view.currentIndex() == index:
            option = QStyleOptionViewItem(option)  # the cursor on it chooses all under it
            option.state |= QStyle.StateFlag.State_Selected
        row_ground(painter, option, "frame")
        rect, own = option.rect, tones_of(option.palette)
        square = QRect(rect.left() + NEAR, rect.center().y() - ICON // 2 + 1, ICON, ICON)
        icon("chevron-right" if head.folded else "chevron-down", "second").paint(painter, square)
        left = rect.left() + FOLDER + TIGHT
        bold = strong(option.font)
        painter.setPen(QColor(own.text))
        room = QRect(left, rect.top(), rect.right() - NEAR - left, rect.height())
        width = self._write(painter, bold, head.group, room)
        painter.setPen(QColor(own.second))
        self._write(painter, option.font, str(head.count), room.adjusted(width + NEAR, 0, 0, 0))

    @staticmethod
    def _write(painter: QPainter, font: QFont, text: str, room: QRect) -> int:
        """Write a text, cut to the room there is; return its width."""
        metrics = QFontMetrics(font)
        shown = metrics.elidedText(text, Qt.TextElideMode.ElideRight, max(room.width(), 0))
        painter.setFont(font)
        painter.drawText(room, Qt.AlignmentFlag.AlignVCenter, shown)
        return metrics.horizontalAdvance(shown)
