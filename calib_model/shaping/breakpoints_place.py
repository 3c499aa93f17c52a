"""Where breakpoints belong: numbers only, for one or several lines over one input.

A stretch between two breakpoints errs by the largest distance of the lines from its chords.  The
best N breakpoints minimise the largest of these errors (dynamic programming over candidates, then
moved freely until neighbouring stretches err alike); the fewest for a tolerance are a shortest
path.  Walking greedily is wrong where the lines are not convex, so it is not done.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..errors import EditRefused

MOST_CANDIDATES = 401
MOST_POINTS = 801
_STOPS = 50
SWEEPS = 25
HALVINGS = 20
NEAR = 0.01
"""How far a breakpoint is moved at a time, as a share of the range."""
GAIN = 1e-4
"""A share of the largest error below which another round does not pay."""
STILL = 1e-5
"""A share of the range by which it does not pay to move."""


@dataclass(frozen=True, eq=False)
class Lines:
    """Straight pieces over one input, densely given.

    Parameters
    ----------
    x : float array, shape (m,), rising strictly
    y : float array, shape (m, k)
    """

    x: FloatArray
    y: FloatArray

    def __post_init__(self) -> None:
        x = np.asarray(self.x, dtype=np.float64)
        y = np.asarray(self.y, dtype=np.float64)
        object.__setattr__(self, "x", x)
        object.__setattr__(self, "y", y.reshape(x.size, -1))
        if x.size < 2 or not (np.diff(x) > 0).all() or not np.isfinite(self.y).all():
            raise EditRefused(
                "A reference needs at least two points that rise strictly, and no empty values."
            )

    def read(self, at: FloatArray) -> FloatArray:
        """Values at some inputs inside the range, shape (n, k)."""
        at = np.asarray(at, dtype=np.float64)
        low = np.clip(np.searchsorted(self.x, at, side="right") - 1, 0, self.x.size - 2)
        t = ((at - self.x[low]) / (self.x[low + 1] - self.x[low]))[:, None]
        return np.asarray(
            np.where(t == 0, self.y[low], self.y[low] + t * (self.y[low + 1] - self.y[low]))
        )

    def with_points(self, at: FloatArray) -> Lines:
        """The same lines with more points in them."""
        x = np.union1d(self.x, at)
        return Lines(x, self.read(x))


@dataclass(frozen=True)
class PlacementError:
    """How far straight pieces between breakpoints are from the reference.

    Parameters
    ----------
    largest : float
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
    apart = np.abs(read - dense.y)
    row, column = np.unravel_index(int(apart.argmax()), apart.shape)
    h = np.diff(dense.x)[:, None]
    a, b = (read - dense.y)[:-1], (read - dense.y)[1:]
    mean = float((h * (a * a + a * b + b * b) / 3).sum() / (h.sum() * values.shape[1]))
    return PlacementError(
        float(apart[row, column]), float(dense.x[row]), int(column), float(np.sqrt(max(mean, 0.0)))
    )


def segment_errors(lines: Lines, candidates: IntArray) -> FloatArray:
    """Return the chord error between every two candidates.

    Parameters
    ----------
    lines : Lines, of m points
    candidates : int array, shape (c,), rising
        Places in `lines.x`.

    Returns
    -------
    float array, shape (c, c)
        Above the diagonal the largest distance from the chord; infinite elsewhere.
    """
    x, y = lines.x, lines.y
    c = candidates.size
    errors = np.full((c, c), np.inf)
    for i, start in enumerate(candidates[:-1].tolist()):
        stops = candidates[i + 1 :] - start
        u = x[start:] - x[start]
        worst = np.zeros(stops.size)
        # A block of stops at a time: behind the last of them nothing counts.
        for first in range(0, stops.size, _STOPS):
            block = stops[first : first + _STOPS]
            end = int(block[-1])
            behind = np.arange(end)[None, :] > block[:, None]
            for line in range(y.shape[1]):
                rise = y[start : start + end + 1, line] - y[start, line]
                slope = rise[block] / u[block]
                apart = rise[None, :end] - slope[:, None] * u[None, :end]
                np.abs(apart, out=apart)
                apart[behind] = 0.0
                here = worst[first : first + _STOPS]
                np.maximum(here, apart.max(axis=1), out=here)
        errors[i, i + 1 :] = worst
    return errors


def _with_kept(errors: FloatArray, kept: IntArray) -> FloatArray:
    """Forbid stretches that pass over a candidate which must be a breakpoint."""
    errors = errors.copy()
    for place in kept.tolist():
        errors[:place, place + 1 :] = np.inf
    return errors


def best_of(errors: FloatArray, x: FloatArray, count: int, kept: IntArray) -> IntArray:
    """Return the `count` candidates with the least largest error; first and last included.

    Among equals the more evenly spread ones win.
    """
    c = x.size
    if count >= c:
        return np.arange(c)
    errors = _with_kept(errors, kept)
    finite = errors[np.isfinite(errors)]
    size = max(float(finite.max(initial=0.0)), 1e-300)
    wide = ((x[None, :] - x[:, None]) / (x[-1] - x[0])) ** 2
    errors = errors + 1e-9 * size * wide
    best = errors[0].copy()
    came = [np.zeros(c, dtype=np.int64)]
    for _ in range(count - 2):
        through = np.maximum(best[:, None], errors)
        came.append(through.argmin(axis=0))
        best = through.min(axis=0)
    return _path(came, c - 1)


def fewest_of(errors: FloatArray, tolerance: float, kept: IntArray) -> IntArray:
    """Return the fewest candidates whose stretches all err by at most a tolerance."""
    allowed = _with_kept(errors, kept) <= tolerance
    c = allowed.shape[0]
    came = np.full(c, -1, dtype=np.int64)
    front = np.zeros(c, dtype=bool)
    front[0] = True
    seen = front.copy()
    while not seen[-1]:
        reached = allowed[front].any(axis=0) & ~seen
        if not reached.any():
            raise EditRefused(
                "No breakpoints among the candidates keep to the tolerance.",
                "Allow a larger error, or a finer raster.",
            )
        fronts = np.flatnonzero(front)
        came[reached] = fronts[allowed[front][:, reached].argmax(axis=0)]
        seen |= reached
        front = reached
    path = [c - 1]
    while path[-1] != 0:
        path.append(int(came[path[-1]]))
    return np.array(path[::-1], dtype=np.int64)


def _path(came: Sequence[IntArray], last: int) -> IntArray:
    path = [last]
    for step in reversed(came):
        path.append(int(step[path[-1]]))
    # A path may stand still at the first candidate where fewer breakpoints do as well.
    return np.unique(np.array(path, dtype=np.int64))


def chord_error(lines: Lines, a: float, b: float) -> float:
    """Largest distance of the lines from their chords between two inputs."""
    x, y = lines.x, lines.y
    i, j = int(x.searchsorted(a, side="right")), int(x.searchsorted(b, side="left"))
    if j <= i:
        return 0.0
    first = y[i - 1] + (a - x[i - 1]) / (x[i] - x[i - 1]) * (y[i] - y[i - 1])
    last = y[j - 1] + (b - x[j - 1]) / (x[j] - x[j - 1]) * (y[j] - y[j - 1])
    t = (x[i:j] - a) / (b - a)
    return float(np.abs(y[i:j] - first - t[:, None] * (last - first)).max())


def refined(lines: Lines, knots: FloatArray, kept: Sequence[float] = ()) -> FloatArray:
    """Move the inner breakpoints freely until neighbouring stretches err alike.

    A move is taken only where it lowers the larger error of its two stretches.
    """
    t = np.array(knots, dtype=np.float64)
    fixed = {0, t.size - 1} | {int(np.abs(t - k).argmin()) for k in kept}
    span = float(t[-1] - t[0])
    largest = np.inf
    for _ in range(SWEEPS):
        moved = worst = 0.0
        for k in range(1, t.size - 1):
            if k in fixed:
                continue
            left, right = float(t[k - 1]), float(t[k + 1])
            before = max(chord_error(lines, left, t[k]), chord_error(lines, t[k], right))
            worst = max(worst, before)
            if before == 0.0:
                continue
            here = float(t[k])
            low, high = max(left, here - NEAR * span), min(right, here + NEAR * span)
            for _ in range(HALVINGS):
                middle = (low + high) / 2
                if chord_error(lines, left, middle) < chord_error(lines, middle, right):
                    low = middle
                else:
                    high = middle
                if high - low < 1e-8 * span:
                    break
            new = (low + high) / 2
            after = max(chord_error(lines, left, new), chord_error(lines, new, right))
            if after < before * (1 - 1e-12):
                moved = max(moved, abs(new - float(t[k])))
                t[k] = new
        if moved < STILL * span or worst > largest * (1 - GAIN):
            break
        largest = worst
    return t


def snapped(
    lines: Lines, knots: FloatArray, raster: FloatArray, kept: Sequence[float]
) -> FloatArray:
    """Move breakpoints to a raster, then from place to place while the error falls.

    Parameters
    ----------
    lines : Lines
    knots : float array
    raster : float array
        Allowed inputs, rising, the ends among them.
    kept : sequence of float
        Breakpoints that stay.
    """
    places = np.abs(raster[None, :] - knots[:, None]).argmin(axis=1)
    fixed = {int(np.abs(raster - k).argmin()) for k in (*kept, float(knots[0]), float(knots[-1]))}
    chosen = sorted(set(places.tolist()) | fixed)

    def error(a: int, b: int) -> float:
        return chord_error(lines, float(raster[a]), float(raster[b]))

    for _ in range(SWEEPS):
        changed = False
        for n in range(1, len(chosen) - 1):
            here = chosen[n]
            if here in fixed:
                continue
            low, high = chosen[n - 1], chosen[n + 1]
            options = [p for p in range(here - 2, here + 3) if low < p < high]
            best = min(options, key=lambda p: (max(error(low, p), error(p, high)), abs(p - here)))
            changed |= best != here
            chosen[n] = best
        if not changed:
            break
    return np.asarray(raster[np.array(chosen)])


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
    one = csr_array(np.ones((dense.x.size, 1)))
    matrix = csr_array(vstack([hstack([hats, -one]), hstack([-hats, -one])]))
    cost = np.zeros(knots.size + 1)
    cost[-1] = 1.0
    result = np.empty((knots.size, lines.y.shape[1]))
    for line in range(lines.y.shape[1]):
        y = dense.y[:, line]
        middle, size = float(y.mean()), max(float(np.ptp(y)), 1e-300)
        scaled = (y - middle) / size
        found = linprog(
            cost, matrix, np.concatenate([scaled, -scaled]), bounds=(None, None), method="highs"
        )
        if found.x is None:
            result[:, line] = lines.read(knots)[:, line]
        else:
            result[:, line] = middle + size * found.x[:-1]
    return result


def candidates_of(
    lines: Lines, raster: FloatArray | None, kept: Sequence[float]
) -> tuple[Lines, IntArray, IntArray]:
    """Return the lines with candidates among their points, the candidates, and the kept ones.

    Parameters
    ----------
    lines : Lines
    raster : float array, optional
        The only allowed inputs, if they are few enough to try all.
    kept : sequence of float
        Inputs that must be breakpoints.
    """
    low, high = float(lines.x[0]), float(lines.x[-1])
    must = np.array([k for k in kept if low <= k <= high], dtype=np.float64)
    most = MOST_CANDIDATES if lines.y.shape[1] <= 4 else MOST_CANDIDATES // 2
    if raster is not None and raster.size <= most:
        wanted = np.union1d(raster[(raster >= low) & (raster <= high)], must)
    elif lines.x.size >= most:
        pick = np.unique(np.linspace(0, lines.x.size - 1, most).round().astype(np.int64))
        wanted = np.union1d(lines.x[pick], must)
    else:
        # Points between the given ones, so that a breakpoint need not stand on one.
        parts = max(1, (most - 1) // (lines.x.size - 1))
        steps = np.arange(parts) / parts
        between = lines.x[:-1, None] + np.diff(lines.x)[:, None] * steps
        wanted = np.union1d(np.union1d(between.reshape(-1), lines.x), must)
    wanted = np.union1d(wanted, [low, high])
    dense = lines.with_points(wanted)
    if dense.x.size > MOST_POINTS:
        # The search looks at some of the points; the outcome is measured at all of them.
        pick = np.unique(np.linspace(0, dense.x.size - 1, MOST_POINTS).round().astype(np.int64))
        pick = np.union1d(pick, np.searchsorted(dense.x, wanted))
        dense = Lines(dense.x[pick], dense.y[pick])
    places = np.searchsorted(dense.x, wanted)
    return dense, places, np.searchsorted(wanted, must)
