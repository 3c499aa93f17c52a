"""Find and read what a crashed process left behind.  The original file is never written to."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

from ..errors import DamagedFile, FileProblem
from .journal import Base, Journal, continued
from .journal_file import Journalled, read_journal
from .places import ABOUT, BASE, JOURNAL, FolderLock, recovery_root, remove_folder
from .reading import FileStamp, StoredSet, read_set
from .source import Stamp

STALE_SECONDS = 3600.0
"""After this time a folder without contents is what a crash left, not one being made."""


class Relation(StrEnum):
    """How the original file stands to what was left behind."""

    UNCHANGED = "unchanged"
    """It is as it was when the edits began."""
    SAVED = "saved"
    """It holds a later save; only the edits after that are missing."""
    CHANGED = "changed"
    """Another program wrote to it since."""
    MISSING = "missing"
    """It is gone, or cannot be read."""
    UNTITLED = "untitled"
    """The set was never saved."""


@dataclass
class Leftover:
    """Unsaved edits of a process that did not end well.

    Parameters
    ----------
    path : Path or None
        The original file; None for a set that was never saved.
    when : datetime
        Of the last edit, UTC.
    edits : int
        Number of edits that the original file lacks.
    relation : Relation
    damaged : bool
        Whether the end of the journal was cut off: at most the last edit is missing.
    folder : Path
    """

    path: Path | None
    when: datetime
    edits: int
    relation: Relation
    damaged: bool
    folder: Path
    _about: dict[str, Any] = field(repr=False)
    _lock: FolderLock | None = field(repr=False)
    _upto: int = 0
    _now: FileStamp | None = None

    def load(self) -> tuple[StoredSet, list[dict[str, Any]], Relation]:
        """Return the state the edits start from, the edits (plain changes), and the relation.

        Where the original holds a later save, that is the state, and the edits are those after.
        The state's `file_stamp` is right for the next save: an original that another program
        changed is noticed.

        Raises
        ------
        FileProblem
            If the copy of the state cannot be read.
        """
        if self.relation is Relation.SAVED and self.path is not None:
            base = read_set(self.path)
        else:
            base = read_set(self.folder / BASE)
            if base.content_sha != self._about["content_sha"]:
                raise DamagedFile(
                    self.folder / BASE,
                    "",
                    "It is not the state the edits began with.",
                    "Discard the recovery.",
                )
            base = replace(base, file_stamp=self._now or self._first_stamp(base.content_sha))
        changes = [
            r["change"]
            for r in read_journal(self.folder / JOURNAL).records
            if r["kind"] == "edit" and r["n"] > self._upto
        ]
        return base, changes, self.relation

    def adopt(self, base: StoredSet) -> Journal:
        """Go on in the same journal, for a document that took the edits over.

        Parameters
        ----------
        base : StoredSet
            As `load` returned it.
        """
        assert self._lock is not None
        state = Base(self.path, base.file_stamp, base.set, base.history, base.records)
        journal = continued(self.folder, self._lock, state)
        self._lock = None
        return journal

    def discard(self) -> None:
        """Throw the edits away."""
        self.release()
        remove_folder(self.folder)

    def release(self) -> None:
        """Leave it for another time."""
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def _first_stamp(self, sha: str) -> FileStamp:
        size, mtime_ns, inode = self._about.get("stamp") or (0, 0, 0)
        return FileStamp(size, mtime_ns, inode, sha)


def list_leftovers(path: Path | str | None = None) -> list[Leftover]:
    """Find what crashed processes left behind, newest first; tidy up what holds nothing.

    The journal of a running process is left alone.

    Parameters
    ----------
    path : path-like, optional
        Only those of this file.
    """
    root = recovery_root()
    try:
        folders = sorted((f for f in root.iterdir() if f.is_dir()), reverse=True)
    except OSError:
        return []
    wanted = None if path is None else Path(path).absolute()
    found: list[Leftover] = []
    replaced: set[str] = set()
    for folder in folders:
        leftover = _leftover(folder, wanted)
        if leftover is not None:
            found.append(leftover)
            replaced.add(str(leftover._about.get("replaces", "")))
    kept = []
    for leftover in found:
        if leftover.folder.name in replaced or not leftover.edits:
            leftover.discard()
        else:
            kept.append(leftover)
    return sorted(kept, key=lambda left: left.when, reverse=True)


def _leftover(folder: Path, wanted: Path | None) -> Leftover | None:
    about = _about_of(folder)
    if about is None:
        _tidy(folder)
        return None
    original = about["path"]
    path = None if original is None else Path(original)
    if wanted is not None and path != wanted:
        return None
    try:
        lock = FolderLock(folder)
    except OSError:  # a running process's
        return None
    try:
        journalled = read_journal(folder / JOURNAL)
        when = datetime.fromtimestamp((folder / JOURNAL).stat().st_mtime, UTC)
    except OSError:
        journalled = Journalled([], 0, damaged=False)
        when = datetime.fromtimestamp(0, UTC)
    relation, upto, now = _relation(path, about, journalled)
    edits = sum(r["kind"] == "edit" and r["n"] > upto for r in journalled.records)
    return Leftover(path, when, edits, relation, journalled.damaged, folder, about, lock, upto, now)


def _about_of(folder: Path) -> dict[str, Any] | None:
    try:
        about = json.loads((folder / ABOUT).read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    if (
        not isinstance(about, dict)
        or not isinstance(about.get("path"), str | None)
        or not isinstance(about.get("content_sha"), str)
        or not (folder / BASE).exists()
    ):
        return None
    return about


def _tidy(folder: Path) -> None:
    try:
        old = time.time() - folder.stat().st_mtime > STALE_SECONDS
        if old:
            FolderLock(folder).release()
            remove_folder(folder)
    except OSError:
        return


def _relation(
    path: Path | None, about: dict[str, Any], journalled: Journalled
) -> tuple[Relation, int, FileStamp | None]:
    """Return the relation, the last edit the file has, and the file's stamp where it is ours."""
    if path is None:
        return Relation.UNTITLED, 0, None
    marks = {r["sha"]: int(r["upto"]) for r in journalled.records if r["kind"] == "saving"}
    try:
        stamp = Stamp.of(path.stat())
        first = about.get("stamp")
        if first == list(stamp) and not marks:
            return Relation.UNCHANGED, 0, FileStamp(*stamp, about["content_sha"])
        now = read_set(path).file_stamp
    except (OSError, FileProblem):
        return Relation.MISSING, 0, None
    if now.content_sha in marks:
        return Relation.SAVED, marks[now.content_sha], now
    if now.content_sha == about["content_sha"]:
        return Relation.UNCHANGED, 0, now
    return Relation.CHANGED, 0, None
