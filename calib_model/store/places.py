"""Where recovery copies lie, and who is at work in one."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from .lock_file import lock_handle

ABOUT = "about.json"
BASE = "base.h5"
JOURNAL = "journal.jsonl"
LOCK = "lock"


def state_folder() -> Path:
    """Return the folder for what this machine keeps: ``BITEPOINT_STATE_DIR``, or the usual one."""
    chosen = os.environ.get("BITEPOINT_STATE_DIR")
    if chosen:
        return Path(chosen)
    from platformdirs import user_state_dir

    return Path(user_state_dir("bitepoint", appauthor=False))


def recovery_root() -> Path:
    """Return the folder that holds a folder per document with unsaved edits."""
    return state_folder() / "recovery"


class FolderLock:
    """A lock on a recovery folder that ends with the process, however that ends.

    Where the system has no locks, nobody is kept out.

    Parameters
    ----------
    folder : Path

    Raises
    ------
    BlockingIOError
        If another process holds it.
    """

    def __init__(self, folder: Path) -> None:
        handle = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            lock_handle(handle)
        except OSError:
            os.close(handle)
            raise BlockingIOError(f"{folder} is in use.") from None
        self._handle: int | None = handle

    def release(self) -> None:
        """Let go."""
        if self._handle is not None:
            os.close(self._handle)
            self._handle = None


def remove_folder(folder: Path) -> None:
    """Remove a recovery folder; first what makes it one, so that half of it counts as none."""
    with suppress(OSError):
        for name in (JOURNAL, ABOUT):
            (folder / name).unlink(missing_ok=True)
        for path in folder.iterdir():
            path.unlink()
        folder.rmdir()
