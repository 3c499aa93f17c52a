"""Draws how a measure spreads: a line per set, as shares below a value or counts per class.

This module imports pyqtgraph; import it late.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QPointF, Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.colours import Inks, inks, pen
from app.driving.spread import Spread, classes, outline, shares
from app.driving.verdict import limit_words, number
from app.plots.canvas import Canvas, Line
from app.plots.frame import OneLine
from app.plots.legend import Entry, Legend
from calib_model.core.units import shown

if TYPE_CHECKING:
    from calib_model.vehicle.metrics import Metric

STYLES = (
    Qt.PenStyle.SolidLine,
    Qt.PenStyle.DashLine,
    Qt.PenStyle.DotLine,
    Qt.PenStyle.DashDotLine,
)
"""One per set; more sets go through them again in a thinner pen."""


class SpreadPlot(QWidget):
    """Spreads of one measure."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.read_out = OneLine()
        self.canvas = Canvas()
        self.canvas.left.setWidth(58)
        self.canvas.hovered.connect(self._on_hovered)
        self.legend = Legend()
        self._lines: list[Line] = []
        self._limit = self.canvas.add(pg.InfiniteLine(angle=90), 6)
        self._limit.setAcceptedMouseButtons(Qt.MouseButton.NoButton)
        self._limit.hide()
        self._spreads: list[Spread] = []
        self._measure: Metric | None = None
        self._limit_words = ""
        self.setAccessibleName("Spread of the estimate over the runs")
        column = QVBoxLayout(self)
        column.setContentsMargins(4, 2, 4, 2)
        column.setSpacing(1)
        column.addWidget(self.read_out)
        column.addWidget(self.canvas, 1)
        column.addWidget(self.legend)
        self._set_inks()

    def show_spreads(
        self, found: list[Spread], measure: Metric, limit: float, *, counted: bool
    ) -> None:
        """Draw spreads.

        Parameters
        ----------
        found : list of Spread
        measure : Metric
        limit : float
            NaN for none.
        counted : bool
            Counts per class instead of shares.
        """
        self._spreads, self._measure = found, measure
        everything = np.concatenate([s.known for s in found]) if found else np.empty(0)
        borders = classes(everything)
        while len(self._lines) < len(found):
            self._lines.append(self.canvas.add(Line("all"), 4))
        top = 1.0
        nothing = np.empty(0)
        for n, line in enumerate(self._lines):
            if n >= len(found):
                line.show(nothing, nothing)
                continue
            known = found[n].known
            x, y = outline(known, borders) if counted else shares(known)
            line.show(x, y)
            top = max(top, float(y.max()) if y.size else 1.0)
        self._limit.setVisible(bool(np.isfinite(limit)))
        if np.isfinite(limit):
            self._limit.setValue(limit)
        self._limit_words = limit_words(measure, limit)
        self.canvas.bottom.set_text(measure.label, _shown(measure.unit))
        if counted:
            self.canvas.left.set_text("Runs", "")
        else:
            self.canvas.left.set_text("Runs at or below", "%")
        low, high = (borders[0], borders[-1]) if counted else _ends(everything)
        if np.isfinite(limit):
            low, high = min(low, limit), max(high, limit)
        pad = 0.04 * (high - low) or 0.5
        self.canvas.show_range((low - pad, high + pad), (-0.02 * top, top * 1.05))
        self._set_inks()
        self.read_out.show_text("")

    def _on_hovered(self, at: QPointF) -> None:
        measure = self._measure
        if measure is None:
            return
        parts = []
        for spread in self._spreads:
            known = spread.known
            if known.size:
                share = np.searchsorted(known, at.x(), side="right") / known.size * 100
                parts.append(f"{spread.set_name}: {share:.0f} % of runs at or below")
        self.read_out.show_text(f"{number(at.x(), measure.unit)}.  {'   '.join(parts)}")

    def _set_inks(self) -> None:
        ink = inks(self.palette())
        self.canvas.set_inks(ink, self.font())
        for n, line in enumerate(self._lines):
            line.setPen(pen(_colour(n, ink), 2.0 if n < len(STYLES) else 1.0, STYLES[n % 4]))
        self._limit.setPen(pen(ink.error, 1.5, Qt.PenStyle.DashDotDotLine))
        entries = [
            Entry(s.set_name, _colour(n, ink), STYLES[n % 4], 2.0)
            for n, s in enumerate(self._spreads)
        ]
        if self._limit.isVisible():
            words = f"your limit {self._limit_words}"
            entries.append(Entry(words, ink.error, Qt.PenStyle.DashDotDotLine))
        self.legend.show_entries(entries)

    def changeEvent(self, event: QEvent) -> None:
        """Follow palette and font."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.PaletteChange, QEvent.Type.FontChange):
            self._set_inks()


def _colour(n: int, ink: Inks) -> QColor:
    return (ink.line, ink.accent, ink.note, ink.warning)[n % 4]


def _ends(values: np.ndarray) -> tuple[float, float]:
    return (float(values.min()), float(values.max())) if values.size else (0.0, 1.0)


def _shown(unit: str) -> str:
    return shown(unit)
