"""A map of the resulting torque: coloured cells, regions with borders and words, a cross-hair."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QEvent, QPointF, Qt, Signal
from PySide6.QtGui import QBrush, QFontMetricsF, QPen
from PySide6.QtWidgets import QGraphicsPathItem, QHBoxLayout, QVBoxLayout, QWidget

from app.colours import Inks, inks, pen
from app.plots.colour_bar import ColourBar
from app.plots.frame import OneLine
from app.plots.geometry import edges, outline
from app.plots.result.drawn import Drawn, borders, room_at
from calib_model.core.units import shown
from calib_model.evidence.regions import Region, regions

if TYPE_CHECKING:
    from app.plots.canvas import Canvas

MOST_LABELS = 14
MOST_COVERED = 0.2
"""How much of a region's room its words may cover; a number stands in smaller ones."""
_MARGIN = 6.0


class ResultMap(QWidget):
    """One of the three maps.

    Signals
    -------
    picked : int, int
        A point was pressed: row and column.
    """

    picked = Signal(int, int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.canvas: Canvas | None = None
        self.drawn: Drawn | None = None
        self.tip: Callable[[int, int], str] = lambda row, column: ""
        self._at = (0, 0)
        self._regions: list[Region] = []
        self._labels: list[object] = []
        self._x = self._y = np.zeros(2)
        self.inks: Inks = inks(self.palette())
        self.title = OneLine(self)
        self.title.setIndent(4)
        self.bar = ColourBar(self)
        self.bar.hide()
        self._row = QHBoxLayout()
        self._row.setContentsMargins(0, 0, 0, 0)
        self._row.setSpacing(2)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.title)
        column.addLayout(self._row, 1)
        self.setMinimumSize(150, 110)

    # -- what is shown ---------------------------------------------------------------------------

    def show_map(self, drawn: Drawn) -> None:
        """Show another map; another part stays in view only if the points are the same."""
        before, self.drawn = self.drawn, drawn
        if self.canvas is None:
            self._build()
            before = None
        assert self.canvas is not None
        self._x, self._y = edges(drawn.x), edges(drawn.y)
        self.title.show_text(drawn.title)
        (x_name, x_unit), (y_name, y_unit) = drawn.titles
        self.canvas.bottom.set_text(x_name, shown(x_unit))
        self.canvas.left.set_text(y_name, shown(y_unit))
        self._mesh.set_edges(self._x, self._y)
        self._mesh.set_colours(drawn.rgb, drawn.empty)
        self._borders.show(*borders(drawn.kinds, self._x, self._y))
        self._hatch_breach()
        self._regions = [r for r in regions(drawn.kinds) if r.kind in drawn.labels][:MOST_LABELS]
        same = before is not None and np.array_equal(before.x, drawn.x)
        if not (same and before is not None and np.array_equal(before.y, drawn.y)):
            self.fit()
        self._place_labels()
        self._row.setStretchFactor(self.canvas, 1)
        self.bar.setVisible(drawn.scale is not None)
        if drawn.scale is not None:
            scale = drawn.scale
            self.bar.show_scale(scale.ramp, scale.low, scale.high, "N·m", signed=scale.signed)
        self.setAccessibleName(drawn.title)
        self.show_cross(*self._at)

    def show_cross(self, row: int, column: int) -> None:
        """Put the cross-hair on a point."""
        self._at = (row, column)
        drawn = self.drawn
        if drawn is None or not (row < drawn.y.size and column < drawn.x.size):
            return
        self._upright.setValue(float(drawn.x[column]))
        self._level.setValue(float(drawn.y[row]))
        left, right = self._x[column], self._x[column + 1]
        low, high = self._y[row], self._y[row + 1]
        box = np.array([left, right, right, left, left]), np.array([low, low, high, high, low])
        self._halo.show(*box)
        self._box.show(*box)

    def fit(self) -> None:
        """Show all points."""
        if self.canvas is not None:
            x, y = self._x, self._y
            self.canvas.show_range((float(x[0]), float(x[-1])), (float(y[0]), float(y[-1])))

    # -- items -----------------------------------------------------------------------------------

    def _build(self) -> None:
        import pyqtgraph as pg

        from app.plots.canvas import Canvas, Line
        from app.plots.cells import CellsItem

        canvas = self.canvas = Canvas(self)
        canvas.pressed.connect(self._on_pressed)
        canvas.moved.connect(self._on_pressed)
        canvas.view_changed.connect(self._place_labels)
        canvas.tip_at = self._tip_at
        self._mesh = canvas.add(CellsItem(), 0)
        self._hatch = QGraphicsPathItem()
        canvas.add(self._hatch, 1)
        self._borders = canvas.add(Line("pairs"), 2)
        self._rim_halo, self._rim = canvas.add(Line("pairs"), 3), canvas.add(Line("pairs"), 3)
        self._upright = canvas.add(pg.InfiniteLine(angle=90), 4)
        self._level = canvas.add(pg.InfiniteLine(angle=0), 4)
        self._halo, self._box = canvas.add(Line("all"), 6), canvas.add(Line("all"), 7)
        for line in (self._upright, self._level):
            line.setAcceptedMouseButtons(Qt.MouseButton.NoButton)
        self._row.insertWidget(0, canvas, 1)
        self._row.addWidget(self.bar)
        self._take_inks()

    def _take_inks(self) -> None:
        if self.canvas is None:
            return
        ink = self.inks = inks(self.palette())
        self.canvas.set_inks(ink, self.font())
        self._borders.setPen(pen(ink.line, 1.6))
        self._hatch.setPen(QPen(Qt.PenStyle.NoPen))
        self._rim_halo.setPen(pen(ink.ground, 4.0))
        self._rim.setPen(pen(ink.error, 2.0))
        self._hatch.setBrush(QBrush(ink.error, Qt.BrushStyle.BDiagPattern))
        for line in (self._upright, self._level):
            line.setPen(pen(ink.line, 1.0, Qt.PenStyle.DotLine))
        self._halo.setPen(pen(ink.ground, 4.0))
        self._box.setPen(pen(ink.line, 2.0))

    def _hatch_breach(self) -> None:
        from pyqtgraph.functions import arrayToQPath

        drawn = self.drawn
        breach = None if drawn is None or drawn.breach is None else drawn.breach
        there = breach is not None and bool(breach.any())
        self._hatch.setVisible(there)
        strokes = np.empty(0), np.empty(0)
        if breach is not None and there:
            rows, columns = np.nonzero(breach)
            left, right = self._x[columns], self._x[columns + 1]
            low, high = self._y[rows], self._y[rows + 1]
            x = np.stack([left, right, right, left, left], axis=-1).reshape(-1)
            y = np.stack([low, low, high, high, low], axis=-1).reshape(-1)
            joined = np.tile(np.array([1, 1, 1, 1, 0], dtype=np.int32), rows.size)
            self._hatch.setPath(arrayToQPath(x, y, connect=joined))
            strokes = outline(breach, self._x, self._y)
        self._rim_halo.show(*strokes)
        self._rim.show(*strokes)

    def _place_labels(self) -> None:
        """Write each region's words where they have room, or its number; else the key tells."""
        import pyqtgraph as pg

        drawn, canvas = self.drawn, self.canvas
        if drawn is None or canvas is None:
            return
        for item in self._labels:
            canvas.box.removeItem(item)
        self._labels = []
        metrics = QFontMetricsF(self.font())
        px, py = canvas.pixel()
        for region in self._regions:
            room = room_at(region.mask, region.place, self._x, self._y)
            wide, tall = room.width / px - _MARGIN, room.height / py - 2.0
            text = ""
            for words in drawn.labels[region.kind]:
                width, height = metrics.horizontalAdvance(words), metrics.height()
                covered = width * height / max(wide * tall, 1.0)
                if width <= wide and height <= tall and (not text or covered <= MOST_COVERED):
                    text = words
            if text:
                ground = self.inks.ground
                item = pg.TextItem(text, color=self.inks.line, anchor=(0.5, 0.5), fill=ground)
                item.setFont(self.font())
                item.setPos(room.x, room.y)
                canvas.add(item, 8)
                item.setAcceptedMouseButtons(Qt.MouseButton.NoButton)
                self._labels.append(item)

    @property
    def words_drawn(self) -> list[str]:
        """The labels that have room."""
        return [str(item.toPlainText()) for item in self._labels]  # type: ignore[attr-defined]

    # -- pointer, palette ------------------------------------------------------------------------

    def point_at(self, at: QPointF) -> tuple[int, int] | None:
        """Return row and column of the point at a place; None beside the map."""
        x, y = self._x, self._y
        if not (x[0] <= at.x() <= x[-1] and y[0] <= at.y() <= y[-1]):
            return None
        row = int(np.clip(np.searchsorted(y, at.y(), side="right") - 1, 0, y.size - 2))
        column = int(np.clip(np.searchsorted(x, at.x(), side="right") - 1, 0, x.size - 2))
        return row, column

    def _on_pressed(self, at: QPointF, _event: object) -> None:
        found = self.point_at(at)
        if found is not None:
            self.picked.emit(*found)

    def _tip_at(self, at: QPointF) -> str:
        found = self.point_at(at) if self.drawn is not None else None
        return self.tip(*found) if found is not None else ""

    def changeEvent(self, event: QEvent) -> None:
        """Follow the palette and the font."""
        super().changeEvent(event)
        kinds = (QEvent.Type.PaletteChange, QEvent.Type.FontChange, QEvent.Type.StyleChange)
        if event.type() in kinds and getattr(self, "canvas", None) is not None:
            self._take_inks()
            self._place_labels()
