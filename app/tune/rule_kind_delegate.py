"""A kind of rule in the list to choose from: its picture, its name, what it asks for."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRect, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPalette
from PySide6.QtWidgets import QApplication, QStyledItemDelegate, QStyleOptionViewItem

from app.look.palettes import tones_of
from app.look.rows import row_focus, row_ground
from app.look.tokens import NEAR
from app.look.type import sized, strong
from app.tune.rule_pictures import paint_picture
from calib_model.rules.kinds import kind

KIND = Qt.ItemDataRole.UserRole
PICTURE = QSize(72, 48)
WIDTH = 420
"""Of the list, of which the explanation takes what the picture leaves."""


class RuleKindDelegate(QStyledItemDelegate):
    """Paints a kind on a row of its own height."""

    def sizeHint(
        self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> QSize:
        """Return room for the picture, or for a name and two lines."""
        lines = QApplication.fontMetrics().lineSpacing() * 3
        return QSize(WIDTH, max(PICTURE.height(), lines) + NEAR)

    def paint(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        index: QModelIndex | QPersistentModelIndex,
    ) -> None:
        """Draw one row."""
        row_ground(painter, option)
        rect: QRect = option.rect.adjusted(NEAR, NEAR // 2, -NEAR, -NEAR // 2)
        palette: QPalette = option.palette
        of = kind(index.data(KIND))
        painter.save()
        if of.picture is not None:
            place = QRect(rect.topLeft(), PICTURE)
            place.moveTop(rect.center().y() - PICTURE.height() // 2)
            paint_picture(painter, place, of.picture, palette)
        text = rect.adjusted(PICTURE.width() + NEAR, 0, 0, 0)
        painter.setFont(strong(QApplication.font()))
        painter.setPen(palette.text().color())
        line = painter.fontMetrics().lineSpacing()
        painter.drawText(text, Qt.AlignmentFlag.AlignTop, of.label)
        painter.setFont(sized(QApplication.font(), "small"))
        painter.setPen(QColor(tones_of(palette).second))
        flags = int(Qt.AlignmentFlag.AlignTop) | int(Qt.TextFlag.TextWordWrap)
        painter.setClipRect(text)
        painter.drawText(text.adjusted(0, line, 0, 0), flags, first_sentence(of.explained))
        painter.restore()
        row_focus(painter, option)


def first_sentence(text: str) -> str:
    """Return what comes before the first full stop, with it."""
    head, stop, _ = text.partition(". ")
    return f"{head}." if stop else head
