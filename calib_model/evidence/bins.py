"""Which cell a point belongs to: the bin of the nearest breakpoint.

A linear axis is cut at the midpoints between its breakpoints, a step axis at the breakpoints
themselves, because there the lower one holds until the next.  A point on a cut belongs to the upper
bin, as `numpy.histogramdd` counts it; the first and last bin reach to infinity.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..core.arrays import BoolArray, FloatArray
from ..core.axis import Axis, Interpolation

Bins = npt.NDArray[np.int32]


def edges(axis: Axis) -> FloatArray:
    """Return where an axis is cut, shape (n + 1,), from minus to plus infinity.

    Parameters
    ----------
    axis : Axis
        In order.
    """
    points = axis.values
    inner = points[1:] if axis.interpolation is Interpolation.STEP else _midpoints(points)
    return np.concatenate([[-np.inf], inner, [np.inf]])


def _midpoints(points: FloatArray) -> FloatArray:
    return np.asarray(points[:-1] + 0.5 * np.diff(points))


def bins_of(axis: Axis, x: FloatArray) -> Bins:
    """Return the bin of every point, shape (m,); -1 for a point that is no number."""
    found = np.searchsorted(edges(axis)[1:-1], x, side="right")
    return np.where(np.isnan(x), -1, found).astype(np.int32)


def beyond(axis: Axis, x: FloatArray) -> BoolArray:
    """Tell which points lie beyond the first or last breakpoint, shape (m,)."""
    return np.asarray((x < axis.values[0]) | (x > axis.values[-1]))


def flat_bins(axes: Sequence[Axis], bins: Sequence[Bins]) -> Bins:
    """Return flat cell numbers (C order), shape (m,); -1 where any axis has no bin.

    Parameters
    ----------
    axes : sequence of Axis
        At least one.
    bins : sequence of int array, shape (m,)
        As `bins_of` gives them, one per axis.
    """
    flat = bins[0].astype(np.int32)
    nowhere = bins[0] < 0
    for axis, one in zip(axes[1:], bins[1:], strict=True):
        flat = flat * np.int32(len(axis)) + one
        nowhere = nowhere | (one < 0)
    flat[nowhere] = -1
    return flat
