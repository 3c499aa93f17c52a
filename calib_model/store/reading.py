"""Open set files: always in a process of their own, with limits."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ..core.calibration_set import CalibrationSet
from ..core.record_plain import record_from_plain
from ..errors import BitepointError, DamagedFile, FileProblem, ForeignFile, NewerFile
from .allowance import Allowance
from .decode import REMEDY, decode
from .history import HISTORY_COLUMNS, HistoryColumns
from .jsontext import JsonBudget, json_value
from .launch import TIME_LIMIT, Child, started
from .layout import (
    BY_NAME,
    FORMAT_VERSION,
    INTEGER_ATTRIBUTES,
    MAX_RECORD_BYTES,
    MAX_STRING_BYTES,
    TEXT_ATTRIBUTES,
)
from .message import BrokenMessage, read_header
from .migrate import to_current
from .source import Stamp
from .structure import Columns, Misfit, Neutral
from .texts import bytes_of, joined, plain

Record = tuple[str, Mapping[str, Any]]


@dataclass(frozen=True)
class FileStamp:
    """How a file looked when it was opened or saved.

    Parameters
    ----------
    size, mtime_ns, inode : int
    content_sha : str
        SHA-256 over the columns; survives a copy or a touch.
    """

    size: int
    mtime_ns: int
    inode: int
    content_sha: str

    @property
    def stamp(self) -> Stamp:
        """What the file system said."""
        return Stamp(self.size, self.mtime_ns, self.inode)


@dataclass(frozen=True)
class StoredSet:
    """What a set file holds.

    Parameters
    ----------
    set : CalibrationSet
        Its record included.
    history : HistoryColumns
    content_sha : str
    file_stamp : FileStamp
    records : sequence of (kind, plain data)
        Items of the record that this version does not know; to be written again as they are.
    """

    set: CalibrationSet
    history: HistoryColumns
    content_sha: str
    file_stamp: FileStamp
    records: Sequence[Record] = field(default=())


class Reading:
    """A file that is being read.  Start it early, ask for the result late.

    Parameters
    ----------
    path : path-like
    seconds : float
        Time limit.
    child : Child, optional
        One that was started before and asked for this path.
    ends : bool
        Whether the process ends with this answer; False if it was asked for more files.
    """

    def __init__(
        self,
        path: Path | str,
        *,
        seconds: float = TIME_LIMIT,
        child: Child | None = None,
        ends: bool = True,
    ) -> None:
        self.path = Path(path)
        self._ends = ends
        if child is None:
            child = _started(self.path, seconds)
        self._child = child

    def cancel(self) -> None:
        """Stop reading."""
        self._child.end()

    def result(self) -> StoredSet:
        """Wait for the set.

        Raises
        ------
        FileProblem
            If the file cannot be read: `NewerFile` or `DamagedFile` where that is why.
        """
        try:
            header = read_header(self._child.read)
            if header is None:
                raise BrokenMessage("The reading process ended early.")
            if "error" in header:
                raise self._problem(header)
            neutral = self._received(header)
            sha, stamp = _text(header, "sha"), _stamp(header)
        except Misfit as misfit:  # the other side is not trusted with the bounds either
            self._child.end()
            raise damaged(self.path, misfit.place, f"It {misfit.problem}") from None
        except (BrokenMessage, OSError, ValueError) as error:
            problem = self._broken(error)
            self._child.end()
            raise problem from None
        except BaseException:
            self._child.end()
            raise
        if self._ends:
            self._child.rest()
        return built(neutral, sha, stamp, self.path)

    def _received(self, header: Mapping[str, Any]) -> Neutral:
        columns: Columns = {}
        allowance = Allowance()
        listed = header.get("columns")
        attributes = header.get("attributes")
        if not isinstance(listed, list) or not isinstance(attributes, dict):
            raise BrokenMessage("The reading process gave a wrong answer.")
        for entry in listed:
            name, dtype, shape = _checked(entry)
            size = math.prod(shape) * dtype.itemsize
            if name in columns:
                raise BrokenMessage("The reading process gave a wrong answer.")
            allowance.take(BY_NAME[name], shape, dtype.itemsize)
            array = np.empty(shape, dtype=dtype)
            if size and self._child.read_into(bytes_of(array)) != size:
                raise BrokenMessage("The reading process ended early.")
            columns[name] = array
        kept: dict[str, str | int] = {}
        for name in (*INTEGER_ATTRIBUTES, *TEXT_ATTRIBUTES):
            value = attributes.get(name)
            if type(value) is not (int if name in INTEGER_ATTRIBUTES else str):
                raise BrokenMessage("The reading process gave a wrong answer.")
            kept[name] = value
        return Neutral(columns, kept)

    def _problem(self, header: Mapping[str, Any]) -> FileProblem:
        kind, place, problem = (_text(header, key) for key in ("error", "place", "problem"))
        if kind == "newer":
            return newer_file(self.path, problem)
        if kind == "unreadable":
            return FileProblem(self.path, "", problem, _text(header, "remedy"))
        if kind == "damaged":
            return damaged(self.path, place, problem)
        return FileProblem(
            self.path, "", f"The reading process failed ({problem}).", "Install Bitepoint again."
        )

    def _broken(self, error: Exception) -> FileProblem:
        status = self._child.status()
        if self._child.timed_out:
            return DamagedFile(
                self.path,
                "",
                "Reading it took too long and was stopped.",
                "Restore it from a backup, or copy it to a local drive and try again.",
            )
        reason = f"signal {-status}" if status < 0 else str(error)
        return DamagedFile(
            self.path, "", f"Reading it ended the reading process ({reason}).", REMEDY
        )


def _started(path: Path, seconds: float) -> Child:
    try:
        child = started(seconds)
        child.ask(path)
    except OSError as error:
        raise FileProblem(
            path, "", f"No process to read it could be started ({error}).", "Close other programs."
        ) from None
    return child


def open_file(path: Path | str, *, seconds: float = TIME_LIMIT) -> Reading:
    """Start to read a set file in a process of its own; see `Reading.result`."""
    return Reading(path, seconds=seconds)


def read_set(path: Path | str, *, seconds: float = TIME_LIMIT) -> StoredSet:
    """Read a set file in a process of its own and wait for it.

    Raises
    ------
    FileProblem
        If the file cannot be read: `NewerFile` or `DamagedFile` where that is why.
    """
    return Reading(path, seconds=seconds).result()


def read_set_here(data: bytes, path: Path | str, stamp: Stamp | None = None) -> StoredSet:
    """Read a set from bytes in this process: only for bytes that this program just wrote.

    Raises
    ------
    FileProblem
    """
    from .hdf5 import Newer, read_image

    place = Path(path)
    try:
        neutral, sha = read_image(data)
    except Newer as newer:
        raise newer_file(place, str(newer)) from None
    except Misfit as misfit:
        raise damaged(place, misfit.place, f"It {misfit.problem}") from None
    return built(neutral, sha, stamp or Stamp(len(data), 0, 0), place)


def built(neutral: Neutral, sha: str, stamp: Stamp, path: Path) -> StoredSet:
    """Build what a file holds from its columns.

    Raises
    ------
    FileProblem
    """
    try:
        content, columns = decode(to_current(neutral), path)
        record, records = record_from_plain(_records(columns))
        history = HistoryColumns({c.name: columns[c.name] for c in HISTORY_COLUMNS})
        history.require_text()
    except FileProblem:
        raise
    except UnicodeDecodeError:
        raise DamagedFile(path, "column record_text", "It is not valid UTF-8.", REMEDY) from None
    except BitepointError as error:
        raise DamagedFile(path, "", error.problem, error.remedy or REMEDY) from None
    if record:
        content = content.with_record(record)
    return StoredSet(content, history, sha, FileStamp(*stamp, sha), records)


def _records(columns: Columns) -> tuple[Record, ...]:
    kinds = plain(columns["record_kind"])
    texts = joined(columns["record_count"], columns["record_text"])
    records, budget = [], JsonBudget()
    for kind, text in zip(kinds, texts, strict=True):
        value = json_value(text, MAX_RECORD_BYTES, budget)
        if not isinstance(value, dict):
            value = {"text": value}
        records.append((kind, value))
    return tuple(records)


def newer_file(path: Path, version: str) -> NewerFile:
    """Return the error for a file that this program is too old for."""
    return NewerFile(
        path,
        "",
        f"It was made by a newer program (it needs format version {version}; "
        f"this one reads up to {FORMAT_VERSION}).",
        "Update Bitepoint, or have the set saved in the older format.",
    )


def damaged(path: Path, place: str, problem: str) -> DamagedFile:
    """Return the error for a file that is not what was saved."""
    if place in ("start of the file", "attribute format"):
        remedy = (
            "Name a set file. Canonical text, and tables in CSV, spreadsheets, HDF5 or NetCDF, "
            "become one with `bitepoint import`."
        )
        return ForeignFile(path, place, problem, remedy)
    return DamagedFile(path, place, problem, REMEDY)


def _checked(entry: Any) -> tuple[str, np.dtype[Any], tuple[int, ...]]:
    broken = BrokenMessage("The reading process gave a wrong answer.")
    if not isinstance(entry, list) or len(entry) != 3:
        raise broken
    name, type_text, shape = entry
    column = BY_NAME.get(name) if isinstance(name, str) else None
    if column is None or not isinstance(type_text, str) or not isinstance(shape, list):
        raise broken
    if len(shape) != len(column.dimensions) or not all(type(n) is int and n >= 0 for n in shape):
        raise broken
    if column.dtype != "S":
        if type_text != column.dtype:
            raise broken
        return name, np.dtype(column.dtype), tuple(shape)
    width = type_text.removeprefix("|S")
    if not width.isascii() or not width.isdigit() or not 0 < int(width) <= MAX_STRING_BYTES:
        raise broken
    return name, np.dtype(f"S{int(width)}"), tuple(shape)


def _text(header: Mapping[str, Any], key: str) -> str:
    value = header.get(key, "")
    if not isinstance(value, str):
        raise BrokenMessage("The reading process gave a wrong answer.")
    return value[:2000]


def _stamp(header: Mapping[str, Any]) -> Stamp:
    value = header.get("stamp")
    if not isinstance(value, list) or len(value) != 3 or not all(type(v) is int for v in value):
        raise BrokenMessage("The reading process gave a wrong answer.")
    return Stamp(*value)
