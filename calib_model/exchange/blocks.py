"""Blocks of cells as spreadsheets copy and paste them: lines of tab-separated numbers.

A paste is all or nothing: either every cell reads as a number, or the refused ones are listed.
Numbers are never guessed.  ``1,234`` is one and a bit on one desk and over a thousand on the
next, a silent factor of 1000 on a clutch torque; so a comma is read as a decimal mark only where
the block leaves no doubt, and thousands separators are refused.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib_model.core.arrays import FloatArray, frozen
from calib_model.core.labels import Labels
from calib_model.core.numbers import exact
from calib_model.core.typed_number import (
    AMBIGUOUS,
    cleaned,
    decimal_mark,
    is_unfilled,
    looks_numeric,
    value_of,
    why_not,
)
from calib_model.errors import EditRefused
from calib_model.exchange.formulas import guarded

MAX_CELLS = 4_000_000


@dataclass(frozen=True)
class RefusedCell:
    """A cell of a pasted text that is not read as a number.

    Parameters
    ----------
    row, column : int
        Place in the pasted text, from 0, headers counted.
    text : str
    why : str
    """

    row: int
    column: int
    text: str
    why: str

    def words(self) -> str:
        """Say it in words, counting from 1."""
        return f"line {self.row + 1}, column {self.column + 1}: {self.text[:40]!r} {self.why}"


class PasteRefused(EditRefused):
    """A pasted text with cells that are not numbers; nothing is changed.

    Parameters
    ----------
    problem, remedy : str
    cells : iterable of RefusedCell
    ambiguous : bool
        Whether naming the decimal mark would make the text readable: worth asking for.
    """

    def __init__(
        self,
        problem: str,
        remedy: str,
        cells: Iterable[RefusedCell] = (),
        *,
        ambiguous: bool = False,
    ) -> None:
        self.cells = tuple(cells)
        self.ambiguous = ambiguous
        super().__init__(problem, remedy)


@dataclass(frozen=True)
class Block:
    """A pasted block.

    Parameters
    ----------
    values : float array, shape (rows, columns)
        NaN where the text said ``nan``.
    row_axis, column_axis : float array or None
        Breakpoints that stood beside and above the values.
    """

    values: FloatArray
    row_axis: FloatArray | None = None
    column_axis: FloatArray | None = None


def parse_block(text: str, decimal: str | None = None) -> Block:
    """Read a block of tab-separated cells, all or nothing.

    A block whose first cell is empty or a word has headers: the first line holds the column
    axis or labels, the first column the row axis or labels.  The caller must compare such axes
    with the table's: values for other breakpoints are other values.

    Parameters
    ----------
    text : str
        Lines of cells, as spreadsheets copy them; a line end at the end adds no line.
    decimal : ``"."``, ``","`` or None
        The decimal mark, if the user was asked; else it follows from the block: a point where
        only points occur, a comma where only commas occur and at least one of them cannot
        separate thousands.

    Returns
    -------
    Block

    Raises
    ------
    PasteRefused
        If any cell is not read as a number, or the lines have unequal numbers of cells.
    """
    rows = [[cleaned(cell) for cell in row] for row in _split(text)]
    headed = _has_headers(rows)
    first = 1 if headed else 0
    beside = [row[0] for row in rows[1:]] if headed else []
    above = rows[0][1:] if headed else []
    row_axis = bool(beside) and any(looks_numeric(c) for c in beside)
    column_axis = bool(above) and any(looks_numeric(c) for c in above)
    places = [(r, c) for r in range(first, len(rows)) for c in range(first, len(rows[0]))]
    if row_axis:
        places += [(r, 0) for r in range(1, len(rows))]
    if column_axis:
        places += [(0, c) for c in range(1, len(rows[0]))]
    mark = decimal or decimal_mark(rows[r][c] for r, c in places)
    refused = []
    for r, c in sorted(places):
        why = why_not(rows[r][c], mark)
        if not why and is_unfilled(rows[r][c]) and (r < first or c < first):
            why = "is no breakpoint"
        if why:
            refused.append(RefusedCell(r, c, rows[r][c], why))
    if refused:
        raise _refusal(refused)
    return Block(
        frozen([[value_of(c) for c in row[first:]] for row in rows[first:]]),
        frozen([value_of(c) for c in beside]) if row_axis else None,
        frozen([value_of(c) for c in above]) if column_axis else None,
    )


def with_numbers(text: str, labels: Labels) -> str:
    """Return a block's text with the numbers that its labels (``slow``) stand for.

    Parameters
    ----------
    text : str
        Lines of tab-separated cells.
    labels : Labels
        Of the table that the block is for.
    """
    if not labels:
        return text
    return re.sub(
        r"[^\t\r\n]+",
        lambda cell: cell[0] if (n := labels.number(cell[0])) is None else exact(n),
        text,
    )


def fitted(
    block: Block, top: int, left: int, height: int, width: int, shape: tuple[int, int]
) -> FloatArray:
    """Return the values to write from a cell on, given what is selected.

    One value fills the selection; a block goes in from the selection's first cell, and if more
    than a cell is selected it must have the selection's size.

    Parameters
    ----------
    block : Block
    top, left, height, width : int
        The selection.
    shape : (int, int)
        Rows and columns of the grid.

    Returns
    -------
    ndarray of float64
        To be written from (top, left) on.

    Raises
    ------
    PasteRefused
        If the block does not fit.
    """
    rows, columns = block.values.shape
    if (rows, columns) == (1, 1):
        return frozen(np.full((height, width), block.values[0, 0]))
    selected = f"{height} × {width}"
    if (height, width) not in ((1, 1), (rows, columns)):
        raise PasteRefused(
            f"The block has {rows} × {columns} cells, but {selected} are selected.",
            "Select the first cell only, or as many cells as were copied.",
        )
    if top + rows > shape[0] or left + columns > shape[1]:
        raise PasteRefused(
            f"The block of {rows} × {columns} cells does not fit from there on: the table has "
            f"{shape[0]} × {shape[1]}.",
            "Paste from an earlier cell, or copy fewer cells.",
        )
    return block.values


def format_block(
    values: npt.ArrayLike,
    rows: npt.ArrayLike | None = None,
    columns: npt.ArrayLike | None = None,
    corner: str = "",
    decimal: str = ".",
) -> str:
    """Return cells as tab-separated text with exact numbers, to be copied.

    Parameters
    ----------
    values : array_like of float, shape (rows, columns), (rows,) for one column, or one number
    rows, columns : array_like of float, optional
        Breakpoints to write beside and above the values.
    corner : str
        Text of the first cell where an axis is written, such as the axes' names.
    decimal : ``"."`` or ``","``

    Returns
    -------
    str
        `parse_block` reads it back exactly; lines end with a line feed.
    """
    array = np.asarray(values, dtype=np.float64)
    grid = array.reshape(array.shape[0] if array.ndim else 1, -1)
    lines = [[_text(v, decimal) for v in row] for row in grid.tolist()]
    if rows is not None or columns is not None:
        beside = [""] * len(lines)
        above = [""] * grid.shape[1]
        if rows is not None:
            beside = [_text(v, decimal) for v in np.ravel(rows).tolist()]
        if columns is not None:
            above = [_text(v, decimal) for v in np.ravel(columns).tolist()]
        lines = [[mark, *line] for mark, line in zip(beside, lines, strict=True)]
        lines.insert(0, [_label(corner), *above])
    return "".join("\t".join(line) + "\n" for line in lines)


def _split(text: str) -> list[list[str]]:
    if text.count("\t") + text.count("\n") >= MAX_CELLS:
        raise PasteRefused(
            f"The text has more than {MAX_CELLS} cells.", "Copy the part that belongs in the table."
        )
    # The csv module undoes the quotes that spreadsheets put around cells with line breaks.
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter="\t"))
    except csv.Error as problem:
        raise PasteRefused(
            f"The text is not a block of cells ({problem}).", "Copy it again."
        ) from None
    while rows and not any(cell.strip() for cell in rows[-1]):
        rows.pop()
    if not rows:
        raise PasteRefused("There is nothing to paste.", "Copy some cells first.")
    width = max(map(len, rows))
    missing = [
        RefusedCell(r, len(row), "", "is missing") for r, row in enumerate(rows) if len(row) < width
    ]
    if missing:
        raise PasteRefused(
            f"The lines have unequal numbers of cells: {missing[0].words()}.",
            "Copy a rectangle of cells.",
            missing,
        )
    return rows


def _has_headers(rows: list[list[str]]) -> bool:
    return (
        len(rows) > 1
        and len(rows[0]) > 1
        and not looks_numeric(rows[0][0])
        and not is_unfilled(rows[0][0])
    )


def _refusal(refused: list[RefusedCell]) -> PasteRefused:
    ambiguous = any(cell.why == AMBIGUOUS for cell in refused)
    more = f" and {len(refused) - 1} more" if len(refused) > 1 else ""
    return PasteRefused(
        f"Nothing was pasted: {refused[0].words()}{more}.",
        "Say which decimal mark the block has, or copy it without thousands separators."
        if ambiguous
        else "Mend these cells where they come from, and copy again.",
        refused,
        ambiguous=ambiguous,
    )


def _text(value: float, decimal: str) -> str:
    return exact(value) if decimal == "." else exact(value).replace(".", decimal)


def _label(text: str) -> str:
    return guarded(re.sub(r"[\t\r\n\"]+", " ", text).strip())
