"""The system a solver sees: single-cell rows become limits, cells that cannot move go.

What is exact stays exact: a locked or prescribed cell is not left to a solver's rounding, and
order can be restored in the last bit by `Reduced.tidy`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    from .problem import RuleSystem


@dataclass(frozen=True, eq=False)
class Reduced:
    """Rules over the cells that are free to move.

    Parameters
    ----------
    free : int array, shape (k,)
        Stacked cells that are free, rising.
    base : float array, shape (n,)
        Values of the cells that are not free (NaN: an empty cell that may not move); of free
        cells it says nothing.
    lower, upper : float arrays, shape (k,)
        Limits of the free cells.
    lower_row, upper_row : int arrays, shape (k,)
        The system's row that gives each limit, -1 for none.
    rows : int array, shape (r,)
        The system's row behind each of the rows that follow.
    matrix : scipy.sparse.csr_array, shape (r, k)
    bound, tolerance : float arrays, shape (r,)
    equal : bool array, shape (r,)
    clash : bool
        Whether limits, locks and prescribed values contradict each other outright.
    beyond : int array
        Rows that do not hold and have no cell that may move: nothing here can mend them.
    """

    free: IntArray
    base: FloatArray
    lower: FloatArray
    upper: FloatArray
    lower_row: IntArray
    upper_row: IntArray
    rows: IntArray
    matrix: Any
    bound: FloatArray
    tolerance: FloatArray
    equal: BoolArray
    clash: bool
    beyond: IntArray

    def full(self, free_values: FloatArray) -> FloatArray:
        """Return all stacked cells from the free ones."""
        result = self.base.copy()
        result[self.free] = free_values
        return result

    @cached_property
    def order(self) -> tuple[IntArray, IntArray]:
        """Pairs of free cells of which the first may not be above the second, exactly."""
        return order_pairs(self.matrix, self.bound, self.tolerance, self.equal)

    @cached_property
    def envelope(self) -> tuple[FloatArray, FloatArray]:
        """Limits of the free cells after order has carried them on, both in order themselves."""
        low, high = self.order
        return carried(self.lower, low, high, up=True), carried(self.upper, high, low, up=False)

    def loosened(self, share: float) -> Reduced:
        """Return the rules with a share of their tolerance given away beforehand.

        An equality with tolerance becomes two rows.
        """
        from scipy.sparse import vstack

        slack = share * self.tolerance
        pair = np.flatnonzero(self.equal & (self.tolerance > 0))
        equal = self.equal.copy()
        equal[pair] = False
        loose = np.where(self.equal & (self.tolerance == 0), 0.0, slack)
        return replace(
            self,
            rows=np.concatenate([self.rows, self.rows[pair]]),
            matrix=vstack([self.matrix, -self.matrix[pair]], format="csr"),
            bound=np.concatenate([self.bound + loose, -self.bound[pair] + slack[pair]]),
            tolerance=np.concatenate([self.tolerance - loose, (self.tolerance - slack)[pair]]),
            equal=np.concatenate([equal, np.zeros(pair.size, dtype=bool)]),
        )

    def tidy(self, free_values: FloatArray) -> FloatArray:
        """Put values that are right but for rounding in order, and within limits, exactly."""
        low, high = self.order
        lower, upper = self.envelope
        ordered = carried(free_values, low, high, up=True)
        return np.asarray(np.minimum(np.maximum(ordered, lower), upper))


def order_pairs(
    matrix: Any, bound: FloatArray, tolerance: FloatArray, equal: BoolArray
) -> tuple[IntArray, IntArray]:
    """Return the pairs of cells that rows put in order exactly: the lower ones, the higher ones."""
    pairs = np.flatnonzero((np.diff(matrix.indptr) == 2) & (bound == 0) & (tolerance == 0))
    start = matrix.indptr[pairs]
    a, b = matrix.data[start], matrix.data[start + 1]
    first, second = matrix.indices[start], matrix.indices[start + 1]
    plain = a == -b
    low = np.where(a > 0, first, second)[plain]
    high = np.where(a > 0, second, first)[plain]
    both = equal[pairs][plain]
    return (
        np.concatenate([low, high[both]]).astype(np.int64),
        np.concatenate([high, low[both]]).astype(np.int64),
    )


def carried(values: FloatArray, source: IntArray, target: IntArray, *, up: bool) -> FloatArray:
    """Carry values on from source to target cells: the largest (or least) along every path."""
    now = np.array(values)
    carry = np.maximum.at if up else np.minimum.at
    for _ in range(now.size):
        new = now.copy()
        carry(new, target, now[source])
        if np.array_equal(new, now):
            break
        now = new
    return now


def row_sums(matrix: Any, values: FloatArray) -> FloatArray:
    """Left-hand sides of rows."""
    return np.asarray(matrix @ values)


def reduce(system: RuleSystem) -> Reduced:
    """Take pinned cells out of a system and turn single-cell rows into limits."""
    n = system.size
    matrix, counts = system.matrix, np.diff(system.matrix.indptr)
    clash = False

    single = np.flatnonzero(counts == 1)
    cell = matrix.indices[matrix.indptr[single]].astype(np.int64)
    factor = matrix.data[matrix.indptr[single]]
    value = system.bound[single] / factor
    slack = system.tolerance[single] / np.abs(factor)

    free = system.allowed.copy()
    base = np.where(free, np.nan, system.values)

    # Prescribed values: the one with the least tolerance counts, the others must agree.
    prescribed = np.flatnonzero(system.equal[single] & free[cell])
    if prescribed.size:
        best = prescribed[np.argsort(-slack[prescribed], kind="stable")]
        base[cell[best]] = _snapped(system, cell[best], value[best], slack[best])
        off = np.abs(base[cell[prescribed]] - value[prescribed])
        clash |= bool((off > slack[prescribed] + _ulp(value[prescribed])).any())
        free[cell[prescribed]] = False

    lower, upper = np.full(n, -np.inf), np.full(n, np.inf)
    lower_row, upper_row = np.full(n, -1), np.full(n, -1)
    lower_slack, upper_slack = np.zeros(n), np.zeros(n)
    bounding = ~system.equal[single]

    def limit(rows: IntArray, cells: IntArray, values: FloatArray, slacks: FloatArray,
              above: BoolArray) -> None:  # fmt: skip
        for side, limits, owners, slack_of in (
            (above, upper, upper_row, upper_slack),
            (~above, lower, lower_row, lower_slack),
        ):
            sign = 1.0 if limits is upper else -1.0
            strongest = np.argsort(-sign * values[side], kind="stable")  # the strictest last
            c, v = cells[side][strongest], values[side][strongest]
            v = _snapped(system, c, v, slacks[side][strongest])
            tighter = sign * v < sign * limits[c]
            c = c[tighter]
            limits[c] = v[tighter]
            owners[c] = rows[side][strongest][tighter]
            slack_of[c] = slacks[side][strongest][tighter]

    limit(single[bounding], cell[bounding], value[bounding], slack[bounding], factor[bounding] > 0)

    many = np.flatnonzero(counts > 1)
    all_rows = _submatrix(matrix, many)
    while True:
        held = ~free
        with np.errstate(invalid="ignore"):
            over = np.where(held & system.allowed, np.maximum(
                base - upper - upper_slack, lower - lower_slack - base), -np.inf)  # fmt: skip
        clash |= bool((over > _ulp(base)).any())
        here = all_rows[:, np.flatnonzero(free)]
        with np.errstate(invalid="ignore"):
            rest = system.bound[many] - row_sums(all_rows, np.where(free, 0.0, base))
        left = np.diff(here.indptr)
        # Rows without a free cell: they hold, or nothing here can mend them.
        done = (left == 0) & np.isfinite(rest)
        wrong = np.where(system.equal[many], np.abs(rest), -rest) > system.tolerance[many]
        with np.errstate(invalid="ignore"):
            parts = row_sums(abs(all_rows), np.abs(np.where(free, 0.0, base)))
        wrong &= np.abs(rest) > 8 * np.finfo(float).eps * (np.abs(system.bound[many]) + parts)
        beyond = many[done & wrong]
        one = np.flatnonzero((left == 1) & np.isfinite(rest))
        position = here.indices[here.indptr[one]]
        cells = np.flatnonzero(free)[position]
        a = here.data[here.indptr[one]]
        v, s = rest[one] / a, system.tolerance[many[one]] / np.abs(a)
        eq = system.equal[many[one]]
        limit(many[one][~eq], cells[~eq], v[~eq], s[~eq], a[~eq] > 0)
        for above in (True, False):
            limit(many[one][eq], cells[eq], v[eq], s[eq], np.full(int(eq.sum()), above))
        gap = upper - lower
        allowance = upper_slack + lower_slack + _ulp(np.where(np.isfinite(upper), upper, 0.0))
        with np.errstate(invalid="ignore"):
            clash |= bool((free & (gap < -allowance)).any())
            pinned = free & (gap <= 0)
        if not pinned.any():
            break
        # The stricter of two limits that meet (an exact one before one with tolerance).
        exact_upper = upper_slack <= lower_slack
        base = np.where(pinned, np.where(exact_upper, upper, lower), base)
        free = free & ~pinned

    stays = (left >= 2) & np.isfinite(rest)
    chosen = np.flatnonzero(free)
    if beyond.size:
        # A broken row all of whose cells the user would let move is a contradiction of locks.
        whole = np.array([bool(system.allowed[system.cells_of(r)].all()) for r in beyond])
        clash |= bool(whole.any())
    return Reduced(
        chosen,
        base,
        lower[chosen],
        upper[chosen],
        lower_row[chosen],
        upper_row[chosen],
        many[stays],
        _submatrix(here, np.flatnonzero(stays)),
        rest[stays],
        system.tolerance[many][stays],
        system.equal[many][stays],
        clash,
        np.concatenate(
            [beyond, _single_beyond(system, single, cell, factor)],
        ).astype(np.int64),
    )


def _snapped(
    system: RuleSystem, cells: IntArray, values: FloatArray, slack: FloatArray
) -> FloatArray:
    """Values with the rounding of a sum taken out: stored or present ones, if within tolerance."""
    near = values.copy()
    for number, table in enumerate(system.tables):
        mine = system.owner[cells] == number
        if mine.any() and table.storage.type != "float64":
            near[mine] = table.storage.nearest(values[mine])
    with np.errstate(invalid="ignore"):
        result = np.where(np.abs(near - values) <= slack, near, values)
        now = system.values[cells]
        return np.where(np.abs(now - result) <= slack, now, result)


def _single_beyond(
    system: RuleSystem, single: IntArray, cell: IntArray, factor: FloatArray
) -> IntArray:
    """Single-cell rows that do not hold at cells that may not move."""
    with np.errstate(invalid="ignore"):
        over = factor * system.values[cell] - system.bound[single]
        over = np.where(system.equal[single], np.abs(over), over)
        bad = (over > system.tolerance[single]) & ~system.allowed[cell]
    return np.asarray(single[bad])


def _submatrix(matrix: Any, rows: IntArray) -> Any:
    part = matrix[rows, :]
    part.sort_indices()
    return part


def _ulp(values: FloatArray) -> FloatArray:
    """A few units in the last place, for sums that are exact but for rounding."""
    return np.asarray(8 * np.finfo(float).eps * np.abs(np.nan_to_num(values, posinf=0, neginf=0)))
