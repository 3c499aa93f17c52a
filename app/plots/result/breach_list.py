"""Where the mode relation is breached, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QListWidget, QListWidgetItem, QWidget

from app.plain import plain_tip

if TYPE_CHECKING:
    from calib_model.evidence.result_relation import RelationCheck

MOST_ROWS = 3
"""In sight at once."""


class BreachList(QListWidget):
    """A line for each region in breach, the worst first.

    Signals
    -------
    chosen : int, int
        Row and column of the worst point of a region.
    """

    chosen = Signal(int, int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._worst: list[tuple[int, int]] = []
        self.setAccessibleName("Where the mode relation is breached")
        self.setTextElideMode(Qt.TextElideMode.ElideRight)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.currentRowChanged.connect(self._on_row)
        self.hide()

    def show_check(self, check: RelationCheck | None) -> None:
        """List the breaches of another picture; those that are meant come last."""
        self.blockSignals(True)
        self.clear()
        found = [(b.words, b.worst) for b in check.breaches] if check is not None else []
        for meant in check.meant if check is not None else ():
            found.append((f"Meant by the table's own relation. {meant.words}", meant.worst))
        for words, _ in found:
            item = QListWidgetItem(words)
            item.setToolTip(plain_tip(words))
            self.addItem(item)
        self._worst = [worst for _, worst in found]
        self.setCurrentRow(-1)
        self.blockSignals(False)
        rows = min(self.count(), MOST_ROWS)
        self.setFixedHeight(rows * self.sizeHintForRow(0) + 4 if rows else 0)

    def step(self, by: int) -> str:
        """Choose the next (or previous) line, in a ring, and return it; empty if there is none."""
        if not self.count():
            return ""
        row = self.currentRow()
        first = 0 if by > 0 else self.count() - 1
        self.setCurrentRow((row + by) % self.count() if row >= 0 else first)
        return self.currentItem().text()

    def _on_row(self, row: int) -> None:
        if 0 <= row < len(self._worst):
            self.chosen.emit(*self._worst[row])
