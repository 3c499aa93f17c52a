"""The winter loop: a watched folder offers its newest run by itself."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QFileDialog, QWidget

from app.needs import Memory
from app.road.recordings.folder_watch import FolderWatch
from app.road.recordings.notice import Notice
from app.road.recordings.service import Recordings

KEY = "road/watched"


class Watching(QObject):
    """Offers the newest run of a folder.

    Parameters
    ----------
    service : Recordings
    memory : Memory
        Remembers the folder.
    notice : Notice
        Where the run is offered.
    """

    def __init__(
        self, service: Recordings, memory: Memory, notice: Notice, parent: QWidget
    ) -> None:
        super().__init__(parent)
        self._service, self._memory, self._notice = service, memory, notice
        self._widget = parent
        self.watch = FolderWatch(self)
        self.watch.found.connect(self._offer)
        self.watch.lost.connect(notice.show_notice)
        self.offered: Path | None = None
        self.ask_folder: Any = self._ask_folder
        text = memory.remembered(KEY)
        if text and Path(text).is_dir():
            self.watch.watch(Path(text))

    def _ask_folder(self, folder: Path) -> Path | None:
        name = QFileDialog.getExistingDirectory(
            self._widget, "Folder whose newest run is offered", str(folder)
        )
        return Path(name) if name else None

    def ask(self) -> None:
        """Let the user choose the folder; the one that is watched already is let go of instead."""
        folder = self.ask_folder(self.watch.folder or Path.home())
        if folder is not None:
            self.use(folder)

    def use(self, folder: Path | None) -> None:
        """Watch a folder, or none."""
        if not self.watch.watch(folder):
            self._notice.show_notice(f"The folder {folder} cannot be read.")
            return
        self._memory.remember(KEY, str(folder or ""))
        if folder is None:
            self._service.desk.tell("No folder is watched.")
        else:
            self._notice.show_notice(
                f"{folder} is watched: the newest run is offered here, and Ctrl+Shift+J loads it.",
                "Stop watching",
                lambda: self.use(None),
            )
        self._service.listed.emit()

    def _offer(self, path: Path) -> None:
        self.offered = path
        self._notice.show_notice(
            f"A new run is complete: {path.name}. Ctrl+Shift+J loads it.", "Load it", self.load
        )
        self._service.desk.tell(f"A new run is complete: {path.name} (Ctrl+Shift+J loads it).")

    def load(self) -> None:
        """Open the run that is offered, or the newest of the folder."""
        path = self.offered or self.watch.newest()
        if path is None:
            if self.watch.folder is None:
                self._service.desk.tell("No folder is watched. Choose one with “Watch a folder…”.")
            else:
                self._service.desk.tell(f"There is no run in {self.watch.folder} yet.")
            return
        self.offered = None
        self._notice.hide()
        there = self._service.at(path.absolute())
        # The same name with new content is a new run.
        self._service.open([path], {} if there is not None else None)

    def words(self) -> str:
        """Say which folder is watched."""
        folder = self.watch.folder
        return f"Watched: {folder}." if folder is not None else ""
