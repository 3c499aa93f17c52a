"""Lines over one input, densely given, and how far straight pieces are from them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..errors import EditRefused

LEAST = 0.01
"""Share of a line's largest value that smaller values count as, where errors are relative."""


@dataclass(frozen=True, eq=False)
class Lines:
    """Straight pieces over one input, densely given.

    Parameters
    ----------
    x : float array, shape (m,), rising strictly
    y : float array, shape (m, k)
    size : float array, shape (m, k), above zero, optional
        What an error counts in at each point: 1 by default, for errors in the unit of the values.
    """

    x: FloatArray
    y: FloatArray
    size: FloatArray = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        x = np.asarray(self.x, dtype=np.float64)
        y = np.asarray(self.y, dtype=np.float64)
        object.__setattr__(self, "x", x)
        object.__setattr__(self, "y", y.reshape(x.size, -1))
        if not self.size.size:
            object.__setattr__(self, "size", np.ones_like(self.y))
        if x.size < 2 or not (np.diff(x) > 0).all() or not np.isfinite(self.y).all():
            raise EditRefused(
                "A reference needs at least two points that rise strictly, and no empty values."
            )

    def relative(self) -> Lines:
        """The same lines, errors counted as shares of the value.

        A value below a hundredth of its line's largest counts as that, since no straight piece
        can follow a line to a share of nothing.

        Raises
        ------
        EditRefused
            If a line is zero throughout.
        """
        size = np.abs(self.y)
        most = size.max(axis=0)
        if not (most > 0).all():
            raise EditRefused(
                "A line is zero throughout, so no error is a share of it.",
                "Ask for errors in the unit of the values.",
            )
        return Lines(self.x, self.y, np.maximum(size, LEAST * most))

    def read(self, at: FloatArray) -> FloatArray:
        """Values at some inputs inside the range, shape (n, k)."""
        return self._read(self.y, at)

    def _read(self, of: FloatArray, at: FloatArray) -> FloatArray:
        at = np.asarray(at, dtype=np.float64)
        low = np.clip(np.searchsorted(self.x, at, side="right") - 1, 0, self.x.size - 2)
        t = ((at - self.x[low]) / (self.x[low + 1] - self.x[low]))[:, None]
        return np.asarray(np.where(t == 0, of[low], of[low] + t * (of[low + 1] - of[low])))

    def with_points(self, at: FloatArray) -> Lines:
        """The same lines with more points in them."""
        x = np.union1d(self.x, at)
        return Lines(x, self.read(x), self._read(self.size, x))

    def at_points(self, chosen: IntArray) -> Lines:
        """The same lines, looked at at some of their points only."""
        return Lines(self.x[chosen], self.y[chosen], self.size[chosen])

    def chord_sizes(self, knots: FloatArray) -> tuple[FloatArray, IntArray]:
        """Largest error of each stretch between knots, and the point where it is.

        Returns
        -------
        float array, shape (n - 1,)
        int array, shape (n - 1,)
            Places in `x`.
        """
        inside = slice(
            int(self.x.searchsorted(knots[0], side="right")),
            int(self.x.searchsorted(knots[-1], side="left")),
        )
        x = self.x[inside]
        sizes = np.zeros(knots.size - 1)
        places = np.zeros(knots.size - 1, dtype=np.int64)
        if not x.size:
            return sizes, places
        stretch = knots.searchsorted(x, side="right") - 1
        t = ((x - knots[stretch]) / (knots[stretch + 1] - knots[stretch]))[:, None]
        nodes = self.read(knots)
        off = np.abs(self.y[inside] - nodes[stretch] - t * (nodes[stretch + 1] - nodes[stretch]))
        worst = (off / self.size[inside]).max(axis=1)
        starts = np.flatnonzero(np.diff(stretch, prepend=-1))
        sizes[stretch[starts]] = np.maximum.reduceat(worst, starts)
        at = np.flatnonzero(worst == sizes[stretch])
        places[stretch[at]] = at + inside.start
        return sizes, places

    def chord_errors(self, knots: FloatArray) -> float:
        """Largest error of straight pieces between points of the lines."""
        return float(self.chord_sizes(knots)[0].max(initial=0.0))


@dataclass(frozen=True)
class PlacementError:
    """How far straight pieces between breakpoints are from the reference.

    Parameters
    ----------
    largest : float
        In the unit of the values, or as a share of them; see `Lines.size`.
    at : float
        Input at which it occurs.
    line : int
        Which line.
    rms : float
        Root of the mean square over the input's range.
    """

    largest: float
    at: float
    line: int
    rms: float


def error_of(lines: Lines, breakpoints: FloatArray, values: FloatArray) -> PlacementError:
    """Return how far a table is from the reference; beyond its ends it holds them.

    Parameters
    ----------
    lines : Lines
    breakpoints : float array, shape (n,)
    values : float array, shape (n, k)
    """
    inside = breakpoints[(breakpoints > lines.x[0]) & (breakpoints < lines.x[-1])]
    dense = lines.with_points(inside)
    values = values.reshape(breakpoints.size, -1)
    read = np.stack(
        [np.interp(dense.x, breakpoints, values[:, n]) for n in range(values.shape[1])], axis=1
    )
    off = (read - dense.y) / dense.size
    apart = np.abs(off)
    row, column = np.unravel_index(int(apart.argmax()), apart.shape)
    h = np.diff(dense.x)[:, None]
    a, b = off[:-1], off[1:]
    mean = float((h * (a * a + a * b + b * b) / 3).sum() / (h.sum() * values.shape[1]))
    return PlacementError(
        float(apart[row, column]), float(dense.x[row]), int(column), float(np.sqrt(max(mean, 0.0)))
    )
