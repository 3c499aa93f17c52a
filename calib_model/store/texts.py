"""Text columns: fixed-width UTF-8, and long texts in pieces."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import ModelError
from .layout import MAX_STRING_BYTES, PIECE_BYTES

Array = npt.NDArray[Any]
_SOME = 100


def bytes_of(array: Array) -> memoryview:
    """Return the bytes of an array that lies in one piece, without a copy."""
    return array.reshape(-1).view("u1").data


def encoded(text: str, limit: int, where: Callable[[], str]) -> bytes:
    """Return UTF-8 bytes.

    Raises
    ------
    ModelError
        If the text holds what a file cannot keep, or is longer than `limit` bytes.
    """
    try:
        data = text.encode()
    except UnicodeEncodeError:
        raise ModelError(
            f"{where()} holds half of a character, which no file can keep.",
            "Type the text again.",
        ) from None
    if b"\0" in data:
        raise ModelError(f"{where()} holds a NUL character.", "Type the text again.")
    if len(data) > limit:
        raise ModelError(
            f"{where()} is {len(data)} bytes long; at most {limit} can be kept.", "Shorten it."
        )
    return data


def fixed(texts: Iterable[str], where: Callable[[int], str]) -> Array:
    """Return texts as one fixed-width column.

    Parameters
    ----------
    texts : iterable of str
    where : callable
        Names the text of a row, for an error.
    """
    rows = _rows(list(texts), MAX_STRING_BYTES, where)
    width = max(map(len, rows), default=0) or 1
    return np.array(rows, dtype=f"S{width}")


def _rows(texts: Sequence[str], limit: int, where: Callable[[int], str]) -> list[bytes]:
    """Return each text as UTF-8; see `encoded`."""
    try:
        whole = "\n".join(texts).encode()
    except UnicodeEncodeError:
        whole = b"\0"
    rows = whole.split(b"\n")  # all at once, where none holds a line feed
    if len(rows) == len(texts) and b"\0" not in whole and len(max(rows, key=len)) <= limit:
        return rows
    return [encoded(text, limit, partial(where, number)) for number, text in enumerate(texts)]


def plain(column: Array) -> list[str]:
    """Return a fixed-width column as texts; where few differ, equal texts are one object.

    Raises
    ------
    UnicodeDecodeError
    """
    rows = column.tolist()
    some = rows[:_SOME]
    if 2 * len(set(some)) > _SOME:  # names and ids: nearly all differ, so decode them as one
        texts = b"\n".join(rows).decode().split("\n")
        if len(texts) == len(rows):  # none holds a line feed
            return texts
    known = {data: data.decode() for data in set(rows)}
    return [known[data] for data in rows]


def in_pieces(texts: Sequence[str], limit: int, where: Callable[[int], str]) -> tuple[Array, Array]:
    """Return (number of pieces per text, pieces)."""
    counts: list[int] = []
    pieces: list[bytes] = []
    for data in _rows(texts, limit, where):
        if len(data) <= PIECE_BYTES:
            if data:
                pieces.append(data)
            counts.append(1 if data else 0)
        else:
            cut = _cut(data)
            pieces += cut
            counts.append(len(cut))
    width = max(map(len, pieces), default=0) or 1
    return np.array(counts, dtype="<i4"), np.array(pieces, dtype=f"S{width}")


def _cut(data: bytes) -> list[bytes]:
    pieces = []
    start = 0
    while start < len(data):
        end = min(start + PIECE_BYTES, len(data))
        while end < len(data) and data[end] & 0xC0 == 0x80:  # inside a character
            end -= 1
        pieces.append(data[start:end])
        start = end
    return pieces


def joined(counts: Array, pieces: Array) -> list[str]:
    """Read back what `in_pieces` made; the counts must fit the pieces.

    Raises
    ------
    UnicodeDecodeError
    """
    if not counts.size or counts.max() <= 1:
        whole = iter(plain(pieces))
        return [next(whole) if count else "" for count in counts.tolist()]
    rows = pieces.tolist()
    texts: list[str] = []
    start = 0
    for count in counts.tolist():
        if count == 0:
            texts.append("")
        elif count == 1:
            texts.append(rows[start].decode())
        else:
            texts.append(b"".join(rows[start : start + count]).decode())
        start += count
    return texts
