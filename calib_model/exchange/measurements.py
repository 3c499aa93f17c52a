"""Measurements from text files: what the file looks like, and its columns as samples.

Separator, decimal mark, encoding, header and unit row are told from the file's beginning; what
leaves a doubt is asked for, never guessed.  Rows are read block by block into memory or, where
there are many, into a temporary file, so that ten million rows need the memory of one block.
"""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from ..core.plain_file import open_plain
from ..core.table import Table
from ..core.text_cells import cells_of, number_in
from ..core.units import convert, same_kind
from ..errors import FileProblem, UnitProblem
from ..shaping.samples import Samples
from .measurement_layout import Column, Layout, inspect

BLOCK = 4 << 20
"""Characters read at a time."""
SPOOL_ROWS = 500_000
"""Above this many rows the columns go to a temporary file."""
MOST_TOLD = 5
_LABEL = "U40"
_EMPTY = ("", "nan", "na", "n/a", "#n/a", "-", "--", "---", "null", "none")

__all__ = ["Choice", "Column", "Layout", "inspect", "read_samples", "suggested"]


@dataclass(frozen=True)
class Choice:
    """A column of the file, and the unit it is in.

    Parameters
    ----------
    column : str or int
        Name in the header, or number counted from 1.
    unit : str
        Empty for the unit that the file states, or else the target's own.
    """

    column: str | int
    unit: str = ""


@dataclass
class _Bad:
    """Cells that are no numbers."""

    count: int = 0
    told: list[str] = field(default_factory=list)


def suggested(layout: Layout, table: Table) -> dict[str, str]:
    """Return which column probably carries which axis and the value, where that is plain.

    Parameters
    ----------
    layout : Layout
    table : Table

    Returns
    -------
    dict
        Column name by the axis's number as text (``"1"``, ...) or ``"value"``.  Only matches by
        name count: a unit alone says too little.
    """
    found: dict[str, str] = {}
    taken: set[str] = set()
    wanted = [(str(n + 1), (a.quantity, a.name), a.unit) for n, a in enumerate(table.axes)]
    wanted.append(("value", (table.id, table.name), table.unit))
    for key, names, unit in wanted:
        keys = {_plain_name(n) for n in names if n}
        matches = [
            c.name
            for c in layout.columns
            if c.name not in taken
            and _plain_name(c.name) in keys
            and (not c.unit or same_kind(c.unit, unit))
        ]
        if len(matches) == 1:
            found[key] = matches[0]
            taken.add(matches[0])
    return found


def _plain_name(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


def read_samples(
    path: Path | str,
    table: Table,
    axes: Sequence[Choice],
    value: Choice,
    *,
    specimen: str | int = "",
    drive: str | int = "",
    weight: str | int = "",
    skip_text: bool = False,
    layout: Layout | None = None,
    progress: Callable[[float], None] | None = None,
) -> Samples:
    """Read columns of a text file as samples for a table.

    Parameters
    ----------
    path : path-like
    table : Table
        Its units are those the samples come in.
    axes : sequence of Choice, one per axis
    value : Choice
    specimen : str or int
        Column that names the unit under test; empty for none.
    drive : str or int
        Column of the input that a sweep drives up and down; empty for none.
    weight : str or int
        Column that says how many samples a row counts as; empty if each counts as one.
    skip_text : bool
        Leave out rows with text in a number column (they are counted); else refuse.
    layout : Layout, optional
        What the file looks like; found out if not given.
    progress : callable, optional
        Called with the share that is read; may raise to stop.

    Returns
    -------
    Samples
        Empty cells are NaN; the fit leaves such rows out and counts them.

    Raises
    ------
    FileProblem
        If the file cannot be read, a column does not exist, or a cell is no number.
    UnitProblem
        If a column's unit cannot be converted.
    """
    path = Path(path)
    layout = inspect(path) if layout is None else layout
    if len(axes) != len(table.axes):
        raise FileProblem(
            path, "", f"{len(axes)} columns were chosen for the {len(table.axes)} axes of "
            f"{table.label}.", "Choose one column per axis.",
        )  # fmt: skip
    chosen = [layout.column(c.column) for c in axes] + [layout.column(value.column)]
    targets = [a.unit for a in table.axes] + [table.unit]
    names = [a.label for a in table.axes] + [table.label]
    units, notes = [], []
    for choice, column, target, name in zip((*axes, value), chosen, targets, names, strict=True):
        unit = choice.unit or column.unit
        if not unit:
            unit = target
            if target not in ("", "-"):
                notes.append(f"Column {column.name!r} states no unit; {target} was taken.")
        if not same_kind(unit, target):
            raise UnitProblem(
                f"Column {column.name!r} is in {unit!r}, but {name} is in {target!r}.",
                "Choose another column, or name the unit it is in.",
            )
        units.append(unit)
    numbers = list(chosen)
    if drive != "":
        numbers.append(layout.column(drive))
    weights = layout.column(weight) if weight != "" else None
    if weights is not None:
        numbers.append(weights)
    label = layout.column(specimen) if specimen != "" else None
    reader = _SampleReader(path, layout, numbers, label, skip_text, progress)
    columns, lines, codes = reader.read()
    converted = [
        _converted(c, unit, target)
        for c, unit, target in zip(columns, units, targets, strict=False)
    ]
    if reader.bad.count:
        notes.append(
            f"{reader.bad.count} rows with text in a number column were left out "
            f"({'; '.join(reader.bad.told)})."
        )
    if not lines.size:
        raise FileProblem(path, "", "There are no rows of numbers.", "Check the file.")
    return Samples(
        tuple(converted[:-1]),
        converted[-1],
        lines,
        codes if label is not None else np.empty(0, dtype=np.int64),
        tuple(reader.labels) if label is not None else (),
        columns[len(targets)] if drive != "" else np.empty(0),
        source=path.name,
        names=tuple(c.name for c in chosen),
        notes=tuple(notes),
        weight=columns[-1] if weights is not None else np.empty(0),
        weight_name=weights.name if weights is not None else "",
    )


def _converted(column: Any, unit: str, target: str) -> Any:
    if unit == target:
        return column
    if not isinstance(column, np.memmap):
        return convert(column, unit, target)
    for start in range(0, column.size, 1 << 18):  # in place, a part at a time
        column[start : start + (1 << 18)] = convert(column[start : start + (1 << 18)], unit, target)
    return column


class _SampleReader:
    """Reads number columns and perhaps one column of names."""

    def __init__(
        self,
        path: Path,
        layout: Layout,
        numbers: Sequence[Column],
        label: Column | None,
        skip_text: bool,
        progress: Callable[[float], None] | None,
    ) -> None:
        self.path, self.layout = path, layout
        self.names = [c.name for c in numbers]
        self.numbers = [c.number for c in numbers]
        self.label = label.number if label is not None else -1
        self.skip_text, self.progress = skip_text, progress
        self.bad = _Bad()
        self.labels: dict[str, int] = {}
        self._unique = list(dict.fromkeys(self.numbers))
        fields: list[tuple[str, Any]] = [(f"n{n}", np.float64) for n in self._unique]
        self._columns = list(self._unique)
        if self.label >= 0 and self.label not in self._unique:
            fields.append(("label", _LABEL))
            self._columns.append(self.label)
        self._type = np.dtype(fields)

    def read(self) -> tuple[list[Any], Any, Any]:
        """Return the number columns, line numbers and codes of the names."""
        store = _Store(len(self.numbers))
        size = max(1, self.path.stat().st_size)
        for first_line, lines, at in self._blocks():
            rows, kept, names = self._parsed(first_line, lines)
            codes = [self.labels.setdefault(n, len(self.labels)) for n in names]
            if len(self.labels) > 1000:
                raise FileProblem(
                    self.path, "", "The column of units under test holds over 1000 names.",
                    "Choose the column that names the unit, not one of numbers.",
                )  # fmt: skip
            store.add(rows, kept, np.array(codes, dtype=np.float64))
            if self.progress is not None:
                self.progress(min(1.0, at / size))
        return store.columns()

    def _blocks(self) -> Iterator[tuple[int, list[str], int]]:
        """Yield (line number of the first, lines, bytes read) block by block."""
        layout = self.layout
        try:
            with io.TextIOWrapper(open_plain(self.path), layout.encoding) as file:
                for _ in range(layout.first_line - 1):
                    file.readline()
                number, left, read = layout.first_line, "", 0
                while text := file.read(BLOCK):
                    read += len(text)
                    lines = (left + text).split("\n")
                    left = lines.pop()
                    if len(left) > BLOCK:
                        raise FileProblem(
                            self.path, f"line {number + len(lines)}", "This line is too long.",
                            "Check that the file is a table of measurements.",
                        )  # fmt: skip
                    if lines:
                        yield number, lines, read
                        number += len(lines)
                if left:
                    yield number, [left], read
        except OSError as error:
            raise FileProblem(
                self.path, "", f"Cannot be read: {error.strerror or error}.", "Check the name."
            ) from None
        except UnicodeDecodeError as error:
            raise FileProblem(
                self.path, "", f"Byte {error.start} of a block is not {layout.encoding} text.",
                "Name the file's encoding.",
            ) from None  # fmt: skip

    def _parsed(self, first: int, lines: list[str]) -> tuple[FloatArray, Any, list[str]]:
        quick = self._quick(first, lines)
        return quick if quick is not None else self._slow(first, lines)

    def _quick(self, first: int, lines: list[str]) -> tuple[FloatArray, Any, list[str]] | None:
        """Read with numpy's own reader; None where a row needs a closer look."""
        text = lines
        if self.layout.decimal == ",":
            joined = "\n".join(lines)
            if "." in joined:
                return None
            text = joined.replace(",", ".").split("\n")
        if not all(text):  # numpy's reader would drop empty lines without counting them
            return None
        if "_" in text[0]:  # it reads 1_000 as a number
            return None
        try:
            found = np.loadtxt(
                text,
                dtype=self._type,
                delimiter=self.layout.separator if self.layout.separator != " " else None,
                usecols=self._columns,
                quotechar='"',
                comments=None,
                ndmin=1,
            )
        except (ValueError, IndexError, OverflowError):
            return None
        if found.shape[0] != len(lines):
            return None
        rows = np.stack([found[f"n{n}"] for n in self.numbers])
        names: list[str] = []
        if self.label >= 0:
            key = "label" if "label" in (self._type.names or ()) else f"n{self.label}"
            names = [str(t).strip() for t in found[key].tolist()]
        return rows, np.arange(first, first + len(lines)), names

    def _slow(self, first: int, lines: list[str]) -> tuple[FloatArray, Any, list[str]]:
        """Read cell by cell, and say which one is no number."""
        separator = self.layout.separator
        rows: list[list[float]] = []
        kept, names = [], []
        for number, line in enumerate(lines, first):
            if not line.strip():
                continue
            cells = cells_of(line, separator)
            row = [self._number(cells, place, number) for place in self.numbers]
            if any(v is None for v in row):
                continue
            rows.append([v for v in row if v is not None])
            kept.append(number)
            if self.label >= 0:
                names.append(cells[self.label] if self.label < len(cells) else "")
        found = np.array(rows, dtype=np.float64).reshape(len(rows), len(self.numbers)).T
        return found, np.array(kept, dtype=np.int64), names

    def _number(self, cells: list[str], place: int, line: int) -> float | None:
        text = cells[place] if place < len(cells) else ""
        if text.lower() in _EMPTY:
            return float("nan")
        found = number_in(text, self.layout.decimal)
        if found is not None:
            return found
        self.bad.count += 1
        column = self.layout.columns[place].name
        told = f"line {line}, column {column!r}: {text[:30]!r}"
        if len(self.bad.told) < MOST_TOLD:
            self.bad.told.append(told)
        if not self.skip_text:
            mark = "point" if self.layout.decimal == "." else "comma"
            raise FileProblem(
                self.path,
                f"line {line}, column {column!r}",
                f"{text[:30]!r} is not a number with a decimal {mark}.",
                "Mend the file, name its decimal mark, or ask for such rows to be left out.",
            )
        return None


class _Store:
    """Collects columns in memory, and moves them to a temporary file when there are many."""

    def __init__(self, count: int) -> None:
        self.count = count
        self.parts: list[tuple[FloatArray, Any, Any]] = []
        self.rows = 0
        self.files: list[Any] = []

    def add(self, rows: FloatArray, lines: Any, codes: Any) -> None:
        """Add some rows; `rows` has shape (columns, rows)."""
        self.parts.append((rows, lines, codes))
        self.rows += rows.shape[1]
        if self.rows > SPOOL_ROWS or self.files:
            self._spool()

    def _spool(self) -> None:
        if not self.files:
            # Open until they are mapped; the maps outlive them.
            self.files = [tempfile.TemporaryFile() for _ in range(self.count + 2)]  # noqa: SIM115
        for rows, lines, codes in self.parts:
            for file, column in zip(
                self.files, [*rows, np.asarray(lines, dtype=np.float64), codes], strict=True
            ):
                file.write(np.ascontiguousarray(column).tobytes())
        self.parts = []

    def columns(self) -> tuple[list[Any], Any, Any]:
        """Return the columns, line numbers and codes."""
        if self.files:
            found: list[Any] = []
            for file in self.files:
                file.flush()
                found.append(
                    np.memmap(file, dtype=np.float64, mode="r+", shape=(file.tell() // 8,))
                )
                file.close()
            *columns, lines, codes = found
            return columns, lines, codes
        if not self.parts:
            return [np.empty(0) for _ in range(self.count)], np.empty(0), np.empty(0)
        rows = np.concatenate([p[0] for p in self.parts], axis=1)
        lines = np.concatenate([p[1] for p in self.parts]).astype(np.int64)
        codes = np.concatenate([p[2] for p in self.parts]).astype(np.int64)
        return list(rows), lines, codes
