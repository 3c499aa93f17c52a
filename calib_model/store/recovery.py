"""Find and read what a crashed process left behind.  The original file is never written to."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

from ..core.plain_file import read_plain
from ..errors import DamagedFile, FileProblem
from .journal import Base, Journal, continued
from .journal_file import Journalled, read_journal
from .places import ABOUT, BASE, JOURNAL, FolderLock, recovery_root, remove_folder
from .reading import FileStamp, StoredSet, read_set
from .source import Stamp

MAX_ABOUT = 1 << 20
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
    UNKNOWN = "unknown"
    """Which file it was is lost; the state the edits begin with is not."""


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
    _kept: bool = False
    """Whether there is something in it beside `edits`."""
    _carried: bool = True
    """Whether the edits are here that the folder took over from the one it replaces."""
    _whole: bool = True
    """Whether it can do without that one."""

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
            base = self._base()
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
        lost = _about_file(self.folder) is None and self.relation is not Relation.UNKNOWN
        about = self._about if lost else None
        journal = continued(self.folder, self._lock, state, about)
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

    def _base(self) -> StoredSet:
        """Read the state the edits begin with: the copy, else the file while it is that state."""
        sha = self._about["content_sha"]
        try:
            base = read_set(self.folder / BASE)
            if sha in (base.content_sha, ""):
                return base
            problem: FileProblem = DamagedFile(
                self.folder / BASE,
                "",
                "It is not the state the edits began with.",
                "Discard the recovery.",
            )
        except FileProblem as error:
            problem = error
        if self.path is not None and self.relation is Relation.UNCHANGED:
            base = read_set(self.path)
            if base.content_sha == sha:
                return base
        raise problem

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
    found = [left for folder in folders if (left := _leftover(folder, wanted)) is not None]
    names = {left.folder.name for left in found}
    replaced = set[str]()
    for leftover in found:
        older = str(leftover._about.get("replaces", ""))
        if leftover._whole:
            replaced.add(older)
        elif older in names and not leftover._carried:
            replaced.add(leftover.folder.name)  # all it has is in the older one, and more
    kept = []
    for leftover in found:
        if leftover.folder.name in replaced or not (leftover.edits or leftover._kept):
            leftover.discard()
        elif leftover.edits:
            kept.append(leftover)
        else:
            leftover.release()
    return sorted(kept, key=lambda left: left.when, reverse=True)


def _leftover(folder: Path, wanted: Path | None) -> Leftover | None:
    about = _about_file(folder)
    if about is not None and wanted is not None and _path_in(about) != wanted:
        return None
    if not (folder / JOURNAL).exists():
        _tidy(folder)
        return None
    try:
        lock = FolderLock(folder)
    except OSError:  # a running process's
        return None
    try:
        journalled = read_journal(folder / JOURNAL)
        when = datetime.fromtimestamp((folder / JOURNAL).stat().st_mtime, UTC)
    except OSError:  # nobody can tell what it holds
        lock.release()
        return None
    relation, upto, now = Relation.UNKNOWN, 0, None
    about = about or _about_journal(journalled)
    path = _path_in(about) if about is not None else None
    if (wanted is not None and path != wanted) or not (journalled.records or journalled.damaged):
        lock.release()
        if wanted is None:
            _tidy(folder)
        return None
    if about is not None:
        relation, upto, now = _relation(path, about, journalled)
    else:
        about = {"content_sha": ""}  # the power went before it was on the disk
    edits = sum(r["kind"] == "edit" and r["n"] > upto for r in journalled.records)
    # Folders made before this was noted had everything when they began to count.
    carried = len(journalled.records) >= about.get("carries", 0)
    in_file = relation in (Relation.UNCHANGED, Relation.SAVED)
    whole = carried and (in_file or _has_base(folder, about.get("base_bytes")))
    return Leftover(
        path, when, edits, relation, journalled.damaged, folder, about, lock, upto, now,
        _kept=journalled.beyond > 0, _carried=carried, _whole=whole,
    )  # fmt: skip


def _path_in(about: dict[str, Any]) -> Path | None:
    path = about.get("path")
    return None if path is None else Path(path)


def _about_file(folder: Path) -> dict[str, Any] | None:
    try:
        return _about_of(json.loads(read_plain(folder / ABOUT, "a note of a journal", MAX_ABOUT)))
    except (FileProblem, ValueError, RecursionError):
        return None


def _about_journal(journalled: Journalled) -> dict[str, Any] | None:
    """Return what the first record says, which is on the disk when any edit is."""
    return _about_of(journalled.records[0].get("about")) if journalled.records else None


def _about_of(about: object) -> dict[str, Any] | None:
    if (
        not isinstance(about, dict)
        or not isinstance(about.get("path"), str | None)
        or not isinstance(about.get("content_sha"), str)
    ):
        return None
    return about


def _has_base(folder: Path, size: int | None) -> bool:
    try:
        return size in (None, (folder / BASE).stat().st_size)
    except OSError:
        return False


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
    except (OSError, ValueError, FileProblem):  # a name may be none that a file can have
        return Relation.MISSING, 0, None
    if now.content_sha in marks:
        return Relation.SAVED, marks[now.content_sha], now
    if now.content_sha == about["content_sha"]:
        return Relation.UNCHANGED, 0, now
    return Relation.CHANGED, 0, None
