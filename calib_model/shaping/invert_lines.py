"""One line at a time: whether a table can be turned round, its level stretches, its inverse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.axis import Interpolation
from ..core.numbers import short, with_unit
from ..core.table import Table
from ..errors import EditRefused

ENDS = ("inner", "low", "middle", "high")


@dataclass(frozen=True)
class Plateau:
    """A stretch on which the table stays level.

    Parameters
    ----------
    value : float
        In the source's unit.
    first, last : float
        Inputs between which it holds.
    line : tuple of float
        Place on the other axes.
    """

    value: float
    first: float
    last: float
    line: tuple[float, ...]


def inverse_of(
    x: FloatArray, y: FloatArray, at: FloatArray, end: str = "inner"
) -> tuple[FloatArray, BoolArray]:
    """Invert one rising or level line.

    Parameters
    ----------
    x : float array, shape (m,), rising strictly
    y : float array, shape (m,), never falling
    at : float array, shape (n,)
    end : ``inner``, ``low``, ``middle`` or ``high``
        Which input of a plateau to take; inner: of one at the line's end the one where the line
        begins to move, of others the middle.

    Returns
    -------
    float array, shape (n,)
        Held at the ends.
    bool array, shape (n,)
        Which values are beyond the line's own.
    """
    beyond = (at < y[0]) | (at > y[-1])
    inside = np.clip(at, y[0], y[-1])
    low = _crossing(x, y, inside, side="left")
    if end == "low":
        return low, beyond
    high = _crossing(x, y, inside, side="right")
    middle = (low + high) / 2
    if end == "inner":
        middle = np.where(inside <= y[0], high, np.where(inside >= y[-1], low, middle))
    return (high if end == "high" else middle), beyond


def _crossing(x: FloatArray, y: FloatArray, at: FloatArray, *, side: str) -> FloatArray:
    """First input with ``y >= at`` (left) or last with ``y <= at`` (right)."""
    right = np.searchsorted(y, at, side="left" if side == "left" else "right")
    hi = np.clip(right, 1, x.size - 1)
    lo = hi - 1
    rise = y[hi] - y[lo]
    with np.errstate(invalid="ignore", divide="ignore"):
        t = np.where(rise > 0, (at - y[lo]) / rise, 0.0 if side == "left" else 1.0)
    t = np.clip(t, 0.0, 1.0)
    found = np.where(t == 1.0, x[hi], x[lo] + t * (x[hi] - x[lo]))
    # Exactly at the first value of all the first input counts.
    return np.asarray(np.where((right == 0) & (side == "left"), x[0], found))


def sense_of(table: Table, axis: int) -> int:
    """1 if the table rises along the axis, -1 if it falls."""
    if not 0 <= axis < len(table.axes):
        raise EditRefused(f"{table.label} has no axis {axis + 1}.")
    own = table.axes[axis]
    if own.interpolation is Interpolation.STEP:
        raise EditRefused(f"{own.label} is read in steps, which cannot be turned round.")
    if not own.ordered:
        raise EditRefused(f"The axis {own.label.lower()} is out of order.", "Mend the axis first.")
    if len(own) < 2:
        raise EditRefused(f"{own.label} has a single breakpoint.")
    if np.isnan(table.values).any():
        raise EditRefused(f"{table.label} has empty cells.", "Fill them first.")
    steps = np.diff(table.values, axis=axis)
    for sense in (1, -1):
        if (steps * sense >= 0).all():
            if not (steps != 0).any(axis=axis).all():
                raise EditRefused(
                    f"{table.label} is level all along {own.label.lower()}: there is nothing to "
                    "turn round."
                )
            return sense
    first = int(
        np.argmax((steps > 0).any(axis=axis).reshape(-1) & (steps < 0).any(axis=axis).reshape(-1))
    )
    lines = np.moveaxis(table.values, axis, 0).reshape(len(own), -1)
    column = lines[:, first]
    rises = np.sign(column[-1] - column[0]) or 1.0
    place = (
        int(np.flatnonzero(np.diff(column) * rises < 0)[0])
        if (np.diff(column) * rises < 0).any()
        else 0
    )
    raise EditRefused(
        f"{table.label} does not keep rising or falling along {own.label.lower()}: it turns "
        f"between {short(float(own.values[place]))} and "
        f"{with_unit(float(own.values[place + 1]), own.unit)}.",
        "Mend its order first (repair), or turn round a part of it.",
    )


def plateaus_of(table: Table, axis: int) -> tuple[Plateau, ...]:
    """Return the stretches on which a table stays level along an axis, line by line."""
    x = table.axes[axis].values
    lines = np.moveaxis(table.values, axis, 0).reshape(x.size, -1)
    others = [a.values for n, a in enumerate(table.axes) if n != axis]
    mesh = [m.reshape(-1) for m in np.meshgrid(*others, indexing="ij")] if others else []
    found = []
    for n in range(lines.shape[1]):
        level = np.diff(lines[:, n]) == 0
        starts = np.flatnonzero(level & ~np.concatenate([[False], level[:-1]]))
        for start in starts.tolist():
            stop = start + 1
            while stop < level.size and level[stop]:
                stop += 1
            where = tuple(float(m[n]) for m in mesh)
            found.append(Plateau(float(lines[start, n]), float(x[start]), float(x[stop]), where))
    return tuple(found)
