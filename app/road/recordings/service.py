"""The recordings that are open: reading, mapping and replaying them in the background."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, QTimer, Signal

from app.desk import Desk
from app.needs import Memory
from app.vehicle_in_use import vehicle_in_use
from app.work.control import Unforeseen
from app.work.jobs import Jobs
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError
from calib_model.evidence.coverage import added
from calib_model.evidence.mapping import ChannelMap, source_key, suggest
from calib_model.session.document import Document

from . import work
from .layouts import Layouts, doubt_key
from .work import Outcome, Sets

if TYPE_CHECKING:
    from calib_model.evidence.recording import Recording

AFTER_EDIT_MS = 350
"""Edits follow each other quickly; a replay waits until they pause."""


@dataclass(eq=False)
class OpenDrive:
    """One open recording."""

    path: Path
    recording: Recording
    chosen: ChannelMap
    layout: Any = None
    """How the file is laid out; None for a format that says so itself."""
    outcome: Outcome | None = None
    problem: str = ""
    stale: bool = True
    running: bool = False
    counts: bool = True
    """Whether it is part of the coverage that the tables show."""
    replayed: Document | None = None
    """The document whose set is A of the outcome."""
    stated: Document | None = None
    """The set that a person says was in the vehicle."""

    @property
    def name(self) -> str:
        """File name."""
        return self.path.name


@dataclass(eq=False)
class _Said:
    """What is said of the layout of a file that is being read."""

    answers: dict[str, str]
    source: str = ""
    """What tells its source; empty while that is not known."""
    by_user: bool = False
    """Whether the user was asked."""
    looked_up: bool = False
    """Whether what was remembered has been looked up."""
    recalled: bool = False
    """Whether `answers` is what was remembered."""


class Recordings(QObject):
    """Open recordings and their replays.

    Signals
    -------
    listed
        A recording came or went.
    chosen_changed
        Another recording is looked at.
    replayed : OpenDrive
        A replay came, failed, or is out of date.
    layout_wanted : Path, answers, UnclearLayout
        How a text file is laid out is in doubt; `open` with more answers reads it.
    opened
        Recordings are about to be read.
    refused : Path, str
        A file could not be read, in words.
    """

    listed = Signal()
    chosen_changed = Signal()
    replayed = Signal(object)
    layout_wanted = Signal(object, object, object)
    opened = Signal()
    refused = Signal(object, str)

    def __init__(self, desk: Desk, jobs: Jobs, memory: Memory, parent: QObject) -> None:
        super().__init__(parent)
        self.desk, self.jobs, self.memory = desk, jobs, memory
        self.drives: list[OpenDrive] = []
        self.chosen: OpenDrive | None = None
        self.reading: list[Path] = []
        self.layouts = Layouts(memory)
        self._said: dict[Path, _Said] = {}
        self.vehicle = vehicle_in_use(desk, memory)
        self._later = QTimer(self)
        self._later.setSingleShot(True)
        self._later.setInterval(AFTER_EDIT_MS)
        self._later.timeout.connect(self._replay_stale)
        desk.edited.connect(lambda _event: self.outdate())
        desk.current_changed.connect(self.outdate)
        desk.reference_changed.connect(self.outdate)
        self.vehicle.changed.connect(self.outdate)

    # -- opening ---------------------------------------------------------------------------------

    def open(self, paths: Iterable[Path], answers: Mapping[str, str] | None = None) -> None:
        """Read files in the background; one that is open already is looked at.

        Parameters
        ----------
        paths : iterable of Path
        answers : mapping of str to str, optional
            What the user says of the layout; the files are read (again) so.
        """
        self.opened.emit()
        for path in [Path(p).absolute() for p in paths]:
            there = self.at(path)
            if there is not None and answers is None:
                self.choose(there)
            elif path not in self.reading:
                self.reading.append(path)
                self.listed.emit()
                self._said[path] = _Said(dict(answers or {}), by_user=answers is not None)
                self._look(path)

    def at(self, path: Path) -> OpenDrive | None:
        """Return the open recording of a file."""
        return next((d for d in self.drives if d.path == path), None)

    def with_digest(self, sha256: str) -> OpenDrive | None:
        """Return the open recording whose file has a digest."""
        return next((d for d in self.drives if d.recording.sha256 == sha256), None)

    def _look(self, path: Path) -> None:
        job = self.jobs.start(
            f"Looking at {path.name}",
            work.look,
            path,
            self._said[path].answers,
            done=lambda found: self._looked(path, *found),
            failed=lambda error: self._failed(path, error),
            cancellable=True,
        )
        job.ended.connect(lambda: self._forget(path) if job.state == "cancelled" else None)

    def _looked(self, path: Path, layout: Any, source: str) -> None:
        said = self._said[path]
        said.source = said.source or source
        if self._recalled(path):
            return
        if isinstance(layout, BaseException):
            self._forget(path)
            self.layout_wanted.emit(path, said.answers, layout)
            return
        job = self.jobs.start(
            f"Reading {path.name}",
            work.read,
            path,
            layout,
            done=lambda recording: self._take_in(path, recording, layout),
            failed=lambda error: self._failed(path, error, reading=True),
            cancellable=True,
        )
        job.ended.connect(lambda: self._forget(path) if job.state == "cancelled" else None)

    def _forget(self, path: Path) -> None:
        if path in self.reading:
            self.reading.remove(path)
            self.listed.emit()

    def _recalled(self, path: Path) -> bool:
        """Look again with what the user said of this source before, if that is news."""
        said = self._said[path]
        recalled = {} if said.by_user or said.looked_up else self.layouts.recall(said.source)
        said.looked_up = bool(said.source)
        if not recalled:
            return False
        said.answers, said.recalled = recalled, True
        self._look(path)
        return True

    def _failed(self, path: Path, error: BitepointError, *, reading: bool = False) -> None:
        said = self._said[path]
        doubt = reading and hasattr(error, "what")  # only the user can tell
        if doubt:
            said.source = said.source or doubt_key(path, error)
            if self._recalled(path):
                return
        elif said.recalled and not isinstance(error, Unforeseen):
            # What was said of the source does not hold for this file: as if it had not been said.
            said.answers, said.recalled = {}, False
            self._look(path)
            return
        self._forget(path)
        if doubt:
            self.layout_wanted.emit(path, said.answers, error)
            return
        self.refused.emit(path, str(error))

    def _take_in(self, path: Path, recording: Recording, layout: Any) -> None:
        self._forget(path)
        drive = OpenDrive(path, recording, self.suggested(recording), layout)
        old = self.at(path)
        if old is not None:
            self.drives[self.drives.index(old)] = drive
            self.chosen = None if self.chosen is old else self.chosen
        else:
            self.drives.append(drive)
        self.memory.remember("road/folder", str(path.parent))
        self.listed.emit()
        self.choose(drive)
        faults = len(recording.faults)
        noun = "fault" if faults == 1 else "faults"
        said = self._said.pop(path, _Said({}))
        if said.by_user:
            self.layouts.keep(said.source, said.answers)
        note = " It was read as you said of this source before." if said.recalled else ""
        self.desk.tell(
            f"{path.name} is open: {len(recording.channels)} channels, {faults} {noun}.{note}"
        )
        self._replay(drive)

    def close(self, drive: OpenDrive) -> None:
        """Let a recording go."""
        place = self.drives.index(drive)
        self.drives.remove(drive)
        if self.chosen is drive:
            rest = self.drives
            self.chosen = rest[min(place, len(rest) - 1)] if rest else None
            self.chosen_changed.emit()
        self.listed.emit()

    def choose(self, drive: OpenDrive) -> None:
        """Look at a recording."""
        if drive is not self.chosen:
            self.chosen = drive
            self.chosen_changed.emit()

    # -- mapping ---------------------------------------------------------------------------------

    def suggested(self, recording: Recording) -> ChannelMap:
        """Return the mapping that is remembered for recordings of a source, or a suggestion."""
        text = self.memory.remembered(_key(recording))
        if text:
            try:
                return ChannelMap.from_plain(json.loads(text))
            except (ValueError, BitepointError):
                pass  # written by another version; a suggestion does no harm
        return suggest(recording)

    def set_mapping(self, drive: OpenDrive, chosen: ChannelMap) -> None:
        """Use another mapping for a recording, and remember it for its source."""
        drive.chosen = chosen
        self.memory.remember(_key(drive.recording), json.dumps(chosen.to_plain()))
        self._outdate(drive)

    def count(self, drive: OpenDrive, on: bool) -> None:
        """Let a recording count for the coverage of the tables, or not."""
        drive.counts = on
        self.replayed.emit(drive)

    def state_set(self, drive: OpenDrive, document: Document | None) -> None:
        """Say which set was in the vehicle; None for what the recording says."""
        drive.stated = document
        self._outdate(drive)

    # -- replaying -------------------------------------------------------------------------------

    def outdate(self) -> None:
        """Replay every recording again, once the edits pause."""
        for drive in self.drives:
            drive.stale = True
        if self.drives:
            self._later.start()

    def _outdate(self, drive: OpenDrive) -> None:
        drive.stale = True
        self._later.start()

    def replay_now(self) -> None:
        """Do not wait for a pause."""
        self._later.stop()
        self._replay_stale()

    def _replay_stale(self) -> None:
        for drive in self.drives:
            if drive.stale and not drive.running:
                self._replay(drive)

    def _sets(self, drive: OpenDrive) -> Sets | None:
        current, reference = self.desk.current, self.desk.reference
        if current is None:
            return None
        known: list[CalibrationSet] = []
        for document in self.desk.documents:
            known += [document.content, document.saved_content]
        return Sets(
            current.content,
            reference.content if reference is not None and reference is not current else None,
            current.history,
            current.pending,
            tuple(known),
            drive.stated.saved_content if drive.stated is not None else None,
        )

    def _replay(self, drive: OpenDrive) -> None:
        sets = self._sets(drive)
        if sets is None:
            drive.outcome, drive.stale = None, True
            drive.problem = "No set is open. Open one with Ctrl+O to replay the drive through it."
            self.replayed.emit(drive)
            return
        drive.stale, drive.running = False, True
        job = self.jobs.start(
            f"Replaying {drive.name}",
            work.replayed,
            drive.recording,
            drive.chosen,
            self.vehicle.constants,
            sets,
            done=lambda outcome, document=self.desk.current: self._got(drive, outcome, document),
            failed=lambda error: self._replay_failed(drive, error),
            cancellable=True,
        )
        job.ended.connect(lambda: self._replay_ended(drive))
        self.replayed.emit(drive)

    def _got(self, drive: OpenDrive, outcome: Outcome, document: Document | None) -> None:
        drive.running = False
        drive.outcome, drive.replayed, drive.problem = outcome, document, ""
        self.replayed.emit(drive)

    def _replay_failed(self, drive: OpenDrive, error: BitepointError) -> None:
        drive.running = False
        drive.outcome, drive.problem = None, str(error)
        self.replayed.emit(drive)

    def _replay_ended(self, drive: OpenDrive) -> None:
        drive.running = False
        if drive.stale:
            self._replay(drive)

    # -- together --------------------------------------------------------------------------------

    def coverage(self) -> dict[str, Any]:
        """Return the coverage of the recordings that count, added up; for the current set only."""
        current = self.desk.current
        if current is None:
            return {}
        tables = current.content.tables
        parts = [
            {
                id: one
                for id, one in drive.outcome.coverage.items()
                # After an axis was edited the cells are others, until the next replay is there.
                if id in tables and one.fits(tables[id])
            }
            for drive in self.drives
            if drive.counts and drive.outcome is not None and drive.replayed is current
        ]
        try:
            return added(parts)
        except BitepointError:  # replays through other breakpoints: the next ones are on their way
            return {}


def _key(recording: Recording) -> str:
    """Return the key under which the mapping of a source is remembered."""
    return f"road/mapping/{source_key(recording)}"
