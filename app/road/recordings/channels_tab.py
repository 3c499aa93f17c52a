"""Which channel gives which input."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.road.recordings.service import OpenDrive, Recordings


class ChannelsTab(QWidget):
    """The mapping of the recording that is looked at."""

    layout_shown = Signal()

    def __init__(self, service: Recordings) -> None:
        super().__init__()
        self._service = service
        QVBoxLayout(self)

    def show_drive(self, drive: OpenDrive | None) -> None:
        """Show the mapping of a recording."""
