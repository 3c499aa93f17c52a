"""Residuals of a fit: their size, the outliers among them, and a thinned picture of the rest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..core.axis import Axis
from ..lookup import compiled
from .assembly import TUNING, locate_cells, read, two_axes, worth_compiling
from .fit_options import FitOutlier
from .samples import Samples

EXACT = 1_000_000
"""Up to how many samples the median is taken exactly."""
FEWEST_IN_CELL = 10
"""Samples of a cell from which on most of them say something."""
PICTURED = 4_000
MOST_LISTED = 200
NORMAL = 0.6744897501960817
"""Median of the size of a standard normal deviate."""
_SHIFT = 46
_BIG_CHUNK = 1 << 18


@dataclass(frozen=True, eq=False)
class Residuals:
    """Residuals: value less fit, in the table's unit.

    Parameters
    ----------
    count : int
    rms, mean, largest : float
    scale : float
        Standard deviation of the bulk, from the median size.
    correlation : float
        Of each residual with the next in the source; NaN where they have no order.
    index : int array, shape (m,)
        Samples of the picture: evenly spread ones, at most `PICTURED`.
    shown : float array, shape (m,)
        Their residuals.
    outliers : tuple of FitOutlier
        The farthest, at most `MOST_LISTED`, farthest first.
    outlier_count : int
    weight : float
        Sum of the samples' weights; their count where none has a weight.
    """

    count: int
    rms: float
    mean: float
    largest: float
    scale: float
    correlation: float
    index: IntArray
    shown: FloatArray
    outliers: tuple[FitOutlier, ...]
    outlier_count: int
    weight: float


def chunks_of_residuals(
    axes: Sequence[Axis], samples: Samples, node_values: FloatArray, size: int = _BIG_CHUNK
) -> Iterator[tuple[IntArray, FloatArray]]:
    """Yield (numbers of the samples, residuals) in the order of the source."""
    pair = two_axes(axes)
    shape = (len(pair[0]), len(pair[1]))
    fast = _compiled_reader(axes, node_values, len(samples))
    for index, points, values in samples.chunks(size):
        if fast is not None:
            yield index, values - fast(points)
        else:
            yield index, values - read(shape, node_values, *locate_cells(pair, points))


def _compiled_reader(axes: Sequence[Axis], node_values: FloatArray, count: int):  # type: ignore[no-untyped-def]

    if not worth_compiling(count) or not compiled.load():
        return None
    grid = node_values.reshape([len(a) for a in axes])
    return lambda points: compiled.lookup_values(axes, grid, points)


@dataclass(frozen=True)
class ResidualSpread:
    """Size of residuals, for a robust loss.

    Parameters
    ----------
    scale : float
        Standard deviation of the bulk: median size over 0.6745.
    mean_square : float
    """

    scale: float
    mean_square: float


def spread_of(axes: Sequence[Axis], samples: Samples, node_values: FloatArray) -> ResidualSpread:
    """Return the size of the residuals; the median is exact up to a million samples."""
    n, total = len(samples), samples.total
    square = 0.0
    sizes = np.empty(n) if n <= EXACT else None
    counts: FloatArray = np.zeros(0) if sizes is not None else np.zeros(2048 << (52 - _SHIFT))
    weights = np.empty(n) if sizes is not None and samples.weight.size else None
    at = 0
    for index, rest in chunks_of_residuals(axes, samples, node_values):
        w = samples.weights_at(index) if samples.weight.size else None
        square += float(rest @ rest) if w is None else float(w @ rest**2)
        size = np.abs(rest)
        if weights is not None:
            weights[at : at + size.size] = w
        if sizes is not None:
            sizes[at : at + size.size] = size
        else:
            # Bits of a positive float rise with its size: their upper part is a logarithmic bin.
            bins = size.view(np.int64) >> _SHIFT
            first = int(bins.min())
            found = np.bincount(bins - first, w)
            counts[first : first + found.size] += found
        at += size.size
    if sizes is None:
        median = _median_of(counts, total)
    else:
        median = float(np.median(sizes)) if weights is None else weighted_median(sizes, weights)
    return ResidualSpread(median / NORMAL, square / max(total, 1e-300))


def weighted_median(values: FloatArray, weights: FloatArray) -> float:
    """Return the median of values each of which counts as so many.

    Whole weights give the median of the repeated values: between two of them, where half of all
    lie on either side, their mean.

    Parameters
    ----------
    values, weights : float arrays, shape (n,)
        At least one weight is positive, none negative.
    """
    order = np.argsort(values, kind="stable")
    upto = np.cumsum(weights[order])
    half, hair = upto[-1] / 2, 1e-12 * upto[-1]  # sums of tenths are not exact
    low, high = np.searchsorted(upto, [half - hair, half + hair])
    return float(values[order[low]] + values[order[high]]) / 2


def _median_of(counts: FloatArray, n: float) -> float:
    upto = np.cumsum(counts)
    place = int(np.searchsorted(upto, n / 2))
    low, high = (np.array([place, place + 1], dtype=np.int64) << _SHIFT).view(np.float64)
    before = float(upto[place] - counts[place])
    return float(low + (high - low) * (n / 2 - before) / max(counts[place], 1.0))


def lack_of_fit(axes: Sequence[Axis], samples: Samples, node_values: FloatArray) -> float:
    """Return the size of residuals where the table cannot follow the samples; 0 if it can.

    Where most samples of a cell lie off, the table is too coarse for them: they are no outliers,
    and a loss that took them for some would fit the rest of the table exactly and leave them be.

    Parameters
    ----------
    axes : sequence of Axis
    samples : Samples
    node_values : float array, shape (nodes,)
    """
    pair = two_axes(axes)
    shape = (len(pair[0]), len(pair[1]))
    cells, sizes, weights = [], [], []
    for index, points, values in samples.chunks(_BIG_CHUNK):
        place = locate_cells(pair, points)
        cells.append(place[0])
        sizes.append(np.abs(values - read(shape, node_values, *place)))
        weights.append(samples.weights_at(index))
    cell, size = _joined(cells, int), _joined(sizes, float)
    order = np.lexsort((size, cell))
    cell, size = cell[order], size[order]
    starts = np.flatnonzero(np.diff(cell, prepend=-1))
    upto = np.cumsum(_joined(weights, float)[order])
    ends = upto[np.append(starts[1:], cell.size) - 1]
    counts = np.diff(ends, prepend=0.0)
    half = ends - counts / 2 - 1e-12 * upto[-1]  # sums of tenths are not exact
    middle = size[np.maximum(np.searchsorted(upto, half), starts)]
    return float(middle[counts >= FEWEST_IN_CELL].max(initial=0.0)) / NORMAL


def influence(
    axes: Sequence[Axis], samples: Samples, node_values: FloatArray, loss: str, scale: float
) -> tuple[float, float]:
    """Return the means of psi^2 and of psi' of a loss over the scaled residuals.

    They give the error of a robust estimate (Huber 1981, from memory): its variance is that of
    least squares times ``mean(psi^2) scale^2 / mean(psi')^2``.
    """
    tuning = TUNING[loss]
    square = slope = 0.0
    for index, rest in chunks_of_residuals(axes, samples, node_values):
        t = rest / scale
        w = samples.weights_at(index)
        if loss == "huber":
            square += float(w @ np.clip(t, -tuning, tuning) ** 2)
            slope += float(w @ (np.abs(t) <= tuning))
        elif loss == "biweight":
            inside = np.abs(t) < tuning
            v = np.where(inside, t / tuning, 0.0) ** 2
            square += float(w[inside] @ (t * (1 - v) ** 2)[inside] ** 2)
            slope += float(w[inside] @ ((1 - v) * (1 - 5 * v))[inside])
        else:
            square += float(w @ t**2)
            slope += float(w.sum())
    n = max(samples.total, 1e-300)
    return square / n, slope / n


def residuals(
    axes: Sequence[Axis],
    samples: Samples,
    node_values: FloatArray,
    limit: float,
    *,
    ordered: bool = True,
    floor: float = 0.0,
) -> Residuals:
    """Return the residuals of a fit, with outliers beyond `limit` standard deviations.

    Parameters
    ----------
    axes : sequence of Axis
    samples : Samples
    node_values : float array, shape (nodes,)
    limit : float
    ordered : bool
        Whether the order of the samples means something (a recording, a sweep).
    floor : float
        Least standard deviation to go by, such as a storage step's share.
    """
    n, weight = len(samples), samples.total
    spread = spread_of(axes, samples, node_values)
    scale = max(spread.scale, floor)
    step = max(1, -(-samples.rows // PICTURED))
    shown_index: list[IntArray] = []
    shown: list[FloatArray] = []
    far_index: list[IntArray] = []
    far: list[FloatArray] = []
    total = along = square = largest = 0.0
    previous: float | None = None
    count_far = 0
    for index, rest in chunks_of_residuals(axes, samples, node_values):
        w = samples.weights_at(index)
        total += float(w @ rest)
        largest = max(largest, float(np.abs(rest).max(initial=0.0)))
        tame = np.clip(rest, -3 * scale, 3 * scale)  # one outlier is no correlation
        tame *= np.sqrt(w)
        along += float(tame[1:] @ tame[:-1])
        square += float(tame @ tame)
        if previous is not None and tame.size:
            along += previous * float(tame[0])
        previous = float(tame[-1]) if tame.size else previous
        here = index % step == 0
        shown_index.append(index[here])
        shown.append(rest[here])
        beyond = np.flatnonzero(np.abs(rest) > limit * scale) if scale > 0 else np.empty(0, int)
        count_far += beyond.size
        if beyond.size > MOST_LISTED:
            beyond = beyond[np.argsort(-np.abs(rest[beyond]), kind="stable")[:MOST_LISTED]]
        far_index.append(index[beyond])
        far.append(rest[beyond])
    all_far, all_rest = _joined(far_index, int), _joined(far, float)
    order = np.argsort(-np.abs(all_rest), kind="stable")[:MOST_LISTED]
    outliers = tuple(
        FitOutlier(
            samples.line_of(int(i)),
            tuple(float(p[i]) for p in samples.points),
            float(samples.values[i]),
            float(samples.values[i] - r),
            samples.specimen_of(int(i)),
            float(samples.weight[i]) if samples.weight.size else 1.0,
        )
        for i, r in zip(all_far[order], all_rest[order], strict=True)
    )
    return Residuals(
        n,
        float(np.sqrt(spread.mean_square)),
        total / max(weight, 1e-300),
        largest,
        spread.scale,
        along / square if ordered and square > 0 else float("nan"),
        _joined(shown_index, int),
        _joined(shown, float),
        outliers,
        count_far,
        weight,
    )


def _joined(parts: list, kind: type) -> np.ndarray:  # type: ignore[type-arg]
    return np.concatenate(parts) if parts else np.empty(0, dtype=kind)


def joined_residuals(parts: Sequence[Residuals]) -> Residuals:
    """Put the residuals of several units under test together."""
    if len(parts) == 1:
        return parts[0]
    weights = np.array([p.weight for p in parts])
    share = weights / max(float(weights.sum()), 1e-300)

    def mean(values: Sequence[float]) -> float:
        return float(share @ np.array(values))

    listed = sorted((o for p in parts for o in p.outliers), key=lambda o: -abs(o.residual))
    return Residuals(
        sum(p.count for p in parts),
        float(np.sqrt(mean([p.rms**2 for p in parts]))),
        mean([p.mean for p in parts]),
        max(p.largest for p in parts),
        float(np.sqrt(mean([p.scale**2 for p in parts]))),
        mean([p.correlation for p in parts]),
        np.concatenate([p.index for p in parts]),
        np.concatenate([p.shown for p in parts]),
        tuple(listed[:MOST_LISTED]),
        sum(p.outlier_count for p in parts),
        float(weights.sum()),
    )
