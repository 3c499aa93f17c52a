"""Flushes a journal to the disk from a thread of its own, so that no edit waits for it."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from .durable import sync_file, sync_folder, sync_handle

SYNC_PAUSE = 0.05
"""Seconds that the background fsync waits for more edits."""


class Syncer:
    """The thread that flushes one recovery folder.

    Parameters
    ----------
    handle : int
        The journal's file; a handle of our own is made of it.
    files : sequence of Path
        What else the folder holds; flushed once, before anything counts as flushed.
    folders : sequence of Path
        Those with new names: the recovery folder, and the ones above that were made for it.
    position : callable
        Returns how far the journal is written.
    reached : callable
        Told a former `position` once everything up to there is on the disk.
    """

    def __init__(
        self,
        handle: int,
        files: Sequence[Path],
        folders: Sequence[Path],
        position: Callable[[], int],
        reached: Callable[[int], None],
    ) -> None:
        self._handle = os.dup(handle)
        self._files = files
        self._folders = folders
        self._position = position
        self._reached = reached
        self._complete = False
        self._wanted = threading.Event()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="journal sync", daemon=True)
        self._thread.start()

    def soon(self) -> None:
        """Flush in the background, together with what follows in a moment."""
        self._wanted.set()

    def now(self) -> None:
        """Flush before returning."""
        self._sync()

    def end(self) -> None:
        """Stop; what was not flushed yet is left to the system."""
        self._ending.set()
        self._wanted.set()
        self._thread.join(0.1)  # the thread closes its handle itself, however long a sync takes

    def _run(self) -> None:
        while self._wanted.wait() and not self._ending.wait(SYNC_PAUSE):
            self._wanted.clear()
            if self._ending.is_set():  # the call to end may just have been cleared away
                break
            self._sync()
        os.close(self._handle)

    def _sync(self) -> None:
        position = self._position()
        done = sync_handle(self._handle)
        if not self._complete:
            done = all(sync_file(path) for path in self._files) and done
            for folder in self._folders:
                sync_folder(folder)
            self._complete = done
        if done:
            self._reached(position)
