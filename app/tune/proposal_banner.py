"""What is proposed for the table in work, and the two acts that end it: take it or leave it."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import Signal
from PySide6.QtWidgets import QCheckBox, QFrame, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from app.desk import Desk
from app.look.parts import ShortLabel, primary, switch
from app.look.tokens import NEAR, TIGHT
from app.plain import plain_tip
from app.plots.geometry import on_axes_of
from calib_model.core.numbers import with_unit
from calib_model.core.table import Table


class ProposalBanner(QFrame):
    """A box no higher than what it stands beside; out of sight while nothing is proposed.

    Parameters
    ----------
    desk : Desk

    Signals
    -------
    in_cells : bool
        The user asks to see the proposed numbers in the grid, or the present ones again.
    """

    in_cells = Signal(bool)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self.text = ShortLabel()
        self.see = switch(QCheckBox("In the grid"))
        self.see.setToolTip("Show the proposed numbers in the grid; the table keeps its own.")
        self.see.toggled.connect(self.in_cells)
        self.take = primary(QPushButton("T&ake it"))
        self.take.setToolTip("Make the proposed values the table's; one undo step.")
        self.leave = QPushButton("Leave it")
        self.leave.setToolTip("Leave the table as it is.")
        self._acts = QWidget()
        row = QHBoxLayout(self._acts)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(NEAR)
        row.addWidget(self.see)
        row.addStretch(1)
        row.addWidget(self.leave)
        row.addWidget(self.take)
        column = QVBoxLayout(self)
        column.setContentsMargins(NEAR, 0, NEAR, 0)
        column.setSpacing(TIGHT)
        column.addWidget(self.text)
        column.addWidget(self._acts)
        self.setMinimumWidth(self._acts.sizeHint().width() + 2 * NEAR)
        desk.proposal_changed.connect(self._follow)
        desk.table_changed.connect(self._follow)
        self._follow()

    def set_brief(self, brief: bool) -> None:
        """Leave the sentence to the tool tip where height is short."""
        self.text.setHidden(brief)

    def _follow(self) -> None:
        table, proposed = self._desk.table, self._desk.proposed_table
        there = table is not None and proposed is not None
        self.take.setEnabled(there)
        self.leave.setEnabled(there)
        self.setVisible(there)
        if table is None or proposed is None:
            self.text.setText("")
            self.see.setChecked(False)
            return
        self.text.setText(f"Proposed: {change_words(table, proposed)}")
        self.setToolTip(plain_tip(self.text.text()))
        self.setAccessibleName(self.text.text())


def change_words(table: Table, proposed: Table) -> str:
    """Return how much of a table would change, such as ``24 cells, by 3.5 N·m at most``."""
    if proposed.axes != table.axes:
        return "other breakpoints"
    values = on_axes_of(table, proposed)
    if values is None:
        return "other axes or another unit"
    away = np.abs(values - table.values)
    count = int(np.count_nonzero(~((values == table.values) | np.isnan(away))))
    if not count:
        return "the values stay, what is kept with them changes"
    cells = "1 cell" if count == 1 else f"{count} cells"
    return f"{cells}, by {with_unit(float(np.nanmax(away)), table.unit, 4)} at most"
