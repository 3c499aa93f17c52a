"""The items that a line plot is drawn with, from the quiet ones behind to the marks in front."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import Qt

from app.colours import Inks, pen
from app.plots.symbols import symbol

if TYPE_CHECKING:
    from app.plots.canvas import Canvas


class LineItems:
    """Lines and marks of one canvas."""

    def __init__(self, canvas: Canvas) -> None:
        import pyqtgraph as pg

        from app.plots.canvas import Line, Marks

        self.raster = canvas.add(Line("pairs"), 0)
        self.low = canvas.add(pg.InfiniteLine(angle=0), 1)
        self.high = canvas.add(pg.InfiniteLine(angle=0), 1)
        self.others = canvas.add(Line(), 2)
        self.upright = canvas.add(pg.InfiniteLine(angle=90), 3)
        self.level = canvas.add(pg.InfiniteLine(angle=0), 3)
        self.reference = canvas.add(Line(), 4)
        self.saved = canvas.add(Line(), 5)
        self.proposed = canvas.add(Line(), 8)
        self.outer = canvas.add(Line(), 6)
        self.inner = canvas.add(Line(), 7)
        self.points = canvas.add(Marks(symbol("point"), 9), 8)
        self.locked = canvas.add(Marks(symbol("locked"), 13), 9)
        self.chosen = canvas.add(Marks(symbol("point"), 12), 10)
        self.empty = canvas.add(Marks(symbol("empty"), 10), 10)
        self.findings = {
            kind: canvas.add(Marks(symbol(kind), 24), 11) for kind in ("note", "warning", "error")
        }
        for line in (self.low, self.high, self.upright, self.level):
            line.setAcceptedMouseButtons(Qt.MouseButton.NoButton)
        # Outside the area, the antialiased raster would only cost time.
        self.raster.opts["antialias"] = False

    def set_inks(self, inks: Inks) -> None:
        """Take over colours."""
        self.raster.setPen(pen(inks.faint, 1.0, Qt.PenStyle.DotLine))
        for line in (self.low, self.high):
            line.setPen(pen(inks.faint, 2.5))
        self.others.setPen(pen(inks.faint))
        for line in (self.upright, self.level):
            line.setPen(pen(inks.accent, 1.0, Qt.PenStyle.DotLine))
        self.reference.setPen(pen(inks.quiet, 2.0, Qt.PenStyle.DotLine))
        self.saved.setPen(pen(inks.quiet, 1.5, Qt.PenStyle.DashLine))
        self.proposed.setPen(pen(inks.accent, 2.5, Qt.PenStyle.DashLine))
        self.outer.setPen(pen(inks.line, 1.0, Qt.PenStyle.DashDotLine))
        self.inner.setPen(pen(inks.line, 2.0))
        self.points.setPen(pen(inks.line, 1.5))
        self.points.setBrush(inks.ground)
        self.locked.setPen(pen(inks.line, 1.2))
        self.locked.setBrush(inks.line)
        self.chosen.setPen(pen(inks.line, 1.5))
        self.chosen.setBrush(inks.accent)
        self.empty.setPen(pen(inks.error, 2.0))
        for kind, item in self.findings.items():
            item.setPen(pen(inks.of(kind), 2.0))
            item.setBrush(None)

    def limits(self, low: float, high: float) -> None:
        """Put the limits' lines."""
        for line, value in ((self.low, low), (self.high, high)):
            line.setVisible(bool(np.isfinite(value)))
            if np.isfinite(value):
                line.setValue(value)

    def cross(self, x: float, y: float) -> None:
        """Put the cross-hair."""
        self.upright.setValue(x)
        self.level.setValue(y)
