"""The part Recordings: open recordings, replay, play head."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QWidget

from app.desk import Desk
from app.road.needs import JobsLike, Memory


class RecordingsPanel(QWidget):
    """Recordings."""

    jumped = Signal()
    complaint_wanted = Signal(str, str, float, object)

    def __init__(
        self, desk: Desk, jobs: JobsLike, memory: Memory, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.desk, self.jobs, self.memory = desk, jobs, memory

    def ask_open(self) -> None:
        """Let the user choose recordings."""

    def open(self, paths: Iterable[Path]) -> None:
        """Open recordings in the background."""

    def go_to(self, sha256: str, moment: float) -> None:
        """Show a moment of an open recording."""
