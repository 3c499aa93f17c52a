"""Open a file that somebody named: a plain file only, and never by waiting for one.

A pipe waits for its writer, a device may never end (or do something when it is opened), a folder
is no text.  Whatever reads a named file opens it here; a link to a plain file is one.  Only the
standard library is used, so that the reading process can do so too.
"""

from __future__ import annotations

import errno
import os
import stat
from io import BufferedReader
from pathlib import Path

from ..errors import FileProblem

_KINDS = (
    (stat.S_ISDIR, errno.EISDIR, "it is a folder"),
    (stat.S_ISFIFO, errno.EINVAL, "it is a pipe"),
    (stat.S_ISSOCK, errno.EINVAL, "it is a socket"),
    (stat.S_ISCHR, errno.EINVAL, "it is a device"),
    (stat.S_ISBLK, errno.EINVAL, "it is a device"),
)


def open_plain(path: Path | str) -> BufferedReader:
    """Open a plain file for reading bytes.

    Parameters
    ----------
    path : path-like

    Raises
    ------
    OSError
        If it cannot be opened, or is no plain file; ``strerror`` says which.
    """
    try:
        _require_plain(os.stat(path).st_mode, path)  # noqa: PTH116  # also a text may be given
        # What is put in its place meanwhile must not make us wait or give us a terminal.
        handle = os.open(path, _FLAGS)
    except ValueError:  # a NUL in the name
        raise OSError(errno.EINVAL, "no file can have this name", str(path)) from None
    try:
        _require_plain(os.fstat(handle).st_mode, path)
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def read_plain(path: Path | str, what: str, most: int) -> bytes:
    """Return the bytes of a plain file.

    Parameters
    ----------
    path : path-like
    what : str
        What the file should be, such as ``a rule sheet``.
    most : int
        Bytes that are plenty for it; a larger file is something else.

    Raises
    ------
    FileProblem
        If it cannot be read, is no plain file, or is too large.
    """
    try:
        with open_plain(path) as file:
            parts, left = [], most + 1
            while left > 0 and (part := file.read(min(left, 1 << 24))):
                parts.append(part)
                left -= len(part)
    except OSError as error:
        raise cannot_read(path, error) from None
    if left <= 0:
        raise FileProblem(path, "", f"This is too large for {what}.", "Check the name.")
    return b"".join(parts)


def cannot_read(path: Path | str, error: OSError) -> FileProblem:
    """Return the error for a file that cannot be opened or read."""
    reason = error.strerror or "it cannot be opened"
    return FileProblem(path, "", f"Cannot be read: {reason}.", "Check the name.")


def is_there(path: Path | str | None) -> bool:
    """Whether there is something of this name; False for a name that no file can have."""
    return path is not None and os.path.exists(path)  # noqa: PTH110  # Path.exists may raise


_FLAGS = (
    os.O_RDONLY
    | getattr(os, "O_BINARY", 0)
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_NOCTTY", 0)
)


def _require_plain(mode: int, path: Path | str) -> None:
    if stat.S_ISREG(mode):
        return
    number, words = next(((n, w) for is_so, n, w in _KINDS if is_so(mode)), (errno.EINVAL, "it is"))
    raise OSError(number, f"{words}, not a plain file", str(path))
