"""A scalar in a sentence, with a bar that shows where it lies between its limits."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetrics, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.colours import inks, pen
from app.plots import words
from app.plots.geometry import on_axes_of
from calib_model.core.numbers import short
from calib_model.core.table import Table


class ScalarBar(QWidget):
    """One value between its limits, with the saved and the reference value beside it."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._table: Table | None = None
        self._others: list[tuple[str, float, Qt.PenStyle]] = []
        self.text = ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_values(self, table: Table, saved: Table | None, reference: Table | None) -> None:
        """Show a scalar; None leaves a mark out.

        Parameters
        ----------
        table, saved, reference : Table, or None for the last two
        """
        self._table = table
        self._others = []
        now = float(table.values)
        parts = []
        for name, other, style in (
            ("as saved", saved, Qt.PenStyle.DashLine),
            ("reference", reference, Qt.PenStyle.DotLine),
        ):
            values = on_axes_of(table, other) if other is not None else None
            if values is not None and np.isfinite(values) and float(values) != now:
                self._others.append((name, float(values), style))
                parts.append(f"{name} {table.said(float(values), 9)}")
        if np.isnan(now):
            said = f"{table.label} is empty."
        else:
            said = f"{table.label} is {table.said(now, 9)}."
        limits = words.limits(table)
        beside = [p for p in (limits, *parts) if p]
        if beside:
            tail = "; ".join(beside)
            said = f"{said} {tail[0].upper()}{tail[1:]}."
        self.text = said
        self.setAccessibleName(said)
        self.update()

    def sizeHint(self) -> QSize:
        """Room for the sentence and the bar."""
        return QSize(200, 7 * QFontMetrics(self.font()).height())

    def scale(self) -> tuple[float, float]:
        """Return what the bar's ends stand for."""
        table = self._table
        if table is None:
            return 0.0, 1.0
        low, high = table.lower, table.upper
        values = [v for v in (float(table.values), *(o[1] for o in self._others)) if v == v]
        if not np.isfinite(low):
            low = min([0.0, *values])
        if not np.isfinite(high):
            high = max([*values, low]) * 1.2
        low, high = min([low, *values]), max([high, *values])
        return (low, high) if high > low else (low - 0.5, low + 0.5)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the sentence, the bar and its marks."""
        table = self._table
        if table is None:
            return
        ink = inks(self.palette())
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        line = painter.fontMetrics().height()
        text = self.palette().windowText().color()
        painter.setPen(text)
        side = 24.0
        room = QRectF(side, 6, self.width() - 2 * side, line * 3.2)
        painter.drawText(room, Qt.AlignmentFlag.AlignHCenter | Qt.TextFlag.TextWordWrap, self.text)
        low, high = self.scale()
        bar = QRectF(side, room.bottom() + line * 1.4, self.width() - 2 * side, 10)

        def place(value: float) -> float:
            return bar.left() + (value - low) / (high - low) * bar.width()

        painter.setPen(pen(ink.quiet))
        painter.setBrush(ink.ground)
        painter.drawRoundedRect(bar, 3, 3)
        below = QRectF(bar.left(), bar.bottom() + 6, bar.width(), line)
        painter.setPen(text)
        painter.drawText(below, Qt.AlignmentFlag.AlignLeft, short(low))
        painter.drawText(below, Qt.AlignmentFlag.AlignRight, short(high))
        for row, (name, value, style) in enumerate(self._others, 1):
            x = place(value)
            painter.setPen(pen(ink.line, 2.0, style))
            painter.drawLine(QPointF(x, bar.top() - 6), QPointF(x, bar.bottom() + 6))
            self._label(painter, x, below.top() + (row - 1) * line, line, name)
        now = float(table.values)
        if now == now:
            x = place(now)
            painter.setPen(pen(ink.line, 1.5))
            painter.setBrush(ink.accent)
            painter.drawPolygon(
                [
                    QPointF(x, bar.top()),
                    QPointF(x - 7, bar.top() - 11),
                    QPointF(x + 7, bar.top() - 11),
                ]
            )
            painter.drawLine(QPointF(x, bar.top()), QPointF(x, bar.bottom()))

    def _label(self, painter: QPainter, x: float, top: float, line: float, name: str) -> None:
        width = painter.fontMetrics().horizontalAdvance(name) + 4
        left = min(max(x - width / 2, 40.0), self.width() - width - 40.0)
        painter.drawText(QRectF(left, top + line, width, line), Qt.AlignmentFlag.AlignCenter, name)
