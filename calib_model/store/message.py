"""What passes between the parent and its reading process: lengths, JSON, raw columns.

Standard library only, so that the parent can start the child before it imports numpy.
Never a pickle: the child has handled a stranger's file and is not trusted.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Callable
from typing import Any, BinaryIO

MAGIC = b"BPCOLS01"
PREFIX = struct.Struct("<8sI")
MAX_HEADER = 1 << 20


class BrokenMessage(Exception):
    """The other side ended early or did not speak the protocol."""


def pack_header(header: dict[str, Any]) -> bytes:
    """Return prefix and header; raw columns follow in the order the header lists them."""
    data = json.dumps(header).encode()
    return PREFIX.pack(MAGIC, len(data)) + data


def error_of(kind: str, place: str, problem: str, remedy: str = "") -> dict[str, Any]:
    """Return the header that says why a file is not read; no longer than a header may be."""
    return {"error": kind, "place": place[:500], "problem": problem[:2000], "remedy": remedy[:500]}


def write_all(target: BinaryIO, data: Any) -> None:
    """Write all of `data`, however little an unbuffered pipe takes at once."""
    view = memoryview(data)
    while len(view):
        written = target.write(view)
        view = view[written or 0 :]


def read_header(read: Callable[[int], bytes]) -> dict[str, Any] | None:
    """Read prefix and header; None at a clean end.

    Parameters
    ----------
    read : callable
        Returns at most so many bytes, none at the end.

    Raises
    ------
    BrokenMessage
    """
    prefix = exactly(read, PREFIX.size, may_end=True)
    if not prefix:
        return None
    magic, length = PREFIX.unpack(prefix)
    if magic != MAGIC or length > MAX_HEADER:
        raise BrokenMessage("The reading process gave a wrong answer.")
    try:
        header = json.loads(exactly(read, length))
    except (ValueError, RecursionError):
        raise BrokenMessage("The reading process gave a wrong answer.") from None
    if not isinstance(header, dict):
        raise BrokenMessage("The reading process gave a wrong answer.")
    return header


def exactly(read: Callable[[int], bytes], size: int, *, may_end: bool = False) -> bytes:
    """Read exactly `size` bytes, or nothing at all if `may_end`."""
    parts: list[bytes] = []
    left = size
    while left:
        part = read(left)
        if not part:
            if may_end and left == size:
                return b""
            raise BrokenMessage("The reading process ended early.")
        parts.append(part)
        left -= len(part)
    return b"".join(parts)
