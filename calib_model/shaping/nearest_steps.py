"""The nearest whole numbers of steps under differences, exactly.

The sum of squares over whole numbers under ``x[i] - x[j] <= c`` is a discrete convex function (L-
natural convex, Murota): where neither raising nor lowering any group of cells by one step helps,
nothing does.  The best group is a minimum cut.
"""

from __future__ import annotations

import numpy as np

from ..core.arrays import BoolArray, FloatArray, IntArray
from .raster import Differences

MOST_CELLS = 20_000
_MANY = 1 << 30


def nearest_steps(
    start: FloatArray,
    target: FloatArray,
    weights: FloatArray,
    low: FloatArray,
    high: FloatArray,
    differences: Differences,
) -> FloatArray:
    """Return the whole numbers nearest to `target`, by weighted squares, under differences.

    Parameters
    ----------
    start : float array, shape (k,)
        Whole numbers that obey the limits and differences.
    target : float array, shape (k,)
    weights : float array, shape (k,), not negative
    low, high : float arrays, shape (k,)
    differences : Differences
    """
    x = start.copy()
    for _ in range(2000):
        moved = False
        for up in (True, False):
            step = 1.0 if up else -1.0
            gain = weights * (1.0 + 2.0 * step * (x - target))  # of the sum, if the cell moves
            can = x < high if up else x > low
            if not (gain < 0).any():
                continue
            tight = x[differences.high] - x[differences.low] >= differences.most
            first, second = differences.high[tight], differences.low[tight]
            # Raising the higher cell of a tight pair takes the lower one along; lowering, the
            # other way round.
            group = _best_group(gain, can, *((first, second) if up else (second, first)))
            if group.any() and float(gain[group].sum()) < -1e-12 * float(np.abs(gain).max()):
                x[group] += step
                moved = True
        if not moved:
            return x
    return x


def _best_group(gain: FloatArray, can: BoolArray, takes: IntArray, along: IntArray) -> BoolArray:
    """Return the group with the least sum of gains that holds what each member takes along."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import breadth_first_order, maximum_flow

    k = gain.size
    total = float(np.abs(gain).sum())
    if total == 0:
        return np.zeros(k, dtype=bool)
    share = np.rint(gain * (1e9 / total)).astype(np.int64)
    source, sink = k, k + 1
    good, bad = np.flatnonzero(share < 0), np.flatnonzero(share > 0)
    stuck = np.flatnonzero(~can)
    tail = np.concatenate([np.full(good.size, source), bad, takes, stuck])
    head = np.concatenate([good, np.full(bad.size, sink), along, np.full(stuck.size, sink)])
    room = np.concatenate(
        [-share[good], share[bad], np.full(takes.size, _MANY), np.full(stuck.size, _MANY)]
    )
    graph = csr_array((room, (tail, head)), shape=(k + 2, k + 2))
    graph.sum_duplicates()
    graph.data = np.minimum(graph.data, _MANY)
    graph = csr_array(graph.astype(np.int32))
    flow = maximum_flow(graph, source, sink).flow
    rest = csr_array(graph - flow)
    rest.data[rest.data < 0] = 0
    rest.eliminate_zeros()
    reached = breadth_first_order(rest, source, return_predecessors=False)
    group = np.zeros(k + 2, dtype=bool)
    group[reached] = True
    return np.asarray(group[:k])
