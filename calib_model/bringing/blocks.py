"""Find the blocks of a grid: what stands together, with the headings above it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..core.arrays import BoolArray
from .column_form import has_header, is_details
from .found import Reading
from .grid import EMPTY, NUMBER, TROUBLE, Grid

MOST_HEADINGS = 6
"""Rows of text above a block that are looked at."""


@dataclass(frozen=True)
class Block:
    """An area with numbers.

    Parameters
    ----------
    top, left, bottom, right : int
        `bottom` and `right` are the first beyond it.  The area begins at the first row with a
        number.
    heads : tuple of int
        Rows of text above it, the nearest last.
    """

    top: int
    left: int
    bottom: int
    right: int
    heads: tuple[int, ...] = ()

    @property
    def area(self) -> tuple[int, int, int, int]:
        """The area with its headings."""
        return min((self.top, *self.heads)), self.left, self.bottom, self.right


def runs(filled: BoolArray) -> list[tuple[int, int]]:
    """Return (first, first beyond) of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], filled, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def blocks_of(grid: Grid, reading: Reading) -> Iterator[Block]:
    """Yield the blocks of a grid, from top to bottom; text without numbers is left out."""
    kinds = grid.kinds
    numeric = (kinds == NUMBER) | (kinds == TROUBLE)
    heads: list[int] = []
    head_left, head_right = 0, 0
    for top, bottom in runs((kinds != EMPTY).any(axis=1)):
        filled = (kinds[top:bottom] != EMPTY).any(axis=0)
        for left, right in runs(filled):
            reading.count_block()
            part = slice(left, right)
            if not numeric[top:bottom, part].any():
                rows = range(top, bottom)
                if is_details(grid, top, left, right) or has_header(grid, top, left, right):
                    yield from _parted(grid, (top, left, bottom, right), numeric, ())
                elif len(rows) <= MOST_HEADINGS:
                    heads += rows
                    head_left, head_right = left, right
                else:
                    reading.leave_out(grid, (top, left, bottom, right), "It holds text only.")
                continue
            own = tuple(heads[-MOST_HEADINGS:])
            heads = []
            yield from _parted(grid, (top, left, bottom, right), numeric, own)
    if heads:
        area = (heads[0], head_left, heads[-1] + 1, max(head_right, head_left + 1))
        reading.leave_out(grid, area, "It holds text only.")


def _parted(
    grid: Grid, area: tuple[int, int, int, int], numeric: BoolArray, heads: tuple[int, ...]
) -> Iterator[Block]:
    """Part a band where rows of text follow on rows of numbers."""
    top, left, bottom, right = area
    header = next(
        (row for row in range(top, min(top + 3, bottom)) if has_header(grid, row, left, right)),
        None,
    )
    if header is not None or is_details(grid, top, left, right):
        # Each row of a list names its table: one without a number is a row as well.
        first = top if header is None else header + 1
        above = range(top, first)
        yield Block(first, left, bottom, right, (*heads, *above))
        return
    has_number: BoolArray = np.asarray(numeric[top:bottom, left:right].any(axis=1))
    starts = [0, *(np.flatnonzero(~has_number[1:] & has_number[:-1]) + 1).tolist()]
    for start, end in zip(starts, [*starts[1:], bottom - top], strict=True):
        numbered = np.flatnonzero(has_number[start:end])
        if not numbered.size:
            continue
        first = start + int(numbered[0])
        above = range(top + start, top + first)
        part = grid.kinds[top + start : top + end, left:right] != EMPTY
        columns = np.flatnonzero(part.any(axis=0))
        yield Block(
            top + first, left + int(columns[0]), top + end, left + int(columns[-1]) + 1,
            (*heads, *above),
        )  # fmt: skip
        heads = ()
