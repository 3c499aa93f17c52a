"""Edits recorded between saves, so that a crash loses at most the one being made.

Nothing lies on disk until the first edit.  Then a recovery folder holds a copy of the file as it
was opened or last saved, and every edit since.  A journal that cannot be written does not stop
anybody from editing: `Journal.problem` says what is wrong, and the next edit tries again.
"""

from __future__ import annotations

import json
import os
import secrets
import threading
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from ..core.calibration_set import CalibrationSet
from ..errors import BitepointError
from .history import HistoryColumns
from .journal_file import JournalFile, line_of, read_journal
from .places import ABOUT, BASE, JOURNAL, FolderLock, recovery_root, remove_folder
from .reading import FileStamp, Record
from .source import Stamp, Unreadable, read_bytes
from .writing import Saved, image_of

SYNC_PAUSE = 0.05
"""Seconds that the background fsync waits for more edits."""


class Base:
    """The state that a journal's edits start from.

    Parameters
    ----------
    path : Path or None
        None for a set that was never saved.
    stamp : FileStamp or None
        How the file was when it held this state.
    content, history, records
        The state itself, for when the file no longer holds it.
    """

    def __init__(
        self,
        path: Path | None,
        stamp: FileStamp | None,
        content: CalibrationSet,
        history: HistoryColumns,
        records: Sequence[Record] = (),
    ) -> None:
        self.path = path.absolute() if path is not None else None
        self.stamp = stamp
        self._content = content
        self._history = history.with_entries(())  # what is appended later does not belong here
        self._records = records

    def image(self) -> tuple[bytes, str]:
        """Return the bytes of a set file with this state, and its content hash."""
        if self.path is not None and self.stamp is not None:
            try:
                if Stamp.of(self.path.stat()) == self.stamp.stamp:
                    data, stamp = read_bytes(self.path)
                    if stamp == self.stamp.stamp:
                        return data, self.stamp.content_sha
            except (OSError, Unreadable):
                pass  # gone or out of reach: make it anew
        return image_of(self._content, self._history, self._records)


class Journal:
    """The journal of one open document.  Make it with `start`."""

    def __init__(self, base: Base) -> None:
        self._base = base
        self._lock = threading.RLock()
        self._folder: Path | None = None
        self._folder_lock: FolderLock | None = None
        self._file: JournalFile | None = None
        self._sync: _Syncer | None = None
        self._count = 0
        self._waiting: list[bytes] = []
        self.problem = ""
        """Why edits are not being recorded at present; empty if they are."""

    @classmethod
    def start(
        cls,
        path: Path | str | None,
        stamp: FileStamp | None,
        content: CalibrationSet,
        history: HistoryColumns,
        records: Sequence[Record] = (),
    ) -> Journal:
        """Return a journal for a document; nothing is written before the first edit.

        Parameters
        ----------
        path : path-like or None
            None for a set that was never saved.
        stamp : FileStamp or None
            Of the file as it was opened.
        content : CalibrationSet
        history : HistoryColumns
        records : sequence of (kind, plain data)
        """
        return cls(Base(None if path is None else Path(path), stamp, content, history, records))

    def append(self, record: Mapping[str, Any]) -> None:
        """Record one change in its plain form.

        When this returns, the edit survives the end of this process; an fsync follows soon.
        """
        with self._lock:
            self._count += 1
            self._waiting.append(line_of({"n": self._count, "kind": "edit", "change": record}))
            self._write_waiting()

    def save_point(self) -> SavePoint:
        """Note which edits the state to be saved now includes: all up to this moment."""
        with self._lock:
            return SavePoint(self, self._count)

    def saving(self, content_sha: str) -> None:
        """Note that the file is about to hold the present state (see `save_point`)."""
        self._saving(content_sha, self._count)

    def close(self) -> None:
        """End the journal of a document that is closed on purpose; its folder goes."""
        with self._lock:
            self._release()
            if self._folder is not None:
                remove_folder(self._folder)
                self._folder = None
            self._waiting.clear()

    @property
    def folder(self) -> Path | None:
        """The recovery folder; None while there is nothing to recover."""
        return self._folder

    # -- within the package ----------------------------------------------------------------

    def _saving(self, content_sha: str, position: int) -> None:
        with self._lock:
            if self._file is None:
                return
            self._count += 1
            record = {"n": self._count, "kind": "saving", "sha": content_sha, "upto": position}
            self._waiting.append(line_of(record))
            self._write_waiting()
            sync = self._sync
        if sync is not None:  # outside the lock: an edit must not wait for the disk
            sync.now()

    def _saved(self, base: Base, position: int) -> None:
        """Start anew from a saved state, carrying over the edits that it does not include."""
        with self._lock:
            old = self._folder
            later = self._edits_after(position)
            self._release()
            self._base, self._folder, self._count = base, None, 0
            self._waiting = []
            for change in later:
                self._count += 1
                self._waiting.append(line_of({"n": self._count, "kind": "edit", "change": change}))
            if later:
                self._write_waiting(replaces=old.name if old else "")
            if old is not None and not self.problem:
                remove_folder(old)

    def _edits_after(self, position: int) -> list[Any]:
        if self._folder is None or self._count == position:
            return []
        try:
            records = read_journal(self._folder / JOURNAL).records
        except OSError:
            return []
        return [r["change"] for r in records if r["kind"] == "edit" and r["n"] > position]

    def _write_waiting(self, replaces: str = "") -> None:
        try:
            if self._file is None:
                self._open(replaces)
            else:
                self._write_lines(self._file)
            self.problem = ""
        except (OSError, BitepointError) as error:
            self.problem = f"Edits are not being recorded for recovery: {error}"
        if self._sync is not None:
            self._sync.soon()

    def _write_lines(self, file: JournalFile) -> None:
        while self._waiting:
            file.write(self._waiting[0])
            del self._waiting[0]

    def _open(self, replaces: str) -> None:
        image, sha = self._base.image()
        root = recovery_root()
        root.mkdir(parents=True, exist_ok=True)
        folder = root / f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{secrets.token_hex(6)}"
        folder.mkdir(mode=0o700)
        lines = list(self._waiting)
        lock: FolderLock | None = None
        file: JournalFile | None = None
        try:
            lock = FolderLock(folder)
            (folder / BASE).write_bytes(image)
            file = JournalFile(folder / JOURNAL)
            self._write_lines(file)
            # Last, because only this makes the folder count: it may stand for another folder,
            # which must not be given up before everything is here.
            _write_about(folder, self._base, sha, replaces)
        except OSError:
            self._waiting = lines
            if file is not None:
                file.close()
            if lock is not None:
                lock.release()
            remove_folder(folder)
            raise
        self._hold(folder, lock, file)

    def _hold(self, folder: Path, lock: FolderLock, file: JournalFile) -> None:
        self._folder, self._folder_lock, self._file = folder, lock, file
        self._sync = _Syncer(file.handle, folder / BASE)

    def _release(self) -> None:
        if self._sync is not None:
            self._sync.end()
            self._sync = None
        if self._file is not None:
            self._file.close()
            self._file = None
        if self._folder_lock is not None:
            self._folder_lock.release()
            self._folder_lock = None


class SavePoint:
    """One save, from the moment its state was taken; give it to `write_set` as `journal`.

    Parameters
    ----------
    journal : Journal
    position : int
        The last edit that the saved state includes.
    """

    def __init__(self, journal: Journal, position: int) -> None:
        self._journal = journal
        self._position = position

    def saving(self, content_sha: str) -> None:
        """Note that the file is about to hold this content."""
        self._journal._saving(content_sha, self._position)

    def saved(
        self,
        path: Path | str,
        saved: Saved,
        content: CalibrationSet,
        records: Sequence[Record] = (),
    ) -> None:
        """Note that the save is done: the journal starts anew from the saved state.

        Edits made since the save point are kept.

        Parameters
        ----------
        path : path-like
        saved : Saved
            What `write_set` returned.
        content : CalibrationSet
            What was saved.
        records : sequence of (kind, plain data)
        """
        base = Base(Path(path), saved.file_stamp, content, saved.history, records)
        self._journal._saved(base, self._position)


def continued(folder: Path, lock: FolderLock, base: Base) -> Journal:
    """Return a journal that goes on in the recovery folder of a crashed process.

    Raises
    ------
    OSError
    """
    found = read_journal(folder / JOURNAL)
    journal = Journal(base)
    journal._count = len(found.records)
    journal._hold(folder, lock, JournalFile(folder / JOURNAL, found.good_bytes))
    return journal


def _write_about(folder: Path, base: Base, sha: str, replaces: str) -> None:
    stamp = base.stamp
    about = {
        "schema": 1,
        "path": str(base.path) if base.path is not None else None,
        "content_sha": sha,
        "stamp": [stamp.size, stamp.mtime_ns, stamp.inode] if stamp is not None else None,
        "started": datetime.now(UTC).isoformat(timespec="seconds"),
        "replaces": replaces,
    }
    fresh = folder / f"{ABOUT}.new"
    fresh.write_text(json.dumps(about), encoding="ascii")
    fresh.replace(folder / ABOUT)


class _Syncer:
    """Flushes a journal to the disk from a thread of its own, so that no edit waits for it."""

    def __init__(self, handle: int, base: Path) -> None:
        self._handle = os.dup(handle)
        self._base: Path | None = base
        self._wanted = threading.Event()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="journal sync", daemon=True)
        self._thread.start()

    def soon(self) -> None:
        self._wanted.set()

    def now(self) -> None:
        _sync(self._handle)

    def end(self) -> None:
        self._ending.set()
        self._wanted.set()
        self._thread.join(0.1)  # the thread closes its handle itself, however long a sync takes

    def _run(self) -> None:
        while self._wanted.wait() and not self._ending.wait(SYNC_PAUSE):
            self._wanted.clear()
            if self._base is not None:
                self._sync_base(self._base)
                self._base = None
            _sync(self._handle)
        os.close(self._handle)

    @staticmethod
    def _sync_base(path: Path) -> None:
        try:
            handle = os.open(path, os.O_RDWR)
        except OSError:
            return
        try:
            _sync(handle)
        finally:
            os.close(handle)


def _sync(handle: int) -> None:
    try:
        os.fsync(handle)
    except OSError:  # a disk that cannot sync still holds what was written until power fails
        return
