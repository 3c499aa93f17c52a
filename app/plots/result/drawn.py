"""One map of the picture, ready to be drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from app.colours import Rgb
from calib_model.core.arrays import BoolArray, FloatArray, IntArray

Strokes = tuple[FloatArray, FloatArray]


@dataclass(frozen=True, eq=False)
class Scale:
    """What the colours mean, where they mean numbers."""

    ramp: Rgb
    low: float
    high: float
    signed: bool


@dataclass(frozen=True, eq=False)
class Drawn:
    """Cells, regions and their words.

    Parameters
    ----------
    title : str
    x, y : float arrays, rising
        Points; columns and rows.
    titles : tuple of (name, unit)
        Of the axis along x and the one along y.
    rgb : ndarray of uint8, shape (rows, columns, 3)
    empty : bool array, shape (rows, columns)
    kinds : int array, shape (rows, columns)
        Regions of one kind have a border and a label.
    labels : mapping of kind to (short, long)
        The short one stands where the long one has no room.
    breach : bool array or None
        Hatched.
    scale : Scale or None
    """

    title: str
    x: FloatArray
    y: FloatArray
    titles: tuple[tuple[str, str], tuple[str, str]]
    rgb: Rgb
    empty: BoolArray
    kinds: IntArray
    labels: Mapping[int, tuple[str, str]]
    breach: BoolArray | None
    scale: Scale | None


def borders(kinds: IntArray, x: FloatArray, y: FloatArray) -> Strokes:
    """Return the lines between cells of different kinds, two points for each stroke.

    Parameters
    ----------
    kinds : int array, shape (rows, columns)
    x, y : float arrays, shapes (columns + 1,) and (rows + 1,)
        Edges of the cells.
    """
    rows, columns = np.nonzero(kinds[1:] != kinds[:-1])
    level_x = np.stack([x[columns], x[columns + 1]], axis=-1)
    level_y = np.stack([y[rows + 1], y[rows + 1]], axis=-1)
    rows, columns = np.nonzero(kinds[:, 1:] != kinds[:, :-1])
    upright_x = np.stack([x[columns + 1], x[columns + 1]], axis=-1)
    upright_y = np.stack([y[rows], y[rows + 1]], axis=-1)
    return (
        np.concatenate([level_x.reshape(-1), upright_x.reshape(-1)]),
        np.concatenate([level_y.reshape(-1), upright_y.reshape(-1)]),
    )


def room_at(mask: BoolArray, place: tuple[int, int], x: FloatArray, y: FloatArray) -> Room:
    """Return how far a region reaches without a break beside and above a point of it."""
    row, column = place
    left, right = _run(mask[row], column)
    low, high = _run(mask[:, column], row)
    return Room(
        (x[left] + x[right + 1]) / 2,
        (y[low] + y[high + 1]) / 2,
        float(x[right + 1] - x[left]),
        float(y[high + 1] - y[low]),
    )


@dataclass(frozen=True)
class Room:
    """Middle, width and height in the plot's coordinates."""

    x: float
    y: float
    width: float
    height: float


def _run(marks: BoolArray, at: int) -> tuple[int, int]:
    gaps = np.flatnonzero(~marks)
    before, after = gaps[gaps < at], gaps[gaps > at]
    return int(before[-1]) + 1 if before.size else 0, (
        int(after[0]) - 1 if after.size else marks.size - 1
    )
