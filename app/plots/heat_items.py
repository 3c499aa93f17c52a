"""The items that a heat map is drawn with."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QBrush, QColor
from PySide6.QtWidgets import QGraphicsPathItem

from app.colours import Inks, Rgb, pen
from app.plots.geometry import outline
from app.plots.symbols import symbol
from calib_model.core.arrays import BoolArray, FloatArray

if TYPE_CHECKING:
    import numpy.typing as npt

    from app.plots.canvas import Canvas, Marks

_BLACK, _WHITE = QColor("black"), QColor("white")


class HeatItems:
    """Cells and marks of one canvas."""

    def __init__(self, canvas: Canvas) -> None:
        import pyqtgraph as pg

        from app.plots.canvas import Line, Marks
        from app.plots.cells import CellsItem

        self.mesh = canvas.add(CellsItem(), 0)
        self.hatch = QGraphicsPathItem()
        canvas.add(self.hatch, 1)
        self.upright = canvas.add(pg.InfiniteLine(angle=90), 3)
        self.level = canvas.add(pg.InfiniteLine(angle=0), 3)
        self._dark_light = {
            kind: (canvas.add(Marks(symbol(kind), 8), 2), canvas.add(Marks(symbol(kind), 8), 2))
            for kind in ("plus", "minus", "locked", "up", "down")
        }
        self.findings = {
            kind: canvas.add(Marks(symbol(kind), 13), 9) for kind in ("note", "warning", "error")
        }
        self.halo = canvas.add(Line("pairs"), 5)
        self.outline = canvas.add(Line("pairs"), 6)
        self.cursor_halo = canvas.add(Line("all"), 7)
        self.cursor_line = canvas.add(Line("all"), 8)
        for line in (self.upright, self.level):
            line.setAcceptedMouseButtons(Qt.MouseButton.NoButton)
        self._x = self._y = np.zeros(2)

    def set_inks(self, inks: Inks) -> None:
        """Take over colours."""
        self.hatch.setPen(pen(inks.quiet))
        self.hatch.setBrush(QBrush(inks.quiet, Qt.BrushStyle.BDiagPattern))
        for line in (self.upright, self.level):
            line.setPen(pen(inks.line, 1.0, Qt.PenStyle.DotLine))
        for kind, pair in self._dark_light.items():
            for item, colour in zip(pair, (_BLACK, _WHITE), strict=True):
                item.setPen(pen(colour, 1.6))
                item.setBrush(colour if kind == "locked" else None)
        for kind, item in self.findings.items():
            item.setPen(pen(inks.of(kind), 2.0))
            item.setBrush(inks.ground)
        self.halo.setPen(pen(inks.ground, 5.0))
        self.outline.setPen(pen(inks.accent, 2.5))
        self.cursor_halo.setPen(pen(inks.ground, 4.0))
        self.cursor_line.setPen(pen(inks.line, 2.0))

    def set_edges(self, x: FloatArray, y: FloatArray) -> None:
        """Take over the cells' edges, columns and rows."""
        self._x, self._y = x, y
        self.mesh.set_edges(x, y)

    def cells(self, rgb: Rgb, empty: BoolArray) -> None:
        """Colour the cells and hatch the empty ones.

        Parameters
        ----------
        rgb : ndarray of uint8, shape (rows, columns, 3)
        empty : bool array, shape (rows, columns)
        """
        self.mesh.set_colours(rgb, empty)
        self._hatch(empty)

    def _hatch(self, empty: BoolArray) -> None:
        from pyqtgraph.functions import arrayToQPath

        rows, columns = np.nonzero(empty)
        self.hatch.setVisible(bool(rows.size))
        if not rows.size:
            return
        left, right = self._x[columns], self._x[columns + 1]
        top, bottom = self._y[rows], self._y[rows + 1]
        x = np.stack([left, right, right, left, left], axis=-1).reshape(-1)
        y = np.stack([top, top, bottom, bottom, top], axis=-1).reshape(-1)
        joined = np.tile(np.array([1, 1, 1, 1, 0], dtype=np.int32), rows.size)
        self.hatch.setPath(arrayToQPath(x, y, connect=joined))

    def signs(self, higher: BoolArray, lower: BoolArray, light: BoolArray) -> None:
        """Mark cells that are higher or lower; `light` tells where the ground is light."""
        self._two("plus", higher, light, 0.0, 0.0)
        self._two("minus", lower, light, 0.0, 0.0)

    def off_scale(self, above: BoolArray, below: BoolArray, light: BoolArray) -> None:
        """Mark cells whose values lie above or below what the colours reach."""
        self._two("up", above, light, 0.0, 0.0)
        self._two("down", below, light, 0.0, 0.0)

    def locks(self, locked: BoolArray, light: BoolArray) -> None:
        """Mark locked cells."""
        self._two("locked", locked, light, -0.25, 0.2)

    def found(self, severities: npt.NDArray[np.object_]) -> None:
        """Mark cells with findings; an empty text marks nothing."""
        for kind, item in self.findings.items():
            self._at(item, severities == kind, 0.22, -0.15)

    def selection(self, chosen: BoolArray, x: FloatArray, y: FloatArray) -> None:
        """Draw the border of the selection; one cell needs none beside the cursor's."""
        strokes = outline(chosen, x, y) if chosen.sum() > 1 else (np.empty(0), np.empty(0))
        self.halo.show(*strokes)
        self.outline.show(*strokes)

    def cursor(
        self, row: int, column: int, x: FloatArray, y: FloatArray, at_x: float, at_y: float
    ) -> None:
        """Draw the cross-hair and the border of the cursor's cell."""
        left, right, top, bottom = x[column], x[column + 1], y[row], y[row + 1]
        box_x = np.array([left, right, right, left, left])
        box_y = np.array([top, top, bottom, bottom, top])
        self.cursor_halo.show(box_x, box_y)
        self.cursor_line.show(box_x, box_y)
        self.upright.setValue(at_x)
        self.level.setValue(at_y)

    def _two(self, kind: str, mask: BoolArray, light: BoolArray, right: float, down: float) -> None:
        on_light, on_dark = self._dark_light[kind]
        self._at(on_light, mask & light, right, down)
        self._at(on_dark, mask & ~light, right, down)

    def _at(self, item: Marks, mask: BoolArray, right: float, down: float) -> None:
        """Put marks in cells, shifted from the middle by shares of the cell."""
        rows, columns = np.nonzero(mask)
        width, height = np.diff(self._x)[columns], np.diff(self._y)[rows]
        item.show(self._x[columns] + width * (0.5 + right), self._y[rows] + height * (0.5 + down))
