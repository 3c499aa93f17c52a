"""The journal's file: one JSON line per record, numbered, each with a check sum.

A line is ``{"crc":"XXXXXXXX","n":1,...}`` and a line feed; the check sum (CRC-32) covers what
follows the comma after it.  Reading stops at the first line that is not whole: what a crash cut
off is at most the last record.
"""

from __future__ import annotations

import json
import os
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from ..core.plain_file import open_plain

_HEAD = 17  # length of {"crc":"XXXXXXXX"
MAX_BYTES = 512 << 20


class Journalled(NamedTuple):
    """What a journal file holds.

    Parameters
    ----------
    records : list of dict
        Each with its number ``n`` and ``kind`` (``edit`` or ``saving``).
    good_bytes : int
        Length of the whole lines.
    damaged : bool
        Whether something that is no record follows them.
    beyond : int
        Whole edits behind the damage: they cannot be made without what is missing.
    """

    records: list[dict[str, Any]]
    good_bytes: int
    damaged: bool
    beyond: int = 0


def line_of(record: Mapping[str, Any]) -> bytes:
    """Return the line for a record."""
    body = json.dumps(record, separators=(",", ":")).encode()[1:]
    return b'{"crc":"%08x",%b\n' % (zlib.crc32(body), body)


def line_with(line: bytes, **more: Any) -> bytes:
    """Return a record's line with further fields; who does not know them passes them over."""
    return line_of(json.loads(b"{" + line[_HEAD + 1 :]) | more)


def read_journal(path: Path) -> Journalled:
    """Read the whole records of a journal file.

    Raises
    ------
    OSError
    """
    with open_plain(path) as file:
        data = file.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise OSError(f"{path} is too large for a journal.")
    records: list[dict[str, Any]] = []
    start = 0
    while True:
        end = data.find(b"\n", start)
        record = record_of(data[start:end]) if end >= 0 else None
        if record is None or record.get("n") != len(records) + 1:
            return Journalled(records, start, start < len(data), _edits_in(data[start:]))
        records.append(record)
        start = end + 1


def _edits_in(data: bytes) -> int:
    found = (record_of(line) for line in data.split(b"\n") if line.startswith(b'{"crc":'))
    return sum(record is not None and record["kind"] == "edit" for record in found)


def record_of(line: bytes) -> dict[str, Any] | None:
    """Return the record in a line without its line feed; None if it is not whole."""
    body = line[_HEAD + 1 :]
    if line[: _HEAD + 1] != b'{"crc":"%08x",' % zlib.crc32(body):
        return None
    try:
        record = json.loads(b"{" + body)
    except (ValueError, RecursionError):
        return None
    if not isinstance(record, dict):
        return None
    edit = record.get("kind") == "edit" and isinstance(record.get("change"), dict)
    saving = (
        record.get("kind") == "saving"
        and isinstance(record.get("sha"), str)
        and isinstance(record.get("upto"), int)
    )
    return record if edit or saving else None


class JournalFile:
    """A journal file open for appending.

    Parameters
    ----------
    path : Path
    good_bytes : int
        What follows is cut off.
    """

    def __init__(self, path: Path, good_bytes: int = 0) -> None:
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
        self.handle = os.open(path, flags, 0o600)
        self._good = good_bytes
        os.ftruncate(self.handle, good_bytes)

    def write(self, line: bytes) -> None:
        """Append one line with one write, so that it is there whole if this process ends now.

        Raises
        ------
        OSError
            If it could not be written; the file is as it was.
        """
        try:
            written = os.write(self.handle, line)
        except OSError:
            self._cut()
            raise
        if written != len(line):
            self._cut()
            raise OSError("The disk is full.")
        self._good += written

    def _cut(self) -> None:
        try:
            os.ftruncate(self.handle, self._good)
        except OSError:
            return  # the reader stops at the broken line; a later write tries to cut again

    def close(self) -> None:
        """Close the file."""
        os.close(self.handle)
