"""The sets that the current set is checked with, one keeper per desk.

A programme file beside the set that names it is read in the background, with its other sets; one
that is open counts as it is in the window, not as its file was.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PySide6.QtCore import QFileSystemWatcher, QObject, QTimer, Signal

from app.desk import Desk
from app.needs import Memory
from app.work.jobs import Jobs
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError
from calib_model.session.beside import Beside, Company, beside, company
from calib_model.session.document import Document
from calib_model.session.programme import Programme
from calib_model.store import read_set

SETTLE_MS = 250
"""Programs that save write in several steps: look when they are done."""
_SETTING = "checks/alone"
_Stamp = tuple[tuple[str, int, int], ...]


@dataclass(frozen=True)
class Brought:
    """What a programme beside a set brings to its sign-off, without the sets themselves.

    Parameters
    ----------
    set_path : Path
    programmes : tuple of Programme
        Those that the set belongs to; mostly one.
    problems : tuple of str
        What of them cannot be checked with.
    """

    set_path: Path
    programmes: tuple[Programme, ...] = ()
    problems: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Read:
    company: Company
    stamp: _Stamp


class CompanyInUse(QObject):
    """Keeps the sets beside the current one at hand.

    Signals
    -------
    changed
        Other sets belong with the current one, or their files changed.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    memory : Memory or None
        Without one the choice to check alone ends with the window.
    """

    changed = Signal()

    def __init__(self, desk: Desk, jobs: Jobs, memory: Memory | None = None) -> None:
        super().__init__(desk)
        self._desk, self._jobs, self._memory = desk, jobs, memory
        self._alone = memory is not None and memory.remembered(_SETTING) == "yes"
        self._read: dict[Path, _Read] = {}
        self._reading: tuple[Document, Path] | None = None
        self._again = False
        self._watcher = QFileSystemWatcher(self)
        self._soon = QTimer(self)
        self._soon.setSingleShot(True)
        self._soon.setInterval(SETTLE_MS)
        self._soon.timeout.connect(self.look)
        self._watcher.fileChanged.connect(lambda _path: self._soon.start())
        self._watcher.directoryChanged.connect(lambda _path: self._soon.start())
        desk.current_changed.connect(self._on_current)
        desk.documents_changed.connect(self._on_documents)
        self._on_current()

    # -- what is known -----------------------------------------------------------------------------

    @property
    def alone(self) -> bool:
        """Whether sets are checked without the programme beside them."""
        return self._alone

    def set_alone(self, on: bool) -> None:
        """Check sets without the programme beside them, or with it."""
        self._alone = on
        if self._memory is not None:
            self._memory.remember(_SETTING, "yes" if on else "")
        self._on_current()
        self.changed.emit()

    @property
    def busy(self) -> bool:
        """Whether nothing is known of the current set yet, but will be."""
        return self._reading is not None and self._known() is None

    @property
    def company(self) -> Company:
        """What belongs with the current set, as it was read."""
        known = self._known()
        return known.company if known is not None else Company()

    @property
    def brought(self) -> Brought | None:
        """What the programmes beside the current set bring to its sign-off."""
        path = self._path
        if path is None:
            return None
        found = self.company
        return Brought(path, tuple(n.programme for n in found.found.naming), found.problems)

    def sets(self) -> tuple[CalibrationSet, ...]:
        """Return the other sets, those that are open as they are now."""
        open_ones = {
            document.path: document.content
            for document in self._desk.documents
            if document.path is not None and document is not self._desk.current
        }
        return tuple(
            open_ones.get(sibling.path.resolve(), open_ones.get(sibling.path, content))
            for sibling, content in self.company.members
        )

    @property
    def words(self) -> str:
        """Say which sets the current one is checked with; empty if none."""
        return self.company.words

    def _known(self) -> _Read | None:
        return self._read.get(self._path) if self._path is not None else None

    @property
    def _path(self) -> Path | None:
        document = self._desk.current
        return None if document is None or self._alone else document.path

    # -- reading -----------------------------------------------------------------------------------

    def look(self) -> None:
        """Read what lies beside the current set, if any of it changed."""
        document, path = self._desk.current, self._path
        if document is None or path is None:
            return
        if self._reading is not None:
            self._again = True
            return
        self._reading = (document, path)
        self._jobs.start(
            f"Looking for the programme of {path.name}",
            _look,
            path,
            document.content,
            self._known(),
            done=lambda found: self._take(path, found),
            failed=self._fail,
        )

    def _take(self, path: Path, found: _Read) -> None:
        self._reading = None
        before = self._read.get(path)
        self._read[path] = found
        self._watch(path, found.company.found)
        if before is not found and path == self._path:
            self.changed.emit()
        if self._again or (path != self._path and self._known() is None):
            self._again = False
            self.look()

    def _fail(self, error: BitepointError) -> None:
        self._reading = None
        self._desk.tell(str(error), refused=True)

    def _watch(self, path: Path, found: Beside) -> None:
        wanted = {str(path.parent)}
        wanted |= {str(s.path) for s in found.siblings(whole=True) if s.path.is_file()}
        watched = {*self._watcher.files(), *self._watcher.directories()}
        if watched - wanted:
            self._watcher.removePaths(sorted(watched - wanted))
        if wanted - watched and path.parent.is_dir():
            self._watcher.addPaths(sorted(wanted - watched))

    def _on_current(self) -> None:
        self._seen = self._path
        self.look()

    def _on_documents(self) -> None:
        if self._path != self._seen:  # saved under another name
            self._on_current()


def _look(_control: Any, path: Path, content: CalibrationSet, before: _Read | None) -> _Read:
    """Read the programmes beside a set and their sets; `before` if nothing changed."""
    found = beside(path, content)
    siblings = found.siblings(whole=True)
    stamp = _stamp(found, [s.path for s in siblings])
    if before is not None and before.stamp == stamp and before.company.found == found:
        return before
    outcomes: dict[Path, CalibrationSet | BitepointError] = {}
    for sibling in siblings:
        try:
            outcomes[sibling.path] = read_set(sibling.path).set
        except BitepointError as problem:
            outcomes[sibling.path] = problem
    return _Read(company(found, content, outcomes, whole=True), stamp)


def _stamp(found: Beside, paths: list[Path]) -> _Stamp:
    marks = []
    for path in (*(named.programme.path for named in found.naming), *paths):
        try:
            status = path.stat()
            marks.append((str(path), status.st_mtime_ns, status.st_size))
        except OSError:
            marks.append((str(path), 0, -1))
    return tuple(marks)


def sets_against(desk: Desk) -> tuple[CalibrationSet, ...]:
    """Return the sets that the current one is held against: its programme's, and the reference."""
    company = company_in_use(desk)
    found = company.sets() if company is not None else ()
    reference = desk.reference
    if reference is None or reference is desk.current:
        return found
    known = any(reference.content is one for one in found)
    return found if known else (*found, reference.content)


def company_in_use(
    desk: Desk, jobs: Jobs | None = None, memory: Memory | None = None
) -> CompanyInUse | None:
    """Return the desk's `CompanyInUse`, making it if there is none yet and jobs are given."""
    found = desk.findChild(CompanyInUse)
    if isinstance(found, CompanyInUse):
        return found
    return CompanyInUse(desk, jobs, memory) if jobs is not None else None
