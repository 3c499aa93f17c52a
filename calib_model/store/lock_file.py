"""A lock between programs that holds while one of them looks at a file and replaces it.

The lock is a file beside the one that is replaced, there only while it is held: the replaced file
itself cannot carry it, since readers (HDF5 locks what it reads) would then stand in each other's
way.  The system lets go of a lock when its process ends, however that ends; where the system has
no locks, a lock file that is older than any save can take counts as left over.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from ..errors import SaveFailed

LOCK_SUFFIX, HELD_SUFFIX = ".lock", ".held"
WAIT_SECONDS = 20.0
STALE_SECONDS = 180.0
_PAUSE = 0.01


def lock_handle(handle: int) -> bool:
    """Lock an open file for this process, without waiting.

    Returns
    -------
    bool
        False where the system has no such locks.

    Raises
    ------
    OSError
        If another holds it.
    """
    try:
        import fcntl
    except ImportError:
        pass
    else:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return True
    try:
        import msvcrt
    except ImportError:
        return False
    msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
    return True


@contextmanager
def alone_with(path: Path) -> Iterator[None]:
    """Hold the lock of a file while it is looked at and replaced.

    Parameters
    ----------
    path : Path

    Raises
    ------
    SaveFailed
        If another program does not let go within `WAIT_SECONDS`.
    OSError
        If the lock file cannot be made.
    """
    end = time.monotonic() + WAIT_SECONDS
    while (give_back := _taken(path.with_name(f".{path.name}"))) is None:
        if time.monotonic() > end:
            raise SaveFailed(
                path,
                "",
                "Another program is saving it just now; nothing was saved.",
                f"Save again when it is done. If none is, remove .{path.name}{LOCK_SUFFIX}.",
            )
        time.sleep(_PAUSE)
    try:
        yield
    finally:
        give_back()


def _taken(start: Path) -> Callable[[], None] | None:
    """Return what gives the lock back if it is ours now, else None."""
    place = start.with_name(start.name + LOCK_SUFFIX)
    handle = _opened(place)
    if handle is None:
        return None
    ours = False
    try:
        if not lock_handle(handle):
            return _taken_by_name(start.with_name(start.name + HELD_SUFFIX), place)
        # Whoever held it took the file away: another may hold a new one of that name.
        ours = os.path.samestat(os.fstat(handle), place.stat())
        return partial(_give_back, place, handle) if ours else None
    except (BlockingIOError, PermissionError, FileNotFoundError):
        return None
    except OSError:  # a file system without locks, as some network drives are
        return _taken_by_name(start.with_name(start.name + HELD_SUFFIX), place)
    finally:
        if not ours:
            os.close(handle)


def _opened(place: Path) -> int | None:
    for way in (os.O_RDWR, os.O_RDONLY):  # read only: another user left it
        try:
            return os.open(place, way | os.O_CREAT, 0o666)
        except PermissionError:
            if not place.exists():
                raise
    return None  # Windows, while another gives it back


def _give_back(place: Path, handle: int) -> None:
    try:
        place.unlink()  # while it is held, so that nobody else's is taken away
    except PermissionError:  # Windows: what is open cannot be removed, so neither can another's
        os.close(handle)
        _unlink(place)
    except OSError:
        os.close(handle)
    else:
        os.close(handle)


def _taken_by_name(held: Path, place: Path) -> Callable[[], None] | None:
    """Hold by a file that only one can make."""
    _unlink(place)  # nobody can lock it
    try:
        os.close(os.open(held, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o666))
    except FileExistsError:
        _clear_left_over(held)
        return None
    return partial(_unlink, held)


def _clear_left_over(held: Path) -> None:
    aside = held.with_name(f"{held.name}.{secrets.token_hex(4)}")
    try:
        if time.time() - held.stat().st_mtime > STALE_SECONDS:
            # Under another name first: of two that find it left over, one removes it, and
            # neither removes what somebody made since.
            held.rename(aside)
            if time.time() - aside.stat().st_mtime > STALE_SECONDS:
                aside.unlink()
            else:
                aside.rename(held)
    except OSError:
        return


def _unlink(place: Path) -> None:
    with contextlib.suppress(OSError):
        place.unlink()
