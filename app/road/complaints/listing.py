"""The list of complaints and its keys."""

from __future__ import annotations

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QWidget

from app.line_delegate import LineDelegate
from app.row_view import RowView

KEYS = {
    Qt.Key.Key_N: "new",
    Qt.Key.Key_A: "answer",
    Qt.Key.Key_P: "prove",
    Qt.Key.Key_D: "drop",
    Qt.Key.Key_T: "table",
    Qt.Key.Key_Delete: "remove",
    Qt.Key.Key_Return: "moment",
    Qt.Key.Key_Enter: "moment",
}
"""Plain letters, for one hand in a glove."""


class ComplaintsView(RowView):
    """Complaints, one of them chosen.

    Signals
    -------
    ordered : str
        A key of `KEYS`, or ``table 2`` for the second of the tables.
    """

    ordered = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.draw_by(LineDelegate(self))
        self.doubleClicked.connect(lambda _index: self.ordered.emit("moment"))

    def event(self, event: QEvent) -> bool:
        """Claim the letters that mean the rows here, before a menu takes them."""
        override = event.type() == QEvent.Type.ShortcutOverride
        if override and isinstance(event, QKeyEvent) and self._order_of(event):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Act on the chosen complaint."""
        order = self._order_of(event)
        if order:
            self.ordered.emit(order)
        else:
            super().keyPressEvent(event)

    @staticmethod
    def _order_of(event: QKeyEvent) -> str:
        none, pad = Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.KeypadModifier
        if event.modifiers() not in (none, pad):
            return ""
        if Qt.Key.Key_1 <= event.key() <= Qt.Key.Key_9:
            return f"table {event.key() - Qt.Key.Key_0}"
        return KEYS.get(Qt.Key(event.key()), "")

    def keyboardSearch(self, search: str) -> None:
        """Letters act here; they do not search."""
