"""The ground of a row in a list: plain, under the pointer, selected, with the keyboard."""

from __future__ import annotations

from PySide6.QtCore import QRect, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen
from PySide6.QtWidgets import QStyle, QStyleOptionViewItem

from .palettes import tones_of
from .tokens import RADIUS

BAR = 3
"""Width of the bar beside what is selected, in pixels."""


def row_ground(painter: QPainter, option: QStyleOptionViewItem, ground: str = "base") -> None:
    """Paint the ground of a row; selected rows have a tint and a bar in the accent.

    Parameters
    ----------
    painter : QPainter
        Its pen is that of body text afterwards.
    option : QStyleOptionViewItem
    ground : str
        Surface of a plain row: ``base``, ``panel`` or ``frame``.
    """
    own, rect, state = tones_of(option.palette), option.rect, option.state
    selected = bool(state & QStyle.StateFlag.State_Selected)
    hovered = bool(state & QStyle.StateFlag.State_MouseOver)
    fill = own.selection if selected else own.hover if hovered else getattr(own, ground)
    painter.fillRect(rect, QColor(fill))
    if selected:
        painter.fillRect(QRect(rect.left(), rect.top(), BAR, rect.height()), QColor(own.accent))
    painter.setPen(QColor(own.text))


def row_focus(painter: QPainter, option: QStyleOptionViewItem) -> None:
    """Paint the ring of the row that has the keyboard, if this one has it."""
    if not option.state & QStyle.StateFlag.State_HasFocus:
        return
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(QColor(tones_of(option.palette).accent), 1.5))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    box = QRectF(option.rect).adjusted(1.5, 1.5, -1.5, -1.5)
    painter.drawRoundedRect(box, RADIUS - 1, RADIUS - 1)
    painter.restore()
