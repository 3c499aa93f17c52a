"""The window's style: Fusion, with check boxes that are seen on a dark ground too."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QPainter, QPalette, QPen
from PySide6.QtWidgets import QProxyStyle, QStyle, QStyleOption, QWidget

_BOXES = (
    QStyle.PrimitiveElement.PE_IndicatorCheckBox,
    QStyle.PrimitiveElement.PE_IndicatorItemViewItemCheck,
)


class OutlinedBoxes(QProxyStyle):
    """Fusion outlines a box darker than the window, which is lost on a dark one."""

    def __init__(self) -> None:
        super().__init__("Fusion")

    def drawPrimitive(
        self,
        element: QStyle.PrimitiveElement,
        option: QStyleOption,
        painter: QPainter,
        widget: QWidget | None = None,
    ) -> None:
        """Draw the outline of a box in the colour of its text, weaker."""
        super().drawPrimitive(element, option, painter, widget)
        if element not in _BOXES:
            return
        colour = option.palette.color(QPalette.ColorRole.Text)
        colour.setAlphaF(0.6)
        painter.save()
        painter.setPen(QPen(colour, 1))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(option.rect.adjusted(0, 0, -1, -1))
        painter.restore()
