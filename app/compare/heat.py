"""The difference of two maps as colours, with signs."""

from __future__ import annotations

import numpy as np
from PySide6.QtGui import QKeyEvent

from app.desk import Desk
from app.plots import words
from app.plots.heatmap import HeatMapView, Show
from app.plots.legend import Entry
from app.plots.view import Part
from calib_model.core.arrays import FloatArray
from calib_model.core.table import Table

from .pair import PairDesk
from .words import signed


class DifferenceMap(HeatMapView):
    """Edited set less reference over the common grid."""

    desk: PairDesk

    def __init__(self, desk: Desk, parent: object = None) -> None:
        super().__init__(desk, parent)  # type: ignore[arg-type]
        self.mode = Show.FROM_REFERENCE
        self.setToolTip(
            "Click a cell, drag over a rectangle; arrow keys move, Shift extends. "
            "The wheel zooms, Home shows everything."
        )
        self.read_out.hide()  # the line above the grids says it
        self.desk.marks_changed.connect(lambda: self.mark(Part.OVERLAYS))

    def compared(self) -> tuple[FloatArray | None, str]:
        """Return the difference."""
        pair = self.desk
        if pair.aligned is None:
            return None, f"No difference can be drawn: {pair.why_apart}" if pair.why_apart else ""
        # What does not count is drawn as equal; an empty cell stays hatched.
        values = pair.aligned.values
        return np.where(pair.counted() | np.isnan(values), values, 0.0), ""

    def key(self, table: Table) -> list[Entry]:
        """Return the entries of the key."""
        ink = self.inks
        first, second = self.desk.letters
        entries = [
            Entry(f"{second} higher than {first}", ink.line, mark="plus"),
            Entry(f"{second} lower than {first}", ink.line, mark="minus"),
        ]
        if np.isnan(self.plane).any():
            entries.append(Entry("hatched: empty in one", ink.quiet, mark="box"))
        if self.findings:
            severity = next(iter(self.findings.values()))[0]
            entries.append(Entry("breaches the relation", ink.of(severity), mark=severity))
        return entries

    def show_read_out(self, table: Table) -> None:
        """Write the difference under the cross-hair."""
        pair, cell = self.desk, self.desk.cursor
        if pair.aligned is None:
            super().show_read_out(table)
            return

        amount = float(pair.aligned.values[cell])
        what = "the same" if amount == 0 else signed(amount, table.unit)
        if np.isnan(amount):
            what = "empty in one of the two"
        found = self.findings.get(cell)
        text = f"{words.place(table, cell)}: {what}"
        self.say(f"{text}.  {found[1]}" if found else text)

    def step_values(self, steps: int, event: QKeyEvent) -> None:
        """Leave the values as they are."""
