"""How the weight of a finding is shown everywhere: by shape first, by colour besides.

An error is a triangle, a warning a diamond, a note a dot.
"""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF

from app.colours import contrast
from app.look.tokens import DARK, LIGHT

WORDS = {"error": "Error", "warning": "Warning", "note": "Note"}
_COLOURS = {kind: (QColor(getattr(LIGHT, kind)), QColor(getattr(DARK, kind))) for kind in WORDS}


def severity_colour(severity: str, background: QColor) -> QColor:
    """Return the colour of a severity that stands out on a background."""
    dark, light = _COLOURS[severity]
    return dark if contrast(dark, background) >= contrast(light, background) else light


def paint_severity(
    painter: QPainter, box: QRectF, severity: str, fill: QColor, outline: QColor | None = None
) -> None:
    """Paint the mark of a severity into a box, with an outline where the ground may be like it."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(outline if outline is not None else fill, 1))
    painter.setBrush(fill)
    middle = box.center()
    if severity == "error":
        corners = [QPointF(middle.x(), box.top()), box.bottomRight(), box.bottomLeft()]
        painter.drawPolygon(QPolygonF(corners))
    elif severity == "warning":
        corners = [
            QPointF(middle.x(), box.top()),
            QPointF(box.right(), middle.y()),
            QPointF(middle.x(), box.bottom()),
            QPointF(box.left(), middle.y()),
        ]
        painter.drawPolygon(QPolygonF(corners))
    else:
        inset = box.width() * 0.1
        painter.drawEllipse(box.adjusted(inset, inset, -inset, -inset))
    painter.restore()
