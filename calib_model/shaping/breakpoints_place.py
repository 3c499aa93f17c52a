"""Where breakpoints belong: numbers only, for one or several lines over one input.

A stretch between two breakpoints errs by the largest distance of the lines from its chords.  The
best N breakpoints minimise the largest of these errors: first among candidates that lie the closer
the more the lines bend, then among ever closer ones around those found.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..core.arrays import FloatArray, IntArray
from .breakpoints_lines import Lines
from .breakpoints_search import Stretches, best_of, least, walked

MOST_CANDIDATES = 801
MOST_LINES = 1_600
"""Candidates times lines that are tried at once."""
MOST_POINTS = 1_200
"""Samples looked at in the search; those at which its outcome errs more are added to them."""
ROUNDS = 60
SOUGHT = 6
"""How often samples are added."""
CLOSE = 2e-6
"""A share of the largest error below which another round does not pay."""
AMONG = 3e-5
"""A share to which the least error among the first candidates is found."""
BESIDE = 6
"""Steps of a fine raster to either side of the best breakpoint off it."""
AROUND = np.arange(-8, 9) / 4.0
"""Candidates around a breakpoint, in steps of those before."""


def best(
    lines: Lines, count: int, raster: FloatArray | None = None, kept: Sequence[float] = ()
) -> FloatArray:
    """Return the `count` breakpoints with the least largest error, the ends among them.

    Parameters
    ----------
    lines : Lines
    count : int
    raster : float array, optional
        The only allowed inputs, rising, the ends of the lines among them.
    kept : sequence of float
        Inputs that must be breakpoints.
    """
    some = _fewer(lines)
    for _ in range(SOUGHT):
        knots = _best(some, count, raster, kept)
        sizes, places = lines.chord_sizes(knots)
        late = sizes > some.chord_errors(knots) * (1 + 1e-5)
        if not late.any():
            break
        chosen = np.union1d(np.searchsorted(lines.x, some.x), places[late])
        some = lines.at_points(chosen)
    return knots


def fewest(
    lines: Lines,
    tolerance: float,
    raster: FloatArray | None = None,
    kept: Sequence[float] = (),
) -> FloatArray | None:
    """Return the fewest breakpoints found whose stretches err by at most a tolerance, or None.

    Parameters
    ----------
    lines : Lines
    tolerance : float
    raster, kept
        See `best`.
    """
    some = _fewer(lines)
    found = None
    for _ in range(SOUGHT * 4):
        at, must = _candidates(some, raster, kept)
        path = Stretches(some, at, tolerance, must).path(tolerance)
        if path is None:
            break
        sizes, places = lines.chord_sizes(at[path])
        late = sizes > tolerance * (1 + 1e-12)
        if not late.any():
            found = at[path]
            break
        some = lines.at_points(np.union1d(np.searchsorted(lines.x, some.x), places[late]))
    if raster is None:
        ends = np.union1d(lines.x[[0, -1]], kept)
        walk = walked(lines.with_points(ends), None, tolerance * (1 + 1e-10), ends)
        if walk is not None and (found is None or walk.size < found.size):
            return walk
    return found


def _best(lines: Lines, count: int, raster: FloatArray | None, kept: Sequence[float]) -> FloatArray:
    at, must = _candidates(lines, raster, kept)
    if count >= at.size:
        return at
    start = _spread(lines, at, count, must)
    if raster is not None and at.size == raster.size:
        return best_of(lines, at, count, must, start, CLOSE)
    ends = np.union1d(lines.x[[0, -1]], kept)
    inside = lines.with_points(ends) if len(kept) else lines

    def tried(error: float) -> FloatArray | None:
        return walked(inside, count, error, ends)

    walk = least(tried, lines, start, CLOSE)
    # Where the lines bend both ways, a stretch that ends earlier may serve the next ones better.
    knots = best_of(lines, at, count, must, walk, AMONG)
    knots = _closer(lines, knots, at, kept, count)
    if knots is not walk:
        knots = least(tried, lines, knots, CLOSE)
    return knots if raster is None else _on_raster(lines, knots, raster, kept, count)


def _closer(
    lines: Lines, knots: FloatArray, tried: FloatArray, kept: Sequence[float], count: int
) -> FloatArray:
    """Look around breakpoints, in ever smaller steps, until the error falls no more."""
    if knots.size < 3:
        return knots
    gaps = np.diff(tried)
    place = tried.searchsorted(knots[1:-1]).clip(1, gaps.size - 1)
    step = np.maximum(gaps[place - 1], gaps[place])
    error = lines.chord_errors(knots)
    for _ in range(ROUNDS):
        wanted = (knots[1:-1, None] + step[:, None] * AROUND).reshape(-1)
        wanted = np.clip(wanted, knots[0], knots[-1])
        at = np.unique(np.concatenate([wanted, knots, kept]))
        must = np.searchsorted(at, np.asarray(kept, dtype=np.float64))
        # Candidates so far apart tell the error no better than this.
        close = float(np.clip((step / np.diff(knots)[1:]).max() / 40, CLOSE, 1e-3))
        knots = best_of(lines, at, count, must, knots, close)
        new = lines.chord_errors(knots)
        gain = 1 - new / error if error > 0 else 0.0
        error = new
        if error == 0.0:
            break
        if gain < 2 * close:
            if close <= CLOSE:
                break
            step = step / 8
    return knots


def _on_raster(
    lines: Lines, knots: FloatArray, raster: FloatArray, kept: Sequence[float], count: int
) -> FloatArray:
    """The best breakpoints on a fine raster, looked for around the best anywhere."""
    place = np.abs(raster[None, :] - knots[:, None]).argmin(axis=1)
    near = (place[:, None] + np.arange(-BESIDE, BESIDE + 1)).clip(0, raster.size - 1)
    at = np.unique(np.concatenate([raster[near.reshape(-1)], lines.x[[0, -1]], kept]))
    must = np.searchsorted(at, np.asarray(kept, dtype=np.float64))
    return best_of(lines, at, count, must, _spread(lines, at, count, must), CLOSE)


def _spread(lines: Lines, at: FloatArray, count: int, must: IntArray) -> FloatArray:
    """Candidates that share the bending of the lines evenly, to begin with."""
    bend = np.interp(at, lines.x, bending(lines))
    free = count - 2 - must.size
    wanted = np.linspace(bend[0], bend[-1], free + 2)
    chosen = np.unique(np.concatenate([[0, at.size - 1], must, bend.searchsorted(wanted[1:-1])]))
    chosen = np.unique(np.minimum(chosen, at.size - 1))
    others = np.setdiff1d(np.arange(at.size), chosen)
    more = others[np.linspace(0, others.size - 1, count - chosen.size).round().astype(np.int64)]
    return np.asarray(at[np.union1d(chosen, more)])


def bending(lines: Lines) -> FloatArray:
    """Share of the lines' bending up to each point, shape (m,), rising from 0 to 1.

    Stretches err alike where they share the integral of the root of the second derivative; a part
    goes by the input and by the points, so that no part is without candidates.
    """
    x = lines.x
    bend = np.zeros(x.size)
    if x.size > 2:
        h = np.diff(x)
        slope = np.diff(lines.y, axis=0) / h[:, None]
        change = np.abs(np.diff(slope, axis=0)) / lines.size[1:-1]
        most = change.max(axis=0)
        change = change / np.where(most > 0, most, 1.0)
        mean = (h[1:] + h[:-1]) / 2
        bend[1:-1] = np.sqrt(change.max(axis=1) * mean)
    up = np.cumsum(bend)
    by_bend = (up - up[0]) / (up[-1] - up[0]) if up[-1] > up[0] else np.linspace(0, 1, x.size)
    by_x = (x - x[0]) / (x[-1] - x[0])
    return np.asarray(0.7 * by_bend + 0.15 * by_x + 0.15 * np.linspace(0, 1, x.size))


def _fewer(lines: Lines) -> Lines:
    """The lines at so many of their points as a search looks at."""
    if lines.x.size <= MOST_POINTS:
        return lines
    wanted = np.linspace(0, 1, MOST_POINTS)
    chosen = np.unique(bending(lines).searchsorted(wanted).clip(0, lines.x.size - 1))
    return lines.at_points(np.union1d(chosen, [0, lines.x.size - 1]))


def _candidates(
    lines: Lines, raster: FloatArray | None, kept: Sequence[float]
) -> tuple[FloatArray, IntArray]:
    """Inputs among which breakpoints are looked for first, and which of them are kept."""
    low, high = float(lines.x[0]), float(lines.x[-1])
    most = int(np.clip(MOST_LINES // lines.y.shape[1], 101, MOST_CANDIDATES))
    must = np.array([k for k in kept if low < k < high], dtype=np.float64)
    if raster is not None and raster.size <= most:
        wanted = raster[(raster >= low) & (raster <= high)]
    else:
        if lines.x.size <= most:
            # Points between the given ones, so that a breakpoint need not stand on one.
            parts = max(1, (most // 2) // (lines.x.size - 1))
            steps = np.arange(parts) / parts
            wanted = (lines.x[:-1, None] + np.diff(lines.x)[:, None] * steps).reshape(-1)
        else:
            wanted = np.interp(np.linspace(0, 1, most), bending(lines), lines.x)
        if raster is not None:
            wanted = raster[np.clip(raster.searchsorted(wanted), 0, raster.size - 1)]
    at = np.unique(np.concatenate([wanted, must, [low, high]]))
    return at, np.searchsorted(at, must)


def free_values(lines: Lines, knots: FloatArray) -> FloatArray:
    """Return node values with the least largest error, line by line, shape (n, k).

    A linear programme each: values need not lie on the lines, which halves the error of a
    convex one.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_array, hstack, vstack

    dense = lines.with_points(knots[(knots > lines.x[0]) & (knots < lines.x[-1])])
    low = np.clip(np.searchsorted(knots, dense.x, side="right") - 1, 0, knots.size - 2)
    t = (dense.x - knots[low]) / (knots[low + 1] - knots[low])
    rows = np.repeat(np.arange(dense.x.size), 2)
    hats = csr_array(
        (
            np.stack([1 - t, t], axis=1).reshape(-1),
            (rows, np.stack([low, low + 1], axis=1).reshape(-1)),
        ),
        shape=(dense.x.size, knots.size),
    )
    cost = np.zeros(knots.size + 1)
    cost[-1] = 1.0
    result = np.empty((knots.size, lines.y.shape[1]))
    for line in range(lines.y.shape[1]):
        y = dense.y[:, line]
        middle, size = float(y.mean()), max(float(np.ptp(y)), 1e-300)
        scaled = (y - middle) / size
        one = csr_array(dense.size[:, line : line + 1] / float(dense.size[:, line].max()))
        matrix = csr_array(vstack([hstack([hats, -one]), hstack([-hats, -one])]))
        found = linprog(
            cost, matrix, np.concatenate([scaled, -scaled]), bounds=(None, None), method="highs"
        )
        if found.x is None:
            result[:, line] = lines.read(knots)[:, line]
        else:
            result[:, line] = middle + size * found.x[:-1]
    return result
