# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The compiled loops of the lookup; the same operations in the same order as `reference`.

Points are taken in runs: first one axis after the other is searched for the whole run, then
the cells are blended.  A run's working arrays stay in the processor's first cache, and a
compiled call that passes arrays costs 15 ns: as much as a whole point.

Import this module late, through `calib_model.lookup.compiled`.
"""

from __future__ import annotations

import math

import numpy as np

from calib_model.lookup.jit import (
    float_rows,
    floats,
    jit,
    nothing,
    number,
    output,
    small_ints,
    whole,
)

STEP, BELOW, ABOVE = 1, 2, 4
RUN = 512

# Unsigned numbers spare the test for negative ones in every array access.
ZERO, ONE = np.uint64(0), np.uint64(1)


@jit()
def beyond(x, first, second, before_last, last_value, last, flags):
    """Return breakpoint and fraction of a point outside an axis, or of one that is no number."""
    if x != x:
        return last, math.nan
    if x >= last_value:
        if x > last_value and flags & ABOVE and last > 0:
            return last - 1, (x - before_last) / (last_value - before_last)
        return last, 0.0
    if flags & BELOW and last > 0:
        return 0, (x - first) / (second - first)
    return 0, 0.0


@jit()
def locate(x, begin, end, breakpoints, buckets, scale, flags, cell, fraction):
    """Find the points `begin` to `end` on an axis; see `reference.locate`.

    The axis is cut into equal buckets, each knowing the breakpoint it starts in; so random
    points cost one table read and hardly a mispredicted branch.  The loops make the answer
    exact whatever the rounding of the bucket number and however many breakpoints share a bucket.
    """
    last = breakpoints.size - 1
    first_value, last_value = breakpoints[0], breakpoints[last]
    for p in range(end - begin):
        v = x[begin + p]
        if v >= first_value and v < last_value:
            low = np.uint64(buckets[np.uint64((v - first_value) * scale)])
            while breakpoints[low] > v:  # first, for a bucket number rounded up to the last one
                low -= ONE
            while breakpoints[low + ONE] <= v:
                low += ONE
            below = breakpoints[low]
            cell[p] = low
            fraction[p] = 0.0 if flags & STEP else (v - below) / (breakpoints[low + ONE] - below)
        else:
            cell[p], fraction[p] = beyond(
                v,
                first_value,
                breakpoints[min(1, last)],
                breakpoints[max(last - 1, 0)],
                last_value,
                last,
                flags,
            )


@jit(floats, floats, small_ints, number, whole, floats, output, returns=nothing)
def read_curve(values, breakpoints, buckets, scale, flags, x, out):
    """Read a curve."""
    last = np.uint64(breakpoints.size - 1)
    cell, fraction = np.empty(RUN, dtype=np.uint64), np.empty(RUN)
    for begin in range(0, x.size, RUN):
        end = min(begin + RUN, x.size)
        locate(x, begin, end, breakpoints, buckets, scale, flags, cell, fraction)
        for p in range(end - begin):
            i, t = cell[p], fraction[p]
            low = values[i]
            if t != 0.0:
                low = low + t * (values[min(i + ONE, last)] - low)
            out[begin + p] = low


@jit(
    floats,
    floats,
    small_ints,
    number,
    whole,
    floats,
    small_ints,
    number,
    whole,
    floats,
    floats,
    output,
    returns=nothing,
)
def read_map(
    values, rows, r_buckets, r_scale, r_flags, cols, c_buckets, c_scale, c_flags, x, y, out
):
    """Read a map."""
    last_row, last_col = np.uint64(rows.size - 1), np.uint64(cols.size - 1)
    width = np.uint64(cols.size)
    row, down = np.empty(RUN, dtype=np.uint64), np.empty(RUN)
    col, across = np.empty(RUN, dtype=np.uint64), np.empty(RUN)
    for begin in range(0, x.size, RUN):
        end = min(begin + RUN, x.size)
        locate(x, begin, end, rows, r_buckets, r_scale, r_flags, row, down)
        locate(y, begin, end, cols, c_buckets, c_scale, c_flags, col, across)
        for p in range(end - begin):
            i, t = row[p], down[p]
            j, u = col[p], across[p]
            near = i * width + j
            beside = ONE if j < last_col else ZERO
            low = values[near]
            if u != 0.0:
                low = low + u * (values[near + beside] - low)
            if t != 0.0:
                far = near + width if i < last_row else near
                high = values[far]
                if u != 0.0:
                    high = high + u * (values[far + beside] - high)
                low = low + t * (high - low)
            out[begin + p] = low


@jit(
    floats,
    floats,
    small_ints,
    small_ints,
    small_ints,
    floats,
    small_ints,
    float_rows,
    output,
    returns=nothing,
)
def read_any(values, breakpoints, starts, buckets, bucket_starts, scales, flags, points, out):
    """Read a table of any number of axes; their breakpoints and buckets lie end to end."""
    axes = starts.size - 1
    corners = np.empty(1 << axes)
    cells = np.empty(1 << axes, dtype=np.int64)
    cell, fraction = np.empty((axes, RUN), dtype=np.uint64), np.empty((axes, RUN))
    for begin in range(0, out.size, RUN):
        end = min(begin + RUN, out.size)
        for a in range(axes):
            locate(
                points[a],
                begin,
                end,
                breakpoints[starts[a] : starts[a + 1]],
                buckets[bucket_starts[a] : bucket_starts[a + 1]],
                scales[a],
                flags[a],
                cell[a],
                fraction[a],
            )
        for p in range(end - begin):
            cells[0] = 0
            filled = 1
            for a in range(axes):
                count = starts[a + 1] - starts[a]
                i = np.int64(cell[a, p])
                beside = min(i + 1, count - 1)
                for c in range(filled - 1, -1, -1):
                    base = cells[c] * count
                    cells[2 * c + 1] = base + beside
                    cells[2 * c] = base + i
                filled *= 2
            for c in range(filled):
                corners[c] = values[cells[c]]
            for a in range(axes - 1, -1, -1):
                filled //= 2
                t = fraction[a, p]
                for c in range(filled):
                    low = corners[2 * c]
                    if t != 0.0:
                        low = low + t * (corners[2 * c + 1] - low)
                    corners[c] = low
            out[begin + p] = corners[0]
