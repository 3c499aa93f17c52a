"""Ask the reading process for the cells or variables of a file."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from ..core.arrays import FloatArray
from ..core.plain_file import open_plain
from ..errors import DamagedFile, FileProblem
from ..store.launch import Child
from ..store.layout import FORMAT
from ..store.message import BrokenMessage, exactly, read_header
from .bounds import MAX_CELLS, MAX_FILE_BYTES, MAX_OBJECTS, MAX_SHEETS, MAX_TEXTS, MAX_VALUES
from .child import SIGN
from .grid import Cell, Grid, Trouble

TIME_LIMIT = 300.0
"""Seconds for all files together; what one may take is limited in the process itself."""
_MODULE = "calib_model.bringing.child"
RECORDING = "bitepoint recording"
"""What our own recordings call themselves, see `calib_model.evidence.reading.hdf5`."""


@dataclass(frozen=True, eq=False)
class Variable:
    """A variable of an HDF5 or NetCDF file.

    Parameters
    ----------
    file, path : str
        Of the file, and within it.
    dimensions : tuple of str
        Paths of its coordinate variables, or names where there are none.
    attributes : mapping of str to str, float or int
    values : float array
    left_out : str
        Why it was not read; then it has no values.
    """

    file: str
    path: str
    dimensions: tuple[str, ...]
    attributes: Mapping[str, Any]
    values: FloatArray
    left_out: str = ""
    scale: bool = False
    """Whether it says itself to be a coordinate."""


@dataclass(frozen=True, eq=False)
class Contents:
    """What a file holds, as it was read.

    Parameters
    ----------
    path : Path
    kind : str
        ``text``, ``spreadsheet``, ``HDF5``, ``canonical`` or ``set``.
    grids : tuple of Grid
    variables : tuple of Variable
    """

    path: Path
    kind: str
    grids: tuple[Grid, ...] = ()
    variables: tuple[Variable, ...] = field(default=())


def kind_of(path: Path) -> tuple[str, os.stat_result]:
    """Tell by its first bytes what a file is.

    Raises
    ------
    FileProblem
        If it cannot be opened, or is nothing that tables are read from.
    """
    try:
        with open_plain(path) as file:
            found, head = os.fstat(file.fileno()), file.read(4096)
    except FileNotFoundError:
        raise FileProblem(path, "", "There is no such file.", "Check the name.") from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileProblem(path, "", f"It cannot be opened ({reason}).", "Name a file.") from None
    if not head:
        raise FileProblem(path, "", "The file is empty.", "Check the name.")
    if found.st_size > MAX_FILE_BYTES:
        raise FileProblem(
            path, "", f"It is {found.st_size >> 20} MiB large; at most {MAX_FILE_BYTES >> 20} MiB "
            "are read.", "Cut it in parts.",
        )  # fmt: skip
    if head.startswith(b"\x89HDF\r\n\x1a\n"):
        return "HDF5", found
    if head.startswith(b"PK"):
        return "spreadsheet", found
    if head.startswith(b"\xd0\xcf\x11\xe0"):
        raise FileProblem(
            path, "", "It is a spreadsheet of an old kind, or protected by a password.",
            "Save it as .xlsx or .ods without a password.",
        )  # fmt: skip
    if head.startswith(b"CDF"):
        raise FileProblem(
            path, "", "It is a NetCDF file of the classic kind.",
            "Save it as NetCDF-4 (xarray: to_netcdf(..., format='NETCDF4')).",
        )  # fmt: skip
    lines = [line for line in head.split(b"\n")[:40] if not line.startswith(b"#")]
    if lines and lines[0].startswith(b"bitepoint-content "):
        return "canonical", found
    return "text", found


class Reader:
    """The reading process for files that are brought in, started when it is first needed.

    One process reads one file after another: starting it costs more than most files.  One that a
    file ended is replaced.
    """

    def __init__(self) -> None:
        self._child: Child | None = None

    def __enter__(self) -> Reader:
        return self

    def __exit__(self, *_: object) -> None:
        self.end()

    def end(self) -> None:
        """End the process."""
        if self._child is not None:
            self._child.end()
            self._child = None

    def contents(self, path: Path, hints: Mapping[str, str] | None = None) -> Contents:
        """Read a file's cells or variables.

        Parameters
        ----------
        path : Path
        hints : mapping
            What was chosen for a text file: ``encoding``, ``separator``, ``decimal``,
            ``thousands``.

        Raises
        ------
        FileProblem
            Naming the place.
        """
        kind, stat = kind_of(path)
        if kind == "canonical":
            return Contents(path, kind)
        try:
            if self._child is None:
                self._child = Child(TIME_LIMIT, module=_MODULE)
        except OSError as error:
            raise FileProblem(
                path, "", f"No process to read it could be started ({error}).",
                "Close other programs.",
            ) from None  # fmt: skip
        whole = False
        try:
            self._child.ask(path, kind=kind, size=stat.st_size, hints=dict(hints or {}))
            found = _Answer(path, kind, self._child).contents()
            whole = True
            return found
        finally:
            if not whole:
                self.end()


class _Answer:
    """What the reading process says, which is not trusted with any bound."""

    def __init__(self, path: Path, kind: str, child: Any) -> None:
        self.path, self.kind, self.child = path, kind, child
        self.cells = MAX_CELLS
        self.values = MAX_VALUES

    def contents(self) -> Contents:
        grids: list[Grid] = []
        variables: list[Variable] = []
        try:
            while True:
                header = read_header(self.child.read)
                if header is None:
                    raise BrokenMessage("it ended early")
                if "error" in header:
                    raise self._problem(header)
                if "end" in header:
                    break
                if "grid" in header:
                    grids.append(self._grid(header["grid"]))
                else:
                    variables.append(self._variable(header["variable"]))
                if len(grids) > MAX_SHEETS or len(variables) > MAX_OBJECTS:
                    raise BrokenMessage("a wrong answer")
        except (BrokenMessage, OSError, KeyError, TypeError, ValueError, MemoryError) as error:
            self._broken(str(error))
        said = variables[0].attributes.get("format") if variables else None
        if said == FORMAT:
            return Contents(self.path, "set")
        if said == RECORDING:
            raise FileProblem(
                self.path, "", "It is a recording, not tables.",
                "Open it in Road, or give it to `bitepoint replay`.",
            )  # fmt: skip
        return Contents(self.path, self.kind, tuple(grids), tuple(variables))

    def _grid(self, about: Mapping[str, Any]) -> Grid:
        rows, columns, count, numbers, size = (
            _count(about[key]) for key in ("rows", "columns", "cells", "numbers", "bytes")
        )
        self.cells -= rows * columns
        if self.cells < 0 or count > rows * columns + 1 or numbers > count or size > MAX_TEXTS:
            raise BrokenMessage("a wrong answer")
        kinds = exactly(self.child.read, count)
        values = np.frombuffer(exactly(self.child.read, numbers * 8), dtype=np.float64).tolist()
        joined = exactly(self.child.read, size).decode("utf-8")
        codes = np.frombuffer(exactly(self.child.read, rows * columns * 4), dtype=np.int32)
        lines = widths = None
        if about.get("lines") is True:
            lines, widths = (
                np.frombuffer(exactly(self.child.read, rows * 4), dtype=np.int32) for _ in range(2)
            )
        texts = iter(joined.split(SIGN) if size or numbers < count else ())
        left = iter(values)
        cells: list[Cell] = [
            next(left) if kind == 0 else Trouble(next(texts)) if kind == 2 else next(texts)
            for kind in kinds
        ]
        if codes.size and (codes.min() < 0 or codes.max() >= len(cells)):
            raise BrokenMessage("a wrong answer")
        return Grid(
            self.path.name, _text(about.get("sheet", "")), cells, codes.reshape(rows, columns),
            lines, widths, separator=_text(about.get("separator", "")),
            merged=tuple(
                (_count(top), _count(bottom), _count(left))
                for top, bottom, left in about.get("merged", ())
            ),
            percent=frozenset((_count(r), _count(c)) for r, c in about.get("percent", ())),
            notes=tuple(_text(note) for note in about.get("notes", ())[:50]),
        )  # fmt: skip

    def _variable(self, about: Mapping[str, Any]) -> Variable:
        shape = tuple(_count(n) for n in about["shape"])
        size = 1
        for n in shape:
            size *= n
        left_out = _text(about.get("left_out", ""))
        values = np.empty(0)
        if not left_out:
            self.values -= size
            if self.values < 0 or len(shape) > 32:
                raise BrokenMessage("a wrong answer")
            data = exactly(self.child.read, size * 8)
            values = np.frombuffer(data, dtype=np.float64).reshape(shape)
        attributes = {
            _text(key): value if isinstance(value, int | float) else _text(value)
            for key, value in about.get("attributes", {}).items()
        }
        return Variable(
            self.path.name, _text(about["path"]), tuple(_text(d) for d in about["dimensions"]),
            attributes, values, left_out, about.get("scale") is True,
        )  # fmt: skip

    def _problem(self, header: Mapping[str, Any]) -> FileProblem:
        place, problem, remedy = (
            str(header.get(key, ""))[:2000] for key in ("place", "problem", "remedy")
        )
        if header.get("error") == "refused":
            kind = DamagedFile if "damaged" in problem else FileProblem
            return kind(self.path, place, problem, remedy)
        return FileProblem(
            self.path, "", f"Reading it failed ({problem}).", "Save it again, or as CSV."
        )

    def _broken(self, reason: str) -> NoReturn:
        status = self.child.status()
        if self.child.timed_out:
            raise DamagedFile(
                self.path, "", "Reading it took too long and was stopped; it may be damaged.",
                "Save it again, or as CSV, with nothing but the tables in it.",
            )  # fmt: skip
        if status < 0:
            reason = f"signal {-status}"
        raise DamagedFile(
            self.path, "", f"Reading it ended the reading process ({reason}).",
            "Save it again, or as CSV.",
        )  # fmt: skip


def _count(value: Any) -> int:
    if type(value) is not int or not 0 <= value < 1 << 31:
        raise BrokenMessage("a wrong answer")
    return value


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise BrokenMessage("a wrong answer")
    return value
