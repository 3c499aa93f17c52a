"""Rules on the storage raster: values as whole numbers of steps.

Rows that compare two cells of one raster are differences of whole numbers, so their bounds can be
taken down to whole numbers.  Rounding every cell half up then keeps all of them: a whole number
added before rounding is added after it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..core.arrays import BoolArray, FloatArray, IntArray
from .problem import RuleSystem
from .reduce import Reduced

SLACK = 1e-6
"""In steps: how far from a whole number still counts as one."""


@dataclass(frozen=True, eq=False)
class Raster:
    """Storage of the free cells.

    Parameters
    ----------
    whole : bool array, shape (k,)
        Which free cells are stored as integers.
    numerator, denominator, offset : float arrays, shape (k,)
        See `calib_model.core.storage.Storage`; 1, 1, 0 where not integer.
    least, most : float arrays, shape (k,)
        Raw range.
    """

    whole: BoolArray
    numerator: FloatArray
    denominator: FloatArray
    offset: FloatArray
    least: FloatArray
    most: FloatArray

    def raw(self, values: FloatArray) -> FloatArray:
        """Steps, not rounded."""
        return np.asarray((values * self.denominator - self.offset) / self.numerator)

    def physical(self, raw: FloatArray) -> FloatArray:
        """Values of steps, exactly as `Storage.physical` gives them."""
        return np.asarray((raw * self.numerator + self.offset) / self.denominator)

    def rounded(
        self, values: FloatArray, lower: FloatArray, upper: FloatArray, *, up: bool = False
    ) -> FloatArray:
        """Round to the nearest, within limits taken inward to the raster.

        Halves go to even, as in storage; all of them up where differences of whole steps are to
        be kept exactly.
        """
        raw = self.raw(values)
        steps = np.floor(raw + 0.5) if up else np.rint(raw)
        low, high = self.limits(lower, upper)
        steps = np.minimum(np.maximum(steps, low), high)
        return np.where(self.whole, self.physical(steps), values)

    def limits(self, lower: FloatArray, upper: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Limits in whole steps, inward."""
        low = np.maximum(np.ceil(self.raw(lower) - SLACK), self.least)
        high = np.minimum(np.floor(self.raw(upper) + SLACK), self.most)
        return low, high


def raster_of(system: RuleSystem) -> Raster:
    """Return the storage of the system's free cells."""
    columns = []
    for table in system.tables:
        s = table.storage
        low, high = s.raw_range if s.is_integer else (-np.inf, np.inf)
        columns.append((s.is_integer, s.numerator, s.denominator, s.offset, low, high))
    per_table = np.array(columns, dtype=np.float64)[system.owner[system.reduced.free]]
    per_table = per_table.reshape(-1, 6)
    whole, numerator, denominator, offset, least, most = per_table.T
    return Raster(whole != 0, numerator, denominator, offset, least, most)


@dataclass(frozen=True, eq=False)
class Differences:
    """Rows between two free cells of one raster: ``raw[high] - raw[low] <= most`` in steps."""

    high: IntArray
    low: IntArray
    most: FloatArray


def on_raster(reduced: Reduced, raster: Raster) -> tuple[Reduced, Differences, BoolArray]:
    """Take limits and difference rows down to whole steps.

    Returns
    -------
    Reduced
        The same rules, tightened; every stored solution of the old ones still fulfils them.
    Differences
    plain : bool array, shape (r,)
        Which rows are such differences; the others may be broken by rounding.
    """
    low, high = raster.limits(reduced.lower, reduced.upper)
    clash = reduced.clash or bool((low > high).any())
    lower = np.where(raster.whole, raster.physical(low), reduced.lower)
    upper = np.where(raster.whole, raster.physical(high), reduced.upper)
    matrix = reduced.matrix
    counts = np.diff(matrix.indptr)
    two = np.flatnonzero(counts == 2)
    start = matrix.indptr[two]
    a, b = matrix.data[start], matrix.data[start + 1]
    i, j = matrix.indices[start], matrix.indices[start + 1]
    alike = (
        (a == -b)
        & raster.whole[i]
        & raster.whole[j]
        & (raster.numerator[i] == raster.numerator[j])
        & (raster.denominator[i] == raster.denominator[j])
    )
    two, a, i, j = two[alike], a[alike], i[alike], j[alike]
    up, down = np.where(a > 0, i, j), np.where(a > 0, j, i)
    size = np.abs(a)
    numerator, denominator = raster.numerator[up], raster.denominator[up]
    shift = raster.offset[up] - raster.offset[down]
    allowance = reduced.tolerance[two] / size * denominator / numerator + SLACK
    steps = (reduced.bound[two] / size * denominator - shift) / numerator
    equal = reduced.equal[two]
    most = np.where(equal, np.rint(steps), np.floor(steps + allowance))
    clash |= bool((np.abs(steps - most) > allowance)[equal].any())
    bound = reduced.bound.copy()
    exact = size * (most * numerator + shift) / denominator
    bound[two] = np.where(np.abs(steps - most) <= allowance, reduced.bound[two], exact)
    plain = np.zeros(reduced.bound.size, dtype=bool)
    plain[two] = True
    tightened = replace(reduced, lower=lower, upper=upper, bound=bound, clash=clash)
    differences = Differences(
        np.concatenate([up, down[equal]]).astype(np.int64),
        np.concatenate([down, up[equal]]).astype(np.int64),
        np.concatenate([most, -most[equal]]),
    )
    return tightened, differences, plain
