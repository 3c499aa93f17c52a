"""Looks after a folder and tells when a run is complete in it."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QFileSystemWatcher, QObject, QTimer, Signal

from .work import SUFFIXES

POLL_MS = 1000
"""A file that did not grow from one look to the next is complete; shares tell nothing."""


class FolderWatch(QObject):
    """Watches one folder for new recordings.

    Signals
    -------
    found : Path
        A run appeared after the folder was chosen, and is no longer written to.
    lost : str
        The folder can no longer be read, in words.
    """

    found = Signal(object)
    lost = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.folder: Path | None = None
        self._known: dict[Path, tuple[int, int]] = {}
        self._growing: dict[Path, tuple[int, int]] = {}
        self._watcher = QFileSystemWatcher(self)
        self._watcher.directoryChanged.connect(lambda _path: self.look())
        self._timer = QTimer(self)
        self._timer.setInterval(POLL_MS)
        self._timer.timeout.connect(self.look)

    def watch(self, folder: Path | None) -> bool:
        """Watch another folder, or none; False if it cannot be read.

        What lies in it already is known and not offered.
        """
        if self._watcher.directories():
            self._watcher.removePaths(self._watcher.directories())
        self._timer.stop()
        self.folder, self._known, self._growing = folder, {}, {}
        if folder is None:
            return True
        states = _states(folder)
        if states is None:
            self.folder = None
            return False
        self._known = states
        self._watcher.addPath(str(folder))
        self._timer.start()
        return True

    def newest(self) -> Path | None:
        """Return the newest run of the folder, known or not; None if there is none."""
        states = _states(self.folder) if self.folder is not None else None
        if not states:
            return None
        return max(states, key=lambda path: (states[path][1], path.name))

    def look(self) -> None:
        """Look for runs that are new or have changed, and are complete."""
        if self.folder is None:
            return
        states = _states(self.folder)
        if states is None:
            folder, self.folder = self.folder, None
            self._timer.stop()
            self.lost.emit(f"The watched folder {folder} can no longer be read.")
            return
        complete = []
        for path, state in states.items():
            if self._known.get(path) == state:
                continue
            # Empty files are opened and not written yet, however long that takes.
            if self._growing.get(path) == state and state[0] > 0:
                complete.append(path)
                self._known[path] = state
                self._growing.pop(path)
            else:
                self._growing[path] = state
        for path in sorted(complete, key=lambda p: states[p][1]):
            self.found.emit(path)


def _states(folder: Path) -> dict[Path, tuple[int, int]] | None:
    """Return size and time of every file of the folder that may be a recording."""
    found = {}
    try:
        for path in folder.iterdir():
            if path.suffix.lower() in SUFFIXES and not path.name.startswith("."):
                try:
                    stat = path.stat()
                except OSError:
                    continue  # gone between the two calls
                found[path] = (stat.st_size, stat.st_mtime_ns)
    except OSError:
        return None
    return found
