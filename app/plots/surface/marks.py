"""What is painted over the surface: numbers and titles of the axes, marks at nodes."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QTransform

from app.colours import Inks, pen
from app.plots.surface.rulers import Layout, Measure
from app.plots.symbols import symbol
from calib_model.core.arrays import BoolArray, FloatArray


@dataclass
class Mark:
    """A mark at a place on the screen.

    Parameters
    ----------
    kind : str
        See `symbols.symbol`; ``ring`` for the cross-hair's node.
    x, y : float
    colour : QColor
    hidden : bool
        Behind the surface: drawn hollow.
    size : float
    """

    kind: str
    x: float
    y: float
    colour: QColor
    hidden: bool = False
    size: float = 12.0


@dataclass
class Picture:
    """Everything that is painted, ready for the painter."""

    layout: Layout = field(default_factory=lambda: Layout(np.zeros((0, 2, 2)), []))
    marks: list[Mark] = field(default_factory=list)
    way: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
    """The way of the operating point on the screen, shape (n, 2); NaN leaves a gap."""


def small(font: QFont) -> QFont:
    """Return the font of numbers, as the other plots have it."""
    made = QFont(font)
    made.setPointSizeF(max(font.pointSizeF() * 0.9, 7.0))
    return made


def measure_in(font: QFont) -> Measure:
    """Return a function that tells the size of a text in a font."""
    metrics = QFontMetricsF(small(font))
    height = metrics.height()

    @cache
    def measure(text: str) -> tuple[float, float]:
        return metrics.horizontalAdvance(text), height

    return measure


def paint(painter: QPainter, picture: Picture, inks: Inks, font: QFont) -> None:
    """Paint numbers, titles and marks."""
    painter.setFont(small(font))
    painter.setPen(pen(inks.quiet))
    for (x0, y0), (x1, y1) in picture.layout.ticks.tolist():
        painter.drawLine(QPointF(x0, y0), QPointF(x1, y1))
    painter.setPen(inks.line)
    for text in picture.layout.texts:
        painter.save()
        painter.translate(text.x, text.y)
        painter.rotate(text.angle)
        room = QRectF(-text.width / 2 - 4, -text.height / 2, text.width + 8, text.height)
        painter.drawText(room, Qt.AlignmentFlag.AlignCenter, text.text)
        painter.restore()
    _paint_way(painter, picture.way, inks)
    for mark in picture.marks:
        _paint_mark(painter, mark, inks)


def _paint_way(painter: QPainter, way: FloatArray, inks: Inks) -> None:
    painter.setBrush(Qt.BrushStyle.NoBrush)
    known: BoolArray = np.asarray(np.isfinite(way).all(axis=1))
    for stroke in (pen(inks.ground, 5.0), pen(inks.accent, 2.0)):
        painter.setPen(stroke)
        for start, end, drawn in zip(way[:-1], way[1:], known[:-1] & known[1:], strict=True):
            if drawn:
                painter.drawLine(QPointF(*start), QPointF(*end))


def _paint_mark(painter: QPainter, mark: Mark, inks: Inks) -> None:
    if mark.kind == "ring":
        _ring(painter, mark, inks)
        return
    place = QTransform.fromTranslate(mark.x, mark.y).scale(mark.size, mark.size)
    path = place.map(symbol(mark.kind))
    open_shape = mark.kind in ("empty", "half", "head")
    # A rim in the ground's colour keeps the mark apart from the surface's colours.
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(pen(inks.ground, 4.0))
    painter.drawPath(path)
    painter.setPen(pen(mark.colour, 1.8))
    filled = not (mark.hidden or open_shape)
    painter.setBrush(mark.colour if filled else Qt.BrushStyle.NoBrush)
    painter.drawPath(path)


def _ring(painter: QPainter, mark: Mark, inks: Inks) -> None:
    painter.setBrush(Qt.BrushStyle.NoBrush)
    at, radius = QPointF(mark.x, mark.y), mark.size / 2
    style = Qt.PenStyle.DotLine if mark.hidden else Qt.PenStyle.SolidLine
    painter.setPen(pen(inks.ground, 5.0))
    painter.drawEllipse(at, radius, radius)
    painter.setPen(pen(mark.colour, 2.4, style))
    painter.drawEllipse(at, radius, radius)


def marks_at(
    kind: str, seen: FloatArray, hidden: np.ndarray, colour: QColor, size: float = 12.0
) -> list[Mark]:
    """Return marks of one kind.

    Parameters
    ----------
    kind : str
    seen : float array, shape (n, 3)
        Places on the screen.
    hidden : bool array, shape (n,)
    colour : QColor
    size : float
    """
    return [
        Mark(kind, x, y, colour, bool(h), size)
        for (x, y, _), h in zip(seen.tolist(), hidden.tolist(), strict=True)
    ]
