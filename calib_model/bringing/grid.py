"""A grid of cells, as a text file or a sheet of a spreadsheet holds it, and where each one is."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from .numerals import Numerals, numerals_of

EMPTY, NUMBER, TEXT, TROUBLE = 0, 1, 2, 3
"""Kinds of cell; `TROUBLE` is one whose content cannot be known, such as a formula that no
program has computed yet."""
DIGITS = frozenset("0123456789")
Codes = np.ndarray[Any, np.dtype[np.int32]]
Kinds = np.ndarray[Any, np.dtype[np.uint8]]


class Trouble(str):
    """A cell whose content cannot be known; the text says why."""

    __slots__ = ()


Cell = str | float


@dataclass(frozen=True, eq=False)
class Grid:
    """Cells of a file or sheet.

    Parameters
    ----------
    file : str
        Name of the file.
    sheet : str
        Empty for a text file.
    cells : sequence of str, float or Trouble
        Different cells; the first is the empty one.
    codes : int32 array, shape (rows, columns)
        Row of `cells` for every place.
    lines : int array, shape (rows,), optional
        Line of the file that each row begins on, for text files.
    widths : int array, shape (rows,), optional
        How many cells each row of a text file has.
    given : Numerals, optional
        How its texts write numbers; found out by default.
    separator : str
        What stands between the cells of a text file.
    merged : tuple of (int, int, int)
        First and last row, and column, of cells that are merged down a column.
    percent : frozenset of (int, int)
        Row and column of cells that a sheet shows as percentages: 0.05 as 5 %.
    notes : tuple of str
    """

    file: str
    sheet: str
    cells: Sequence[Cell]
    codes: Codes
    lines: Any = None
    widths: Any = None
    given: Numerals | None = None
    separator: str = ""
    merged: tuple[tuple[int, int, int], ...] = ()
    percent: frozenset[tuple[int, int]] = frozenset()
    notes: tuple[str, ...] = field(default=())

    @cached_property
    def numerals(self) -> Numerals:
        """How numbers are written here."""
        if self.given is not None:
            return self.given
        texts = [c for c in self.cells if type(c) is str]
        return numerals_of(texts, semicolons=self.separator == ";")

    @cached_property
    def _read(self) -> tuple[FloatArray, Kinds]:
        numbers = np.full(len(self.cells), np.nan)
        kinds = np.full(len(self.cells), TEXT, dtype=np.uint8)
        read, plain = self.numerals.read, self.numerals.plain
        for row, cell in enumerate(self.cells):
            if plain and type(cell) is str and cell[-1:] in DIGITS and "_" not in cell:
                try:  # by far the commonest, and no other way is quicker
                    numbers[row], kinds[row] = float(cell) + 0.0, NUMBER
                    continue
                except ValueError:
                    pass
            if type(cell) is float:
                numbers[row], kinds[row] = cell, NUMBER
            elif type(cell) is Trouble:
                kinds[row] = TROUBLE
            elif not cell.strip():  # type: ignore[union-attr]
                kinds[row] = EMPTY
            else:
                value = read(cell)  # type: ignore[arg-type]
                if value is not None:
                    numbers[row], kinds[row] = value, NUMBER
        return numbers, kinds

    @cached_property
    def kinds(self) -> Kinds:
        """Kind of every cell, shape (rows, columns)."""
        return np.asarray(self._read[1][self.codes])

    @cached_property
    def numbers(self) -> FloatArray:
        """Value of every cell, shape (rows, columns); NaN where it is none."""
        return np.asarray(self._read[0][self.codes])

    @property
    def source(self) -> str:
        """File and sheet, to show and to remember choices by."""
        return f"{self.file} | {self.sheet}" if self.sheet else self.file

    def text(self, row: int, column: int) -> str:
        """Return a cell as text, spaces around it cut off; empty beyond the grid."""
        if not (0 <= row < self.codes.shape[0] and 0 <= column < self.codes.shape[1]):
            return ""
        cell = self.cells[self.codes[row, column]]
        if isinstance(cell, str):
            return " ".join(cell.split())
        return repr(cell).removesuffix(".0")

    def exact_text(self, row: int, column: int) -> str:
        """Return a cell's text as it stands."""
        cell = self.cells[self.codes[row, column]]
        return str(cell) if isinstance(cell, str) else repr(cell).removesuffix(".0")

    def filled_down(self, columns: Sequence[int]) -> Grid:
        """Return the grid with merged cells of some columns counted in each of their rows.

        Names and breakpoints beside values are merged so (pandas does it); a value never is.
        """
        wanted = set(columns)
        merged = [(a, b, c) for a, b, c in self.merged if c in wanted and b < len(self.codes)]
        if not merged:
            return self
        codes = self.codes.copy()
        for top, bottom, column in merged:
            codes[top : bottom + 1, column] = codes[top, column]
        return replace(self, codes=codes)

    def place(self, row: int, column: int) -> str:
        """Return words for a cell: ``cell B7`` in a sheet, ``line 7, column 2`` in a text file."""
        if self.sheet or self.lines is None:
            return f"cell {column_letters(column)}{row + 1}"
        return f"line {int(self.lines[row])}, column {column + 1}"

    def area(self, top: int, left: int, bottom: int, right: int) -> str:
        """Return words for an area; `bottom` and `right` are the first beyond it."""
        if self.sheet or self.lines is None:
            last = f"{column_letters(right - 1)}{bottom}"
            return f"{column_letters(left)}{top + 1}:{last}"
        first, last_line = int(self.lines[top]), int(self.lines[bottom - 1])
        rows = f"line {first}" if first == last_line else f"lines {first} to {last_line}"
        return rows if not left else f"{rows}, from column {left + 1}"


def column_letters(column: int) -> str:
    """Return how a spreadsheet calls a column, counted from 0.

    Examples
    --------
    >>> column_letters(0), column_letters(27)
    ('A', 'AB')
    """
    text = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


class Builder:
    """Collects rows of cells as codes: a cell is kept once, however often it is there.

    Parameters
    ----------
    all_texts : bool
        Whether every cell is a plain text, which is quicker.
    """

    def __init__(self, *, all_texts: bool = False) -> None:
        self._all_texts = all_texts
        self._index: dict[Any, int] = {"": 0}
        self._flat = array("i")
        self.widths: list[int] = []

    @property
    def different(self) -> int:
        """How many different cells there are."""
        return len(self._index)

    def add(self, row: Sequence[Cell]) -> None:
        """Add a row."""
        index = self._index
        known = index.setdefault
        keys = row if self._all_texts else map(_key, row)
        self._flat.extend([known(key, len(index)) for key in keys])
        self.widths.append(len(row))

    def cells(self) -> list[Cell]:
        """Return the different cells, the empty one first."""
        return [
            (Trouble(key[1]) if key[0] is Trouble else key[1]) if isinstance(key, tuple) else key
            for key in self._index
        ]

    def codes(self) -> Codes:
        """Return the codes, shape (rows, longest row)."""
        flat = np.frombuffer(self._flat, dtype=np.int32) if self._flat else np.empty(0, np.int32)
        width = max(self.widths, default=0)
        if len(set(self.widths)) < 2:
            return flat.reshape(len(self.widths), width)
        widths = np.array(self.widths)
        codes = np.zeros((len(widths), width), dtype=np.int32)
        codes[np.arange(width) < widths[:, None]] = flat
        return codes


def _key(cell: Cell) -> Any:
    # 1 == True == 1.0 and "a" == Trouble("a"), but they are different cells.
    if type(cell) is str:
        return cell
    if isinstance(cell, str):
        return (Trouble, cell)
    return (float, float(cell) + 0.0)
