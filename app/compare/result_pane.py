"""The resulting torque of both sides, one set held against the other."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.desk import Desk
from app.plots.result.panel import ResultPanel
from app.plots.result.reckon import Named

from .service import Comparing


class ResultPane(QWidget):
    """Follows the sides; the panel in it is made when it is first looked at.

    Parameters
    ----------
    desk : Desk
    comparing : Comparing

    Signals
    -------
    jumped
        The desk stands on cells that decide.
    """

    jumped = Signal()

    def __init__(self, desk: Desk, comparing: Comparing, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk, self._comparing = desk, comparing
        self.panel: ResultPanel | None = None
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(4, 0, 4, 0)
        for signal in (comparing.sides_changed, comparing.compared):
            signal.connect(self.refresh)
        comparing.updated.connect(lambda _ids: self.refresh())
        desk.edited.connect(lambda _event: self.refresh())
        desk.documents_changed.connect(self.refresh)

    def refresh(self) -> None:
        """Show the two sides as they are now."""
        if self.panel is None or not self.isVisible():
            return
        first, second = self._comparing.first, self._comparing.second
        self.panel.show_sets(
            Named(first.name, first.content) if first is not None else None,
            Named(second.name, second.content) if second is not None else None,
        )

    def showEvent(self, event: QShowEvent) -> None:
        """Make the panel, or catch up."""
        super().showEvent(event)
        if self.panel is None:
            self.panel = ResultPanel(self._desk, ("Reference", "Edited set"), self)
            self.panel.jumped.connect(self.jumped)
            self._column.addWidget(self.panel)
            self.setFocusProxy(self.panel)
            self.panel.show()
        self.refresh()
