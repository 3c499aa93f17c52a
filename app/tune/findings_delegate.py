"""Draws one finding: its mark, the table's name where several are listed, the sentence."""

from __future__ import annotations

import re

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetrics, QPainter, QPalette
from PySide6.QtWidgets import QListView, QStyledItemDelegate, QStyleOptionViewItem

from app.look.rows import row_focus, row_ground
from app.severity import paint_severity, severity_colour

from .findings_model import FINDING, SUBTITLE

Index = QModelIndex | QPersistentModelIndex
PAD = 7
MARK = 12
_WRAP = int(Qt.TextFlag.TextWordWrap)


class FindingsDelegate(QStyledItemDelegate):
    """Wraps sentences to the list's width."""

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        view = self.parent()
        width = view.viewport().width() if isinstance(view, QListView) else option.rect.width()
        height = PAD
        for text, metrics in self._texts(option, index):
            box = metrics.boundingRect(QRect(0, 0, self._room(width), 10_000), _WRAP, text)
            height += box.height() + 3
        return QSize(width, height + PAD)

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        finding = index.data(FINDING)
        if finding is None:
            return
        painter.save()
        palette = option.palette
        row_ground(painter, option)
        ink = painter.pen().color()
        colour = severity_colour(finding.severity, palette.color(QPalette.ColorRole.Base))
        top = option.rect.top() + PAD
        mark = QRectF(option.rect.left() + PAD, top + 2, MARK, MARK)
        paint_severity(painter, mark, finding.severity, colour)
        left = option.rect.left() + PAD + MARK + PAD
        painter.setPen(ink)
        for text, metrics in self._texts(option, index):
            box = QRect(left, top, self._room(option.rect.width()), 10_000)
            used = metrics.boundingRect(box, _WRAP, text)
            bold = option.font
            if text == index.data(SUBTITLE):
                bold.setBold(True)
            else:
                bold.setBold(False)
            painter.setFont(bold)
            painter.drawText(QRect(left, top, box.width(), used.height() + 2), _WRAP, text)
            top += used.height() + 3
        painter.setPen(palette.color(QPalette.ColorRole.Mid))
        painter.drawLine(option.rect.bottomLeft(), option.rect.bottomRight())
        row_focus(painter, option)
        painter.restore()

    @staticmethod
    def _room(width: int) -> int:
        return max(80, width - 3 * PAD - MARK)

    @staticmethod
    def _texts(option: QStyleOptionViewItem, index: Index) -> list[tuple[str, QFontMetrics]]:
        plain = QFontMetrics(option.font)
        texts = [(unbroken(str(index.data() or "")), plain)]
        subtitle = str(index.data(SUBTITLE) or "")
        if subtitle:
            bold = option.font
            bold.setBold(True)
            texts.insert(0, (subtitle, QFontMetrics(bold)))
        return texts


def unbroken(text: str) -> str:
    """Return a text in which a unit such as km/h is not torn apart at the end of a line."""
    return re.sub(r"(?<=\w)/(?=\w)", "\N{WORD JOINER}/\N{WORD JOINER}", text)
