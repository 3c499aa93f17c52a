"""A curve over its true breakpoints, with points to drag; a scalar as a sentence with a bar."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QWidget

from app.desk import Desk
from app.plots import words
from app.plots.lines import LinesView
from app.plots.scalar import ScalarBar
from calib_model.core.table import Table

_STEPS = {
    Qt.Key.Key_Up: 1,
    Qt.Key.Key_Down: -1,
    Qt.Key.Key_PageUp: 10,
    Qt.Key.Key_PageDown: -10,
}


class CurveView(LinesView):
    """The curve in work; a scalar is told in words."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.scalar = ScalarBar(self)
        self.pages.addWidget(self.scalar)
        self.setToolTip(
            "Drag a point up or down; hold Shift for fine steps. Arrow keys move and step. "
            "The wheel zooms, Home shows everything."
        )

    def unfit(self, table: Table | None) -> str:
        """Return why there is no curve."""
        if table is None:
            return "No table is open. Choose one in the table list."
        if table.values.ndim > 1:
            return f"{table.label} is not a curve ({table.kind})."
        return ""

    def shown_plainly(self, table: Table) -> bool:
        """Tell a scalar in words."""
        if table.values.ndim:
            return False
        self.scalar.show_values(
            table,
            self.desk.saved_table if self.show_saved else None,
            self.desk.reference_table if self.show_reference else None,
        )
        self.pages.setCurrentWidget(self.scalar)
        self.show_key(())
        return True

    def describe(self, table: Table) -> str:
        """Name what is drawn."""
        return words.value_title(table) if not table.values.ndim else super().describe(table)

    def fit(self) -> None:
        """Show everything; a scalar always does."""
        if self.desk.table is not None and self.desk.table.values.ndim:
            super().fit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Step a scalar's value; the rest as for any line."""
        table = self.desk.table
        if table is None or table.values.ndim:
            super().keyPressEvent(event)
            return
        steps = _STEPS.get(Qt.Key(event.key()))
        if steps and not event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.step_values(steps, event)
        else:
            event.ignore()
