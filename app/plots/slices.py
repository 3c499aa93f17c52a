"""A map as a family of curves: the slice through the cursor with points to drag, others quiet."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QWidget

from app.desk import Desk
from app.plots import words
from app.plots.geometry import positions
from app.plots.lines import GRAB, LinesView
from app.plots.view import Part
from calib_model.core.arrays import FloatArray
from calib_model.core.planes import plane_index
from calib_model.core.table import Table


class SlicesView(LinesView):
    """The map in work, cut along its first or second axis.

    Signals
    -------
    along_changed : int
        The slices run along another axis.
    """

    along_changed = Signal(int)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self._along = 1
        self.setToolTip(
            "Drag a point up or down; hold Shift for fine steps. Arrow keys move and step, "
            "Ctrl+Page Up and Ctrl+Page Down go to the next slice, X turns the slices. "
            "The wheel zooms, Home shows everything."
        )

    def along(self) -> int:
        """Return the axis that the slices run along."""
        return self._along

    def set_along(self, axis: int) -> None:
        """Cut along the first (0) or second (1) axis."""
        axis = 1 if axis else 0
        if axis != self._along:
            self.end_gesture()
            self._along = axis
            self.mark(Part.TABLE)
            self.along_changed.emit(axis)

    def unfit(self, table: Table | None) -> str:
        """Return why there are no slices."""
        if table is None:
            return "No table is open. Choose one in the table list."
        if table.values.ndim < 2:
            return f"{table.label} has no slices ({table.kind})."
        return ""

    def others(self, table: Table) -> FloatArray:
        """Return the slices beside the one in work."""
        plane = table.values[plane_index(self.desk.cursor[2:])]
        lines = plane if self._along == 1 else plane.T
        return np.delete(lines, self.desk.cursor[1 - self._along], axis=0)

    def work_words(self, table: Table) -> str:
        """Say which slice is in work, unless it is said beside the plot."""
        if not self.stands_alone:
            return "now"
        across = 1 - self._along
        axis = table.axes[across]
        at = axis.said(float(axis.values[self.desk.cursor[across]]))
        tail = words.further_place(table, self.desk.cursor)
        return f"now, {axis.label} {at}{', ' + tail if tail else ''}"

    def redraw(self, table: Table, stale: Part) -> None:
        """Draw; another slice in work changes which ones are quiet."""
        if stale & Part.CURSOR:
            place = (
                self._along,
                *self.desk.cursor[: self._along],
                *self.desk.cursor[self._along + 1 :],
            )
            if place != self._place:
                self._place = place
                stale |= Part.VALUES
        super().redraw(table, stale)

    _place: tuple[int, ...] = ()

    def other_at(self, at: QPointF) -> tuple[int, ...] | None:
        """Return the cell of another slice's point under the pointer, or None."""
        table = self.desk.table
        if table is None or self.canvas is None:
            return None
        x = positions(table.axes[self._along])
        plane = table.values[plane_index(self.desk.cursor[2:])]
        px, py = self.canvas.pixel()
        across_x = (x - at.x()) / px
        dx = across_x[None, :] if self._along == 1 else across_x[:, None]
        away = np.nan_to_num(np.hypot(dx, (plane - at.y()) / py), nan=np.inf)
        spot = np.unravel_index(int(np.argmin(away)), away.shape)
        if away[spot] > GRAB * 0.6:
            return None
        return (int(spot[0]), int(spot[1]), *self.desk.cursor[2:])

    def pick_other(self, at: QPointF) -> bool:
        """Go to a point of another slice if one is under the pointer."""
        cell = self.other_at(at)
        if cell is not None:
            self.desk.set_cursor(cell)
        return cell is not None

    def tip_at(self, at: QPointF) -> str:
        """Return what is known of the point under the pointer, of other slices too."""
        text = super().tip_at(at)
        cell, table = self.other_at(at), self.desk.table
        if not text and cell is not None and table is not None:
            text = f"{words.place(table, cell)}: {words.value(table, cell)}"
        return text

    def go_across(self, steps: int) -> None:
        """Go to a neighbouring slice."""
        cell = list(self.desk.cursor)
        cell[1 - self._along] += steps
        self.desk.set_cursor(tuple(cell))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Turn the slices, go to another one; the rest as for a curve."""
        control = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        if self.desk.table is None or self.unfit(self.desk.table):
            super().keyPressEvent(event)
        elif event.key() == Qt.Key.Key_X and not event.modifiers():
            self.set_along(1 - self._along)
        elif control and event.key() in (Qt.Key.Key_PageUp, Qt.Key.Key_PageDown):
            self.go_across(-1 if event.key() == Qt.Key.Key_PageUp else 1)
        else:
            super().keyPressEvent(event)
