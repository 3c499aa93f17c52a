"""What every control is drawn with: colours, boxes with round corners, chevrons, ticks."""

from __future__ import annotations

from functools import lru_cache

from PySide6.QtCore import QPointF, QRect, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QPainter, QPen, QPolygonF

from .tokens import RADIUS


@lru_cache(maxsize=128)
def colour(token: str) -> QColor:
    """Return the colour of a token; nobody changes it."""
    return QColor(token)


def box(
    painter: QPainter,
    rect: QRect,
    fill: str,
    border: str = "",
    *,
    width: float = 1.0,
    radius: float = RADIUS,
) -> None:
    """Paint a box with round corners; no outline without a border, no ground without a fill."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setBrush(QBrush(colour(fill)) if fill else Qt.BrushStyle.NoBrush)
    inset = width / 2 if border else 0.0
    painter.setPen(QPen(colour(border), width) if border else Qt.PenStyle.NoPen)
    edge = QRectF(rect).adjusted(inset, inset, -inset, -inset)
    painter.drawRoundedRect(edge, radius, radius)
    painter.restore()


def polyline(painter: QPainter, token: str, points: list[QPointF], width: float = 1.5) -> None:
    """Paint an open line with round ends."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    pen = QPen(colour(token), width)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    painter.setPen(pen)
    painter.drawPolyline(QPolygonF(points))
    painter.restore()


_TURNS = {"down": (1, 0), "up": (-1, 0), "right": (0, 1), "left": (0, -1)}


def chevron(painter: QPainter, rect: QRect, token: str, way: str = "down", size: int = 4) -> None:
    """Paint a chevron into the middle of a rectangle."""
    middle = QRectF(rect).center()
    along, across = _TURNS[way]
    half = size / 2
    points: list[tuple[float, float]]
    if along:
        points = [(-size, -half * along), (0, half * along), (size, -half * along)]
    else:
        points = [(-half * across, -size), (half * across, 0), (-half * across, size)]
    polyline(painter, token, [middle + QPointF(x, y) for x, y in points])


def tick(painter: QPainter, rect: QRect, token: str) -> None:
    """Paint a tick that fills a small square."""
    square = QRectF(rect)
    share = square.width()
    at = square.topLeft()
    points = [(0.24, 0.52), (0.42, 0.70), (0.76, 0.32)]
    polyline(painter, token, [at + QPointF(x * share, y * share) for x, y in points], 1.8)
