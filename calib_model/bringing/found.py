"""What is found in a file: tables as they were understood, doubts, and what was left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..core.axis import Axis
from .bounds import MAX_BLOCKS
from .grid import EMPTY, NUMBER, TEXT, Grid

NOTHING: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True)
class Doubt:
    """Something that was understood, but could be otherwise.

    Parameters
    ----------
    about : str
        ``id``, ``unit``, ``numbers``, ``cells``, ``axis 1``, ...: by this word it is settled.
    why : str
        In words, with the place.
    remedy : str
        What settles it.
    choices : tuple of str
        What could be chosen; the first is what was understood.
    blocks : bool
        Whether the table cannot be taken before it is settled.
    """

    about: str
    why: str
    remedy: str = ""
    choices: tuple[str, ...] = ()
    blocks: bool = False


@dataclass(frozen=True)
class LeftOut:
    """A part of a file that is no table, and why."""

    source: str
    where: str
    why: str


@dataclass(frozen=True, eq=False)
class Cells:
    """Where in its grid a table stands, and which cells are what.

    Parameters
    ----------
    area : tuple of int
        Top, left, and the first row and column beyond it.
    rows, values : int arrays
        Values stand in the cells of these rows in these columns.
    beside : tuple of int
        Columns of breakpoints, in the rows with values.
    above : int
        Row of breakpoints, in the columns with values; -1 for none.
    """

    area: tuple[int, int, int, int]
    rows: IntArray
    values: tuple[int, ...]
    beside: tuple[int, ...] = ()
    above: int = -1

    def part(self, row: int, column: int) -> str:
        """Return what a cell was taken for: ``value``, ``breakpoint``, ``heading`` or nothing."""
        top, left, bottom, right = self.area
        at = int(np.searchsorted(self.rows, row))
        if at < len(self.rows) and self.rows[at] == row:
            if column in self.values:
                return "value"
            if column in self.beside:
                return "breakpoint"
        if row == self.above and column in self.values:
            return "breakpoint"
        return "heading" if top <= row < bottom and left <= column < right else ""


@dataclass(frozen=True, eq=False)
class Found:
    """A table as a file holds it, before anything was chosen.

    Parameters
    ----------
    source, where : str
        File and sheet; the area in it.
    form : str
        ``grid``, ``columns``, ``rows``, ``list``, ``variable``, ``canonical text`` or ``set``.
    id, name, unit : str
        As far as they were said; `unit` is None where none was.
    axes : tuple of Axis
        In the order of `values`; as they were said.
    values : float array
    settings : mapping
        Further arguments of `calib_model.core.table.Table`.
    doubts : tuple of Doubt
    notes : tuple of str
        What one should know, though nothing was guessed.
    cells : Cells or None
        Where it stands, if it comes from a grid.
    """

    source: str
    where: str
    form: str
    id: str
    axes: tuple[Axis, ...]
    values: FloatArray
    name: str = ""
    unit: str | None = None
    settings: Mapping[str, Any] = field(default_factory=lambda: NOTHING)
    doubts: tuple[Doubt, ...] = ()
    notes: tuple[str, ...] = ()
    cells: Cells | None = None


class TooMany(Exception):
    """A file holds more areas than are looked at."""


@dataclass
class Reading:
    """What comes of a file, collected.

    Parameters
    ----------
    tables : list of Found
    left_out : list of LeftOut
    details : list of (id, texts)
        What a list of tables says of them: see `calib_model.exchange.particulars`.
    about : dict
        What the file says of the set.
    """

    tables: list[Found] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    details: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    about: dict[str, str] = field(default_factory=dict)
    shared_axes: list[Axis] = field(default_factory=list)
    blocks: int = 0

    def count_block(self) -> None:
        """Note that one more area is looked at; raises TooMany where they are too many."""
        self.blocks += 1
        if self.blocks > MAX_BLOCKS:
            raise TooMany

    def leave_out(self, grid: Grid, area: tuple[int, int, int, int], why: str) -> None:
        """Note that an area is no table."""
        if len(self.left_out) >= MAX_BLOCKS:
            raise TooMany
        self.left_out.append(LeftOut(grid.source, grid.area(*area), why))


SETTLE_CELLS = 'Mend them in the file, or choose cells = "empty" to leave them unfilled.'


def bad_cells(grid: Grid, rows: IntArray, columns: Sequence[int]) -> list[Doubt]:
    """Return the doubts about cells where numbers belong.

    Parameters
    ----------
    grid : Grid
    rows, columns : int
        The cells are those in all of them.
    """
    kinds = grid.kinds[np.ix_(rows, np.asarray(columns, dtype=np.intp))]
    wrong = kinds > NUMBER
    if not wrong.any():
        return []
    at = np.argwhere(wrong)
    row, column = int(rows[at[0, 0]]), int(columns[at[0, 1]])
    text = grid.text(row, column)
    what = repr(text[:40]) if kinds[at[0, 0], at[0, 1]] == TEXT else text
    more = f" and {len(at) - 1} more" if len(at) > 1 else ""
    why = f"{what} stands in {grid.place(row, column)}{more}, where a number belongs."
    return [Doubt("cells", why, SETTLE_CELLS, blocks=True)]


def numeral_doubts(grid: Grid, rows: IntArray, columns: Sequence[int]) -> list[Doubt]:
    """Return the doubts about how numbers are written, if one of the cells is concerned."""
    found = _percent_doubts(grid, rows, columns) if grid.percent else []
    if not grid.numerals.doubt:
        return found
    codes = grid.codes[np.ix_(rows, np.asarray(columns, dtype=np.intp))]
    concerned = np.array(
        [isinstance(c, str) and ("," in c or "." in c) for c in grid.cells], dtype=bool
    )[codes]
    if not concerned.any():
        return found
    at = np.argwhere(concerned)[0]
    row, column = int(rows[at[0]]), int(columns[at[1]])
    other = "." if grid.numerals.decimal == "," else ","
    return [
        *found,
        Doubt(
            "numbers",
            f"{grid.text(row, column)!r} in {grid.place(row, column)} could be read in two ways; "
            f"it was read with a {grid.numerals.words}.",
            'Choose decimal = "," or "." for the file.',
            (grid.numerals.decimal, other),
        ),
    ]


def _percent_doubts(grid: Grid, rows: IntArray, columns: Sequence[int]) -> list[Doubt]:
    wanted = set(columns)
    inside = set(rows.tolist())
    shown = sorted((r, c) for r, c in grid.percent if r in inside and c in wanted)
    if not shown:
        return []
    row, column = shown[0]
    more = f" and {len(shown) - 1} more" if len(shown) > 1 else ""
    why = (
        f"{grid.place(row, column)}{more} holds {grid.text(row, column)}, which the sheet shows as "
        f"{100 * float(grid.numbers[row, column]):g} %; it was read as it is held."
    )
    return [Doubt("percent", why, "Confirm it, or write plain numbers in the file.")]


def ragged_doubts(grid: Grid, rows: IntArray) -> list[Doubt]:
    """Return the doubt about rows that are shorter than those around them."""
    if grid.widths is None or len(rows) < 2:
        return []
    widths = grid.widths[rows]
    usual = int(widths.max())
    short = np.flatnonzero(widths < usual)
    if not short.size:
        return []
    row = int(rows[short[0]])
    more = f" and {len(short) - 1} more" if len(short) > 1 else ""
    cells = f"{int(grid.widths[row])} cells, not {usual}"
    why = f"Line {int(grid.lines[row])} has {cells}{more}."
    return [Doubt("cells", why, SETTLE_CELLS, blocks=True)]


def empty_note(grid: Grid, rows: IntArray, columns: Sequence[int]) -> list[str]:
    """Return the note about values that are not filled."""
    kinds = grid.kinds[np.ix_(rows, np.asarray(columns, dtype=np.intp))]
    empty = int((kinds == EMPTY).sum())
    return [f"{empty} of {kinds.size} cells are empty."] if empty else []


def axis_doubts(axes: Sequence[Axis]) -> list[Doubt]:
    """Return the doubts about axes that do not rise strictly."""
    found = []
    for number, axis in enumerate(axes, start=1):
        if axis.ordered:
            continue
        values = axis.values
        at = int(np.flatnonzero(~(values[1:] > values[:-1]))[0])
        before, after = float(values[at]), float(values[at + 1])
        what = "is there twice" if before == after else "comes after a larger one"
        found.append(
            Doubt(
                f"axis {number}",
                f"Breakpoint {at + 2} of {axis.label} ({after:g}) {what}.",
                'Mend the file, or choose order = "sorted" for the axis.',
                ("as it stands", "sorted"),
            )
        )
    return found
