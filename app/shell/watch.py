"""Notices when another program changes the file of an open set."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import QFileSystemWatcher, QObject, QTimer, Signal

from app.work.control import Control
from app.work.jobs import Jobs
from calib_model.core.plain_file import is_there
from calib_model.session import files as session
from calib_model.session.document import Document

SETTLE_MS = 250
"""Programs that save write in several steps: look when they are done."""


class Watch(QObject):
    """Watches files and their folders.

    The folder too, because a program that saves by exchanging the file ends the watch on it.

    Signals
    -------
    found : Document, str
        A document's file is ``changed``, ``gone``, or the ``same`` again.
    """

    found = Signal(object, str)

    def __init__(self, jobs: Jobs, parent: QObject) -> None:
        super().__init__(parent)
        self._jobs = jobs
        self._documents: list[Document] = []
        self._paused: set[int] = set()
        self._last: dict[int, str] = {}
        self._watcher = QFileSystemWatcher(self)
        self._watcher.fileChanged.connect(self._soon)
        self._watcher.directoryChanged.connect(self._soon)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(SETTLE_MS)
        self._timer.timeout.connect(self.look)

    def add(self, document: Document) -> None:
        """Watch a document's file (its present one, after a save under another name)."""
        if document not in self._documents:
            self._documents.append(document)
        self._last.pop(id(document), None)
        self._rewatch()

    def remove(self, document: Document) -> None:
        """Watch it no longer."""
        if document in self._documents:
            self._documents.remove(document)
        self._last.pop(id(document), None)
        self._paused.discard(id(document))
        self._rewatch()

    def pause(self, document: Document) -> None:
        """Look away while we save it ourselves."""
        self._paused.add(id(document))

    def resume(self, document: Document) -> None:
        """Look again."""
        self._paused.discard(id(document))
        self._rewatch()

    def _soon(self, _path: str) -> None:
        self._timer.start()

    def _rewatch(self) -> None:
        wanted: set[str] = set()
        for document in self._documents:
            if document.path is not None and is_there(document.path):
                wanted |= {str(document.path), str(document.path.parent)}
            elif document.path is not None and is_there(document.path.parent):
                wanted.add(str(document.path.parent))
        watched = {*self._watcher.files(), *self._watcher.directories()}
        if watched - wanted:
            self._watcher.removePaths(sorted(watched - wanted))
        if wanted - watched:
            self._watcher.addPaths(sorted(wanted - watched))

    def look(self) -> None:
        """Compare every watched file with how it was, in the background."""
        self._rewatch()
        for document in self._documents:
            if id(document) in self._paused or document.path is None:
                continue
            state = document.stored
            self._jobs.start(
                f"Looking at {document.path.name}",
                _state_of,
                document.path,
                state,
                done=partial(self._tell, document, state),
            )

    def _tell(self, document: Document, state: object, found: str) -> None:
        if document not in self._documents or document.stored is not state:
            return  # closed or saved meanwhile
        if found != self._last.get(id(document), "same"):
            self._last[id(document)] = found
            self.found.emit(document, found)


def _state_of(_control: Control, path: object, state: object) -> str:
    return session.file_state(path, state)  # type: ignore[arg-type]
