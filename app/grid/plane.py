"""Which part of a table the grid shows: rows, columns, and the fixed places on further axes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from calib_model.core.arrays import BoolArray
from calib_model.core.planes import plane_index
from calib_model.core.table import Table

Cell = tuple[int, ...]


@dataclass(frozen=True)
class Plane:
    """A table's cells laid out in rows and columns.

    A scalar is one cell.  A curve is one row, so that its axis runs across as it does in the
    plot; a map has its first axis down and its second across.  Further axes stand still at
    `fixed`.

    Parameters
    ----------
    shape : tuple of int
        The table's shape.
    fixed : tuple of int
        One index per axis after the second.
    """

    shape: tuple[int, ...]
    fixed: tuple[int, ...] = ()

    @classmethod
    def at(cls, table: Table, cursor: Cell) -> Plane:
        """Return the plane of a table that holds the cell `cursor`."""
        return cls(table.shape, tuple(cursor[2:]) if len(cursor) == len(table.shape) else ())

    @property
    def rows(self) -> int:
        """Number of rows."""
        return self.shape[0] if len(self.shape) >= 2 else 1

    @property
    def columns(self) -> int:
        """Number of columns."""
        return self.shape[min(1, len(self.shape) - 1)] if self.shape else 1

    @property
    def row_axis(self) -> int | None:
        """Number of the axis that runs down, or None."""
        return 0 if len(self.shape) >= 2 else None

    @property
    def column_axis(self) -> int | None:
        """Number of the axis that runs across, or None."""
        return min(1, len(self.shape) - 1) if self.shape else None

    def cell(self, row: int, column: int) -> Cell:
        """Return the table's cell at a place of the plane."""
        if not self.shape:
            return ()
        if len(self.shape) == 1:
            return (column,)
        return (row, column, *self.fixed)

    def place(self, cell: Cell) -> tuple[int, int] | None:
        """Return row and column of a cell, or None if it lies in another plane."""
        if len(cell) != len(self.shape) or tuple(cell[2:]) != self.fixed:
            return None
        if len(cell) < 2:
            return 0, (cell[0] if cell else 0)
        return cell[0], cell[1]

    def of(self, array: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return the plane's part of an array of the table's shape, shape (rows, columns).

        It is a view: what is written to it reaches the array.
        """
        if array.ndim >= 2:
            plane: npt.NDArray[Any] = array[plane_index(self.fixed)]
            return plane
        return array.reshape(1, -1)

    def spread(self, marks: BoolArray) -> BoolArray:
        """Return a selection of the table's shape from marks of shape (rows, columns)."""
        whole = np.zeros(self.shape, dtype=bool)
        self.of(whole)[...] = marks
        return whole

    def places(self, flat: npt.NDArray[np.int64]) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
        """Return rows and columns of those flat cell numbers that lie in the plane."""
        if len(self.shape) < 2:
            return np.zeros(flat.size, dtype=np.int64), flat
        index = np.unravel_index(flat, self.shape)
        here = np.ones(flat.size, dtype=bool)
        for at, wanted in zip(index[2:], self.fixed, strict=True):
            here &= at == wanted
        return index[0][here], index[1][here]


def rectangles(marks: BoolArray) -> Iterator[tuple[int, int, int, int]]:
    """Cover marked cells by few rectangles: first row, first column, last row, last column.

    Equal neighbouring rows are taken together, so that a rectangle comes back as one.
    """
    row, rows = 0, marks.shape[0]
    while row < rows:
        if not marks[row].any():
            row += 1
            continue
        last = row
        while last + 1 < rows and np.array_equal(marks[last + 1], marks[row]):
            last += 1
        edges = np.flatnonzero(np.diff(np.concatenate(([0], marks[row].view(np.int8), [0]))))
        for first_column, end in zip(edges[::2], edges[1::2], strict=True):
            yield row, int(first_column), last, int(end) - 1
        row = last + 1


def bounding_box(marks: BoolArray) -> tuple[int, int, int, int] | None:
    """Return first row, first column, last row, last column of marked cells, or None."""
    rows, columns = np.flatnonzero(marks.any(axis=1)), np.flatnonzero(marks.any(axis=0))
    if not rows.size:
        return None
    return int(rows[0]), int(columns[0]), int(rows[-1]), int(columns[-1])


def outline(marks: BoolArray) -> BoolArray:
    """Return which sides of marked cells are an edge of the marked region.

    Returns
    -------
    bool array, shape (rows, columns, 4)
        Above, below, left, right.
    """
    around = np.pad(marks, 1)
    beside = (around[:-2, 1:-1], around[2:, 1:-1], around[1:-1, :-2], around[1:-1, 2:])
    return np.stack([marks & ~other for other in beside], axis=-1)
