"""How a finding's weight is painted: by shape first, by colour besides."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPalette, QPolygonF

# Filled triangle, filled square, ring: told apart without colour.
_LIGHT = {"error": "#b3261e", "warning": "#8a5a00", "note": "#3a5f8a", "sound": "#2f6b3a"}
_DARK = {"error": "#ff8a7a", "warning": "#f0bf5a", "note": "#9cc3f0", "sound": "#8fd19e"}
WORDS = {"error": "Error", "warning": "Warning", "note": "Note"}


def severity_colour(severity: str, palette: QPalette) -> QColor:
    """Return the colour of a severity on this palette's base."""
    dark = palette.color(QPalette.ColorRole.Base).lightnessF() < 0.5
    return QColor((_DARK if dark else _LIGHT)[severity])


def paint_severity(painter: QPainter, box: QRectF, severity: str, colour: QColor) -> None:
    """Paint the mark of a severity into a box."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    if severity == "error":
        top = QPointF(box.center().x(), box.top())
        painter.drawPolygon(QPolygonF([top, box.bottomRight(), box.bottomLeft()]))
    elif severity == "warning":
        inset = box.width() * 0.12
        painter.drawRect(box.adjusted(inset, inset, -inset, -inset))
    else:
        painter.setBrush(Qt.BrushStyle.NoBrush)
        pen = painter.pen()
        pen.setStyle(Qt.PenStyle.SolidLine)
        pen.setColor(colour)
        pen.setWidthF(max(1.5, box.width() * 0.18))
        painter.setPen(pen)
        inset = box.width() * 0.18
        painter.drawEllipse(box.adjusted(inset, inset, -inset, -inset))
    painter.restore()
