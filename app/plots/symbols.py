"""Marks as painter paths, one unit wide around the origin; shape tells what colour also tells."""

from __future__ import annotations

from functools import cache

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QPainterPath, QPolygonF


@cache
def symbol(kind: str) -> QPainterPath:
    """Return a mark.

    Parameters
    ----------
    kind : str
        ``error`` (triangle), ``warning`` (diamond), ``note`` (circle), ``locked`` (padlock),
        ``point`` (disc), ``box`` (square), ``empty`` (cross), ``plus``, ``minus``, ``up``,
        ``down`` (double chevrons), ``half``
        (half disc), ``beyond`` (arrow head), ``head`` (a disc with four ticks).
    """
    path = QPainterPath()
    match kind:
        case "error":
            path.addPolygon(_polygon((0, -0.5), (0.5, 0.4), (-0.5, 0.4)))
            path.closeSubpath()
        case "warning":
            path.addPolygon(_polygon((0, -0.5), (0.5, 0), (0, 0.5), (-0.5, 0)))
            path.closeSubpath()
        case "locked":
            path.addRect(QRectF(-0.35, -0.05, 0.7, 0.5))
            path.moveTo(-0.22, -0.05)
            path.lineTo(-0.22, -0.2)
            path.arcTo(QRectF(-0.22, -0.45, 0.44, 0.5), 180, -180)
            path.lineTo(0.22, -0.05)
        case "box":
            path.addRect(QRectF(-0.5, -0.5, 1, 1))
        case "empty":
            path.moveTo(-0.5, -0.5)
            path.lineTo(0.5, 0.5)
            path.moveTo(-0.5, 0.5)
            path.lineTo(0.5, -0.5)
        case "plus":
            path.moveTo(-0.5, 0)
            path.lineTo(0.5, 0)
            path.moveTo(0, -0.5)
            path.lineTo(0, 0.5)
        case "minus":
            path.moveTo(-0.5, 0)
            path.lineTo(0.5, 0)
        case "up" | "down":
            tip = -0.35 if kind == "up" else 0.35
            for shift in (-0.2, 0.2):
                path.moveTo(-0.5, -tip / 2 + shift)
                path.lineTo(0, tip / 2 + shift)
                path.lineTo(0.5, -tip / 2 + shift)
        case "half":
            path.moveTo(-0.5, 0.3)
            path.arcTo(QRectF(-0.5, -0.4, 1, 1.4), 180, -180)
            path.closeSubpath()
        case "beyond":
            path.addPolygon(_polygon((-0.3, -0.5), (0.4, 0), (-0.3, 0.5)))
            path.closeSubpath()
        case "head":
            path.addEllipse(QRectF(-0.32, -0.32, 0.64, 0.64))
            for x, y in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                path.moveTo(0.32 * x, 0.32 * y)
                path.lineTo(0.62 * x, 0.62 * y)
        case _:
            path.addEllipse(QRectF(-0.5, -0.5, 1, 1))
    return path


def _polygon(*points: tuple[float, float]) -> QPolygonF:
    return QPolygonF([QPointF(x, y) for x, y in points])
