"""The best breakpoints among candidates, their errors taken at every sample.

A stretch from one breakpoint to another errs by at most T where its slope lies in the cone of
slopes that pass every sample between at a distance of at most T.  The cone only narrows from
sample to sample, so for one T all stretches from one candidate are told in one pass, and the
fewest stretches to the end are a shortest path.  The least T for a number of stretches is found by
halving.  Walking greedily is wrong where the lines are not convex, so it is not done.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..core.arrays import BoolArray, FloatArray, IntArray
from .breakpoints_lines import Lines

ROUNDING = 1e-13
"""Share of the lines' size below which an error is rounding."""


@dataclass(frozen=True, eq=False)
class Stretches:
    """All stretches between candidates that may err by no more than `most`.

    Parameters
    ----------
    lines : Lines
    at : float array, shape (c,), rising
        Candidates; the first and last are ends.
    most : float
        Errors above are not asked for, which keeps the work to the stretches that matter.
    must : int array
        Candidates that no stretch may pass over.
    """

    lines: Lines
    at: FloatArray
    most: float
    must: IntArray

    @cached_property
    def _ends(self) -> tuple[IntArray, IntArray]:
        """The first sample behind each candidate, and the first not before it."""
        x = self.lines.x
        return x.searchsorted(self.at, side="right"), x.searchsorted(self.at, side="left")

    @cached_property
    def _values(self) -> FloatArray:
        return self.lines.read(self.at)

    @cached_property
    def _cones(self) -> list[tuple[FloatArray, FloatArray]]:
        """Slope to each sample ahead, and what a unit of error adds; per line, (c, samples)."""
        width = min(64, self.lines.x.size)
        while True:
            cones = self._cones_of(width)
            if width >= self.lines.x.size or not self._open(cones).any():
                return cones
            width = min(2 * width, self.lines.x.size)

    def _cones_of(self, width: int) -> list[tuple[FloatArray, FloatArray]]:
        x, y, size = self.lines.x, self.lines.y, self.lines.size
        ahead = self._ends[0][:, None] + np.arange(width)
        inside = ahead < x.size
        ahead = np.where(inside, ahead, 0)
        with np.errstate(divide="ignore"):
            per = np.where(inside, 1.0 / (x[ahead] - self.at[:, None]), 0.0)
        return [
            ((y[ahead, n] - self._values[:, None, n]) * per, size[ahead, n] * per)
            for n in range(y.shape[1])
        ]

    def _open(self, cones: list[tuple[FloatArray, FloatArray]]) -> BoolArray:
        """Candidates whose cone is still open at the last sample looked at, short of the end."""
        width = cones[0][0].shape[1]
        still = self._ends[0] + width < self.lines.x.size
        for slope, band in cones:
            low = (slope - self.most * band).max(axis=1)
            still &= low <= (slope + self.most * band).min(axis=1)
        return np.asarray(still)

    @cached_property
    def _pairs(self) -> tuple[int, IntArray, IntArray, list[FloatArray]]:
        """Stretches looked at: which, where their cones are, slopes.

        Returns
        -------
        int
            Most stretches from one candidate.
        int array, shape (p,)
            Places in an array of shape (c, most stretches).
        int array, shape (p,)
            Places in an array of cones; -1 where no sample lies between.
        list of float array, shape (p,)
            Slope of each line's chord.
        """
        first, stop = self._ends
        c = self.at.size
        width = self._cones[0][0].shape[1]
        here = np.arange(c)
        farthest = stop.searchsorted(first + width, side="right") - 1
        if self.must.size:
            next_must = np.append(self.must, c - 1)[self.must.searchsorted(here, side="right")]
            farthest = np.minimum(farthest, next_must)
        count = farthest - here
        rows = np.repeat(here, count)
        ahead = np.arange(rows.size) - np.repeat(np.cumsum(count) - count, count)
        ends = rows + ahead + 1
        last = stop[ends] - first[rows] - 1
        per = 1.0 / (self.at[ends] - self.at[rows])
        slopes = [(v[ends] - v[rows]) * per for v in self._values.T]
        place = np.where(last < 0, -1, rows * width + last)
        most = int(count.max())
        return most, rows * most + ahead, place, slopes

    def allowed(self, error: float) -> BoolArray:
        """Which stretches err by at most so much; shape (c, stretches from each)."""
        most, pairs, place, slopes = self._pairs
        good = np.ones(pairs.size, dtype=bool)
        for (slope, band), chord in zip(self._cones, slopes, strict=True):
            reach = error * band
            low, high = slope - reach, slope + reach
            np.maximum.accumulate(low, axis=1, out=low)
            np.minimum.accumulate(high, axis=1, out=high)
            good &= low.reshape(-1)[place] <= chord
            good &= chord <= high.reshape(-1)[place]
        good |= place < 0
        found = np.zeros((self.at.size, most), dtype=bool)
        found.reshape(-1)[pairs] = good
        return found

    def path(self, error: float, count: int | None = None) -> IntArray | None:
        """Candidates whose stretches err by at most so much, or None.

        Parameters
        ----------
        error : float
        count : int, optional
            How many; the fewest by default.
        """
        floor = ROUNDING * max(float(np.abs(self.lines.y).max()), 1e-300)
        good = self.allowed(max(error, floor / float(self.lines.size.min())))
        c, most = self.at.size, 1 << 30 if count is None else count - 1
        ahead = np.arange(1, good.shape[1] + 1)
        layers = [np.arange(c) == 0]
        seen = layers[0]
        while not seen[-1]:
            front = np.flatnonzero(layers[-1])
            reached = np.zeros(c, dtype=bool)
            reached[(front[:, None] + ahead)[good[front]]] = True
            reached &= ~seen
            if len(layers) > most or not reached.any():
                return None
            layers.append(reached)
            seen = seen | reached
        if count is not None and len(layers) < count:
            # Fewer do: look at whatever can be reached in so many stretches, seen before or not.
            layers = layers[:1]
            for _ in range(most):
                front = np.flatnonzero(layers[-1])
                reached = np.zeros(c, dtype=bool)
                reached[(front[:, None] + ahead)[good[front]]] = True
                layers.append(reached)
            if not layers[-1][-1]:
                return None
        path = [c - 1]
        for layer in layers[-2::-1]:
            before = np.flatnonzero(layer[: path[-1]])
            offset = path[-1] - before - 1
            near = offset < good.shape[1]
            before = before[near][good[before[near], offset[near]]]
            path.append(int(before[before.size // 2]))  # the middle one: stretches err alike
        return np.array(path[::-1], dtype=np.int64)


def farthest(lines: Lines, a: float, error: float, end: float) -> float:
    """Return the farthest input up to which one stretch from `a` errs by at most so much.

    In a gap between samples the slope of the chord goes one way, so the farthest input of a gap
    is where it leaves the cone.

    Parameters
    ----------
    lines : Lines
    a : float
    error : float
    end : float
        A point of the lines beyond which nothing is looked for.
    """
    x = lines.x
    first, last = int(x.searchsorted(a, side="right")), int(x.searchsorted(end))
    start = lines.read(np.array([a]))[0]
    best, width = float(x[first]), 64
    while first < last:
        part = slice(first, min(first + width, last) + 1)
        u = (x[part] - a)[:, None]
        slope = (lines.y[part] - start) / u
        reach = error * lines.size[part] / u
        low = np.maximum.accumulate(slope - reach, axis=0)
        high = np.minimum.accumulate(slope + reach, axis=0)
        # Gap n lies between samples n and n + 1 of the part; its cone has passed sample n.
        low, high, here, there = low[:-1], high[:-1], slope[:-1], slope[1:]
        h = np.diff(x[part])[:, None]
        own = np.diff(lines.y[part], axis=0) / h
        with np.errstate(divide="ignore", invalid="ignore"):
            # How far into a gap the chord's slope is that of the cone's edge beyond which it goes.
            up = u[:-1] * (here - high) / (high - own)
            down = u[:-1] * (here - low) / (low - own)
        out = np.where(there > high, up, np.where(there < low, down, h))
        into = np.where(here > high, up, np.where(here < low, down, 0.0))
        same_side = ((here > high) & (there > high)) | ((here < low) & (there < low))
        far = np.where(same_side, -1.0, np.clip(out, 0.0, h)).min(axis=1)
        near = np.clip(into, 0.0, h).max(axis=1)
        good = np.flatnonzero((far >= near) & (low <= high).all(axis=1))
        if good.size:
            gap = int(good[-1])
            whole = far[gap] == h[gap, 0]
            best = float(x[first + gap + 1] if whole else x[first + gap] + far[gap])
        if first + width >= last or not (low[-1] <= high[-1]).all():
            break
        width *= 4
    return best


def walked(lines: Lines, count: int | None, error: float, ends: FloatArray) -> FloatArray | None:
    """Return breakpoints, each as far as its stretch may reach, or None.

    The best there are where the lines bend one way; elsewhere perhaps not.

    Parameters
    ----------
    lines : Lines
    count : int, optional
        How many; as few as do by default.
    error : float
    ends : float array
        Points of the lines that are to be breakpoints, rising, the first and last among them.
    """
    knots = [float(ends[0])]
    for end in ends[1:].tolist():
        while knots[-1] < end:
            if len(knots) == count:
                return None
            knots.append(min(farthest(lines, knots[-1], error, end), end))
    while count is not None and len(knots) < count:
        # Fewer do: halve the widest stretch that may be halved.
        for n in np.argsort(-np.diff(knots), kind="stable").tolist():
            middle = (knots[n] + knots[n + 1]) / 2
            if lines.chord_errors(np.array([knots[n], middle, knots[n + 1]])) <= error:
                knots.insert(n + 1, middle)
                break
        else:
            return None
    return np.array(knots)


def least(
    tried: Callable[[float], FloatArray | None],
    lines: Lines,
    knots: FloatArray,
    close: float,
) -> FloatArray:
    """Return breakpoints with the least error that a search finds some for.

    Parameters
    ----------
    tried : callable
        From an error to breakpoints that err by no more, or None.
    lines : Lines
    knots : float array
        Breakpoints to begin with.
    close : float
        Share of the error to which the least one is found.
    """
    high, low = lines.chord_errors(knots), 0.0
    nothing = ROUNDING * max(float(np.abs(lines.y).max()), 1e-300)
    step = close * high  # often they are nearly the best already: feel the way down
    while high - low > close * high and high > nothing:
        middle = high - 2 * step if high - 2 * step > low else (low + high) / 2
        found = tried(middle)
        if found is None:
            low, step = middle, np.inf
        else:
            step *= 4
            knots, high = found, min(lines.chord_errors(found), middle)
    return knots


def best_of(
    lines: Lines, at: FloatArray, count: int, must: IntArray, start: FloatArray, close: float = 1e-6
) -> FloatArray:
    """Return the `count` candidates with the least largest error.

    Parameters
    ----------
    lines : Lines
    at : float array, shape (c,), rising
        Candidates; the first and last are ends.
    count : int
    must : int array
        Candidates that are among them.
    start : float array
        A choice to begin with, those of `must` among them.
    close : float
        Share of the error to which the least one is found.
    """
    stretches = Stretches(lines, at, lines.chord_errors(start), must)

    def tried(error: float) -> FloatArray | None:
        path = stretches.path(error, count)
        return None if path is None else at[path]

    return least(tried, lines, start, close)
