"""Connected regions of a picture, and where a label fits in each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib_model.core.arrays import BoolArray, IntArray


@dataclass(frozen=True, eq=False)
class Region:
    """Points of one kind that hang together, side by side or one above the other.

    Parameters
    ----------
    kind : int
    mask : bool array, shape (rows, columns)
    place : tuple of int
        Row and column of a point deep inside.
    """

    kind: int
    mask: BoolArray
    place: tuple[int, int]

    @property
    def size(self) -> int:
        """How many points it has."""
        return int(self.mask.sum())


def regions(kinds: IntArray, among: BoolArray | None = None) -> list[Region]:
    """Return the regions of a picture, the largest first.

    Parameters
    ----------
    kinds : int array, shape (rows, columns)
    among : bool array, same shape, optional
        Points that count; the others lie in no region.
    """
    wanted = np.ones(kinds.shape, dtype=np.bool_) if among is None else among
    marks = _joined(kinds, wanted)
    found = []
    for mark in np.unique(marks[wanted]).tolist():
        mask = marks == mark
        row, column = _deepest(mask)
        found.append(Region(int(kinds[row, column]), mask, (row, column)))
    return sorted(found, key=lambda region: (-region.size, region.place))


def _joined(kinds: IntArray, wanted: BoolArray) -> IntArray:
    """Give every point the least number of its region; those that do not count get -1."""
    marks = np.where(wanted, np.arange(kinds.size).reshape(kinds.shape), -1)
    across = (kinds[:, 1:] == kinds[:, :-1]) & wanted[:, 1:] & wanted[:, :-1]
    down = (kinds[1:] == kinds[:-1]) & wanted[1:] & wanted[:-1]
    while True:
        before = marks
        marks = marks.copy()
        for ties, left, right in (
            (across, marks[:, :-1], marks[:, 1:]),
            (down, marks[:-1], marks[1:]),
        ):
            least = np.minimum(left, right)
            left[ties] = least[ties]
            right[ties] = np.minimum(right, least)[ties]
        # A number leads to the place it came from, whose own may be lower by now.
        flat = marks.reshape(-1)
        flat[flat >= 0] = flat[flat[flat >= 0]]
        if np.array_equal(marks, before):
            return marks


def _deepest(mask: BoolArray) -> tuple[int, int]:
    """Return the point that is left when the region is peeled as often as it can be."""
    left = np.pad(mask, 1)
    while True:
        peeled = left.copy()
        peeled[1:-1, 1:-1] &= left[:-2, 1:-1] & left[2:, 1:-1] & left[1:-1, :-2] & left[1:-1, 2:]
        if not peeled.any():
            break
        left = peeled
    rows, columns = np.nonzero(left)
    middle = (rows - rows.mean()) ** 2 + (columns - columns.mean()) ** 2
    best = int(np.argmin(middle))
    return int(rows[best]) - 1, int(columns[best]) - 1
