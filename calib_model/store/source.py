"""Read a whole file into memory, and tell by a stamp whether it changed since."""

from __future__ import annotations

import os
from pathlib import Path
from typing import NamedTuple

from ..core.plain_file import open_plain
from .layout import MAX_FILE_BYTES


class Stamp(NamedTuple):
    """What the file system says of a file; equal stamps mean that nobody wrote to it."""

    size: int
    mtime_ns: int
    inode: int

    @classmethod
    def of(cls, result: os.stat_result) -> Stamp:
        """Return the stamp in a stat result."""
        return cls(result.st_size, result.st_mtime_ns, result.st_ino)


class Unreadable(Exception):
    """A path cannot be read as a file; carries problem and remedy."""

    def __init__(self, problem: str, remedy: str) -> None:
        self.problem = problem
        self.remedy = remedy
        super().__init__(problem, remedy)


def read_bytes(path: Path) -> tuple[bytes, Stamp]:
    """Read a regular file whole, holding no lock afterwards.

    Raises
    ------
    Unreadable
    """
    try:
        file = open_plain(path)
    except FileNotFoundError:
        raise Unreadable("There is no such file.", "Check the name and the folder.") from None
    except PermissionError:
        raise Unreadable(
            "It may not be read.", "Ask for the right to read it, or copy it elsewhere."
        ) from None
    except OSError as error:
        raise Unreadable(
            f"It cannot be opened ({_reason(error)}).", "Name a set file (*.h5)."
        ) from None
    try:
        handle = file.fileno()
        for _ in range(3):
            before = os.fstat(handle)
            if before.st_size > MAX_FILE_BYTES:
                raise Unreadable(
                    f"It is {before.st_size >> 20} MiB large; a set file has at most "
                    f"{MAX_FILE_BYTES >> 20} MiB.",
                    "Check that it is a calibration set.",
                )
            data = _read_all(handle, before.st_size)
            stamp = Stamp.of(before)
            if len(data) == before.st_size and Stamp.of(os.fstat(handle)) == stamp:
                return data, stamp
        raise Unreadable("It keeps changing while it is read.", "Try again when it is at rest.")
    except OSError as error:
        raise Unreadable(f"It cannot be read ({_reason(error)}).", "Check the drive.") from None
    finally:
        file.close()


def _read_all(handle: int, size: int) -> bytes:
    os.lseek(handle, 0, os.SEEK_SET)
    parts = []
    left = size + 1  # one more, to see that it grew
    while left > 0:
        part = os.read(handle, min(left, 1 << 24))
        if not part:
            break
        parts.append(part)
        left -= len(part)
    return b"".join(parts)


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)
