"""Put a finished file in the place of an old one, so that there is always a whole one.

The live path is never opened for writing.  Everything that can fail happens beside it; the last
step, `os.replace`, either happens or does not.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
import stat
import time
from collections.abc import Callable
from pathlib import Path

from ..errors import SaveFailed
from .attributes import carry_over
from .durable import sync_folder
from .lock_file import alone_with
from .source import Stamp

BACKUP_SUFFIX = ".bak"
"""The state before the last save stays beside the file as ``NAME.h5.bak``."""
TEMPORARY_SUFFIX = ".saving"
STALE_SECONDS = 3600.0
"""A temporary file older than this belongs to no save that still runs."""
RETRIES = (0.05, 0.1, 0.2, 0.4, 0.8)
"""Pauses in seconds while another program holds the file (Windows)."""
LINKS = os.name != "nt"
"""Whether a file may get a second name for a moment.  On Windows that name could be neither renamed
nor removed while another program holds the file."""


def replace_file(
    path: Path,
    data: bytes,
    *,
    verify: Callable[[bytes], None],
    before_replace: Callable[[], None],
    backup: bool = True,
) -> Stamp:
    """Write `data` to a new file and put it in the place of `path`.

    Parameters
    ----------
    path : Path
        Not a symbolic link (see `target_of`).
    data : bytes
    verify : callable
        Given the bytes read back from the disk; raises if they are not what was meant.
    before_replace : callable
        Called when everything but the last step is done; raises to call the save off.  No other
        save of this file comes between this and the last step.
    backup : bool
        Keep the old file beside the new one.

    Returns
    -------
    Stamp
        Of the new file.

    Raises
    ------
    SaveFailed
        The old file is intact and nothing is left beside it.
    """
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}{TEMPORARY_SUFFIX}")
    try:
        _write(temporary, data, path, _replaceable(path))
        verify(_read_back(temporary))
        with alone_with(path):
            before_replace()
            if backup:
                _back_up(path)
            _persistently(lambda: temporary.replace(path))
            stamp = Stamp.of(path.stat())
        sync_folder(path.parent)
        _tidy(path)
        return stamp
    except OSError as error:
        raise save_failed(path, error) from error
    finally:
        _forget(temporary)


def write_whole(path: Path, data: bytes | str, *, new: bool = False) -> None:
    """Write a file for people to read: there whole, or as it was before.

    Parameters
    ----------
    path : Path
        A symbolic link is followed.  What is no file on a disk, such as a pipe, is written to.
    data : bytes or str
        Text is written as UTF-8, its line ends as they are.
    new : bool
        Refuse to replace a file that is there.

    Raises
    ------
    SaveFailed
        If it cannot be written; an old file is as it was.
    """
    data = data.encode() if isinstance(data, str) else data

    def verify(read_back: bytes) -> None:
        if read_back != data:
            raise SaveFailed(path, "", "What was written does not read back.", "Check the drive.")

    def must_be_new() -> None:
        if new and (path.exists() or path.is_symlink()):
            raise SaveFailed(path, "", "There is such a file already.", "Give another name.")

    try:
        must_be_new()
        if path.exists() and not (path.is_file() or path.is_dir()):
            path.write_bytes(data)
            return
    except OSError as error:
        raise save_failed(path, error) from error
    replace_file(target_of(path), data, verify=verify, before_replace=must_be_new, backup=False)


def target_of(path: Path) -> Path:
    """Return the file that a path means, symbolic links followed.

    Raises
    ------
    SaveFailed
        If the links lead in a circle.
    """
    try:
        return path.resolve()
    except (OSError, RuntimeError) as error:  # RuntimeError: a circle, until Python 3.12
        raise SaveFailed(path, "", f"It is a link that leads nowhere ({error}).") from None


def save_failed(path: Path, error: OSError) -> SaveFailed:
    """Return the error to show for a failed step, with its remedy."""
    reason = error.strerror or str(error)
    if error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)):
        return SaveFailed(path, "", "The disk is full; nothing was saved.", "Free some space.")
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        if path.exists() and os.access(path.parent, os.W_OK):
            return SaveFailed(
                path,
                "",
                f"It is held by another program or protected ({reason}); nothing was saved.",
                "Close the other program and save again, or save under another name.",
            )
        return SaveFailed(
            path,
            "",
            f"Its folder may not be written to ({reason}); nothing was saved.",
            "Save to another folder.",
        )
    if error.errno == errno.ENOENT:
        return SaveFailed(path, "", "Its folder does not exist.", "Save to another folder.")
    if error.errno == errno.ENAMETOOLONG:
        return SaveFailed(path, "", "Its name is too long.", "Save under a shorter name.")
    return SaveFailed(
        path,
        "",
        f"It could not be written ({reason}); the old file is as it was.",
        "Save again, or save to another drive.",
    )


def _replaceable(path: Path) -> os.stat_result | None:
    """Return what is known of the old file; None if there is none."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(found.st_mode):
        raise SaveFailed(path, "", "It is not a regular file.", "Save under another name.")
    # Replacing needs no right to the file itself, but whoever made it read-only meant it.
    if not found.st_mode & 0o222 or not os.access(path, os.W_OK):
        raise SaveFailed(
            path, "", "It is read-only; nothing was saved.", "Save under another name."
        )
    return found


def _write(temporary: Path, data: bytes, old: Path, found: os.stat_result | None) -> None:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    handle = os.open(temporary, flags, 0o666)  # as the umask says
    try:
        if found is not None:
            carry_over(old, found, handle)
        view = memoryview(data)
        while len(view):
            view = view[os.write(handle, view[: 1 << 24]) :]
        os.fsync(handle)
    finally:
        os.close(handle)


def _read_back(temporary: Path) -> bytes:
    handle = os.open(temporary, os.O_RDONLY | getattr(os, "O_BINARY", 0))
    try:
        parts = []
        while part := os.read(handle, 1 << 24):
            parts.append(part)
        return b"".join(parts)
    finally:
        os.close(handle)


def _back_up(path: Path) -> None:
    """Keep the present file beside itself: by a second name where that works, else by a copy."""
    if not path.exists():
        return
    backup = path.with_name(path.name + BACKUP_SUFFIX)
    fresh = path.with_name(f".{path.name}.{secrets.token_hex(4)}{BACKUP_SUFFIX}")
    try:
        _second(path, fresh)
        _persistently(lambda: fresh.replace(backup))
    finally:
        _forget(fresh)


def _second(path: Path, fresh: Path) -> None:
    if LINKS:
        try:
            os.link(path, fresh)
            return
        except OSError:  # file systems without hard links
            pass
    _persistently(lambda: shutil.copy2(path, fresh))


def _persistently(step: Callable[[], object]) -> None:
    """Do a step again while another program holds the file (Windows refuses until it lets go)."""
    for pause in RETRIES:
        try:
            step()
            return
        except PermissionError:
            time.sleep(pause)
    step()


def _tidy(path: Path) -> None:
    """Remove what earlier saves of this file left when their process was killed."""
    start, ends = f".{path.name}.", (TEMPORARY_SUFFIX, BACKUP_SUFFIX)
    with contextlib.suppress(OSError):
        for other in path.parent.iterdir():
            if other.name.startswith(start) and other.name.endswith(ends):
                age = time.time() - other.lstat().st_mtime
                if age > STALE_SECONDS and other.is_file():
                    _forget(other)


def _forget(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink()
