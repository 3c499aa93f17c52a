"""Edits recorded between saves, so that a crash loses at most the one being made.

Nothing lies on disk until the first edit.  Then a recovery folder holds a copy of the file as it
was opened or last saved, and every edit since.  A journal that cannot be written does not stop
anybody from editing: `Journal.problem` says what is wrong, and the next edit tries again.
"""

from __future__ import annotations

import json
import secrets
import threading
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

from ..core.calibration_set import CalibrationSet
from ..errors import BitepointError
from .durable import make_folders
from .history import HistoryColumns
from .journal_file import JournalFile, line_of, line_with, read_journal, record_of
from .places import ABOUT, BASE, JOURNAL, FolderLock, recovery_root, remove_folder
from .reading import FileStamp, Record
from .source import Stamp, Unreadable, read_bytes
from .syncing import Syncer
from .writing import Saved, image_of


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
        self._sync: Syncer | None = None
        self._superseded: _Superseded | None = None
        self._count = 0
        self._waiting: list[bytes] = []
        self._edits = self._written = self._on_disk = 0
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
            self._edits += 1
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
            superseded = self._superseded
            self._release()
            if superseded is not None:
                superseded.remove()
            if self._folder is not None:
                remove_folder(self._folder)
                self._folder = None
            self._waiting.clear()

    @property
    def folder(self) -> Path | None:
        """The recovery folder; None while there is nothing to recover."""
        return self._folder

    @property
    def on_disk(self) -> int:
        """How many of the edits given to `append` no power cut can take any more.

        The system's word that they were flushed, in this journal or, since, in the saved file.
        """
        return self._on_disk

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
            later = self._edits_after(position)
            old = self._give_up_folder()
            self._base, self._count = base, 0
            self._waiting = []
            for change in later:
                self._count += 1
                self._waiting.append(line_of({"n": self._count, "kind": "edit", "change": change}))
            if later:
                # What was carried over lies safely in the old folder until it does in the new.
                self._superseded = old
                self._write_waiting()
                return
            self._on_disk = self._written = self._edits
            if old is not None:
                old.remove()

    def _edits_after(self, position: int) -> list[Any]:
        if self._count == position:
            return []
        records: list[dict[str, Any]] = []
        if self._folder is not None:
            try:
                records = read_journal(self._folder / JOURNAL).records
            except OSError:
                pass  # what still waits to be written is here all the same
        records += [found for line in self._waiting if (found := record_of(line.rstrip(b"\n")))]
        return [r["change"] for r in records if r["kind"] == "edit" and r["n"] > position]

    def _write_waiting(self) -> None:
        try:
            if self._file is None:
                self._open()
            else:
                self._write_lines(self._file)
            self.problem = ""
            self._written = self._edits
        except (OSError, BitepointError) as error:
            self.problem = f"Edits are not being recorded for recovery: {error}"
        if self._sync is not None:
            self._sync.soon()

    def _write_lines(self, file: JournalFile) -> None:
        while self._waiting:
            file.write(self._waiting[0])
            del self._waiting[0]

    def _open(self) -> None:
        image, sha = self._base.image()
        root = recovery_root()
        named = make_folders(root)
        folder = root / f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{secrets.token_hex(6)}"
        folder.mkdir(mode=0o700)
        lines = list(self._waiting)
        replaces = self._superseded.folder.name if self._superseded is not None else ""
        about = _about(self._base, sha, len(image), replaces, len(lines))
        lock: FolderLock | None = None
        file: JournalFile | None = None
        try:
            lock = FolderLock(folder)
            (folder / BASE).write_bytes(image)
            file = JournalFile(folder / JOURNAL)
            # With the first edit too: what is synced with it cannot be missing without it.
            self._waiting[0] = line_with(self._waiting[0], about=about)
            self._write_lines(file)
            _write_about(folder, about)
        except OSError:
            self._waiting = lines
            if file is not None:
                file.close()
            if lock is not None:
                lock.release()
            remove_folder(folder)
            raise
        self._hold(folder, lock, file, [root, *named])

    def _hold(
        self, folder: Path, lock: FolderLock, file: JournalFile, above: Sequence[Path]
    ) -> None:
        self._folder, self._folder_lock, self._file = folder, lock, file
        self._sync = Syncer(
            file.handle,
            [folder / BASE, folder / ABOUT],
            [folder, *above],
            lambda: self._written,
            partial(self._reached, self._superseded),
        )

    def _reached(self, superseded: _Superseded | None, position: int) -> None:
        """Called by the syncing thread: without the lock, for which it would make edits wait."""
        self._on_disk = max(self._on_disk, position)
        if superseded is not None:
            superseded.remove()

    def _give_up_folder(self) -> _Superseded | None:
        """Let go of the recovery folder, but keep others from taking it for a left-over one."""
        folder, lock = self._folder, self._folder_lock
        self._folder_lock = None
        older = self._superseded
        self._superseded = None
        self._release()
        self._folder = None
        if folder is None or lock is None:
            return older
        if older is not None:
            older.remove()
        return _Superseded(folder, lock)

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
        if self._superseded is not None:
            self._superseded.release()
            self._superseded = None


class _Superseded:
    """The folder before a save, kept until the new one is on the disk."""

    def __init__(self, folder: Path, lock: FolderLock) -> None:
        self.folder = folder
        self._lock: FolderLock | None = lock
        self._one = threading.Lock()  # two threads may let go of it

    def release(self) -> None:
        with self._one:
            lock, self._lock = self._lock, None
            if lock is not None:
                lock.release()

    def remove(self) -> None:
        with self._one:
            lock, self._lock = self._lock, None
            if lock is not None:
                lock.release()
                remove_folder(self.folder)


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


def continued(
    folder: Path, lock: FolderLock, base: Base, about: Mapping[str, Any] | None = None
) -> Journal:
    """Return a journal that goes on in the recovery folder of a crashed process.

    Parameters
    ----------
    folder : Path
    lock : FolderLock
    base : Base
    about : mapping, optional
        To be written again, where it was lost.

    Raises
    ------
    OSError
    """
    found = read_journal(folder / JOURNAL)
    journal = Journal(base)
    journal._count = len(found.records)
    if about is not None:
        _write_about(folder, about)
    file = JournalFile(folder / JOURNAL, found.good_bytes)
    journal._hold(folder, lock, file, [folder.parent])
    return journal


def _about(base: Base, sha: str, size: int, replaces: str, carries: int) -> dict[str, Any]:
    stamp = base.stamp
    return {
        "schema": 1,
        "path": str(base.path) if base.path is not None else None,
        "content_sha": sha,
        "stamp": [stamp.size, stamp.mtime_ns, stamp.inode] if stamp is not None else None,
        "started": datetime.now(UTC).isoformat(timespec="seconds"),
        "replaces": replaces,
        # Whether this folder may stand for the one it replaces: both of this size or longer.
        "carries": carries,
        "base_bytes": size,
    }


def _write_about(folder: Path, about: Mapping[str, Any]) -> None:
    fresh = folder / f"{ABOUT}.new"
    fresh.write_text(json.dumps(about), encoding="ascii")
    fresh.replace(folder / ABOUT)
