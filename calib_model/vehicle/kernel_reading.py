# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""Reading lists of numbers in compiled code: the ends are held.  Import late: it brings numba."""

from __future__ import annotations

import math

from calib_model.lookup.portable import inner


@inner()
def between(xs, ys, x):
    """Return the value at x, linear between breakpoints."""
    last = xs.size - 1
    if x <= xs[0]:
        return ys[0]
    if x >= xs[last]:
        return ys[last]
    low = 0
    while xs[low + 1] <= x:
        low += 1
    return ys[low] + (x - xs[low]) / (xs[low + 1] - xs[low]) * (ys[low + 1] - ys[low])


@inner()
def between_rows(rows, x):
    """Return the value at x of rows (x, y), linear between them; 0 where there are none."""
    last = rows.shape[0] - 1
    if last < 0:
        return 0.0
    if x <= rows[0, 0]:
        return rows[0, 1]
    if x >= rows[last, 0]:
        return rows[last, 1]
    low = _row(rows, x)
    share = (x - rows[low, 0]) / (rows[low + 1, 0] - rows[low, 0])
    return rows[low, 1] + share * (rows[low + 1, 1] - rows[low, 1])


@inner()
def held_row(rows, x):
    """Return the value of the last row (x, y) at or before x; 0 before the first."""
    last = rows.shape[0] - 1
    if last < 0 or x < rows[0, 0]:
        return 0.0
    if x >= rows[last, 0]:
        return rows[last, 1]
    return rows[_row(rows, x), 1]


@inner()
def _row(rows, x):
    low, high = 0, rows.shape[0] - 1
    while high - low > 1:
        middle = (low + high) >> 1
        if rows[middle, 0] <= x:
            low = middle
        else:
            high = middle
    return low


@inner()
def over_grid(xs, ys, grid, x, y):
    """Return the value at (x, y) of a grid, linear along both."""
    i, t = _cell(xs, x)
    j, u = _cell(ys, y)
    near = grid[i, j] + u * (grid[i, j + 1] - grid[i, j])
    far = grid[i + 1, j] + u * (grid[i + 1, j + 1] - grid[i + 1, j])
    return near + t * (far - near)


@inner()
def _cell(xs, x):
    last = xs.size - 1
    if x <= xs[0]:
        return 0, 0.0
    if x >= xs[last]:
        return last - 1, 1.0
    low = 0
    while xs[low + 1] <= x:
        low += 1
    return low, (x - xs[low]) / (xs[low + 1] - xs[low])


@inner()
def clip(x, low, high):
    """Return x, at least low and at most high."""
    return min(max(x, low), high)


@inner()
def stepped(x, step):
    """Return x on a raster, mirrored alike on both sides of zero; step 0 leaves it."""
    if step <= 0.0:
        return x
    return math.copysign(math.floor(abs(x) / step + 0.5) * step, x)
