# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""Reading one table of a bank at one point, from compiled code.

The same operations in the same order as `calib_model.lookup.reference`, so equal in the last
bit.  A bank is the tuple ``(numbers, layout)`` that `calib_model.lookup.bank` lays out; there
the places are told.  Import late: it brings numba where there is one.
"""

from __future__ import annotations

import math

from calib_model.lookup.bank import (
    ABOVE,
    AXES,
    AXIS_COUNT,
    BELOW,
    BREAKPOINTS,
    COUNT,
    FLAGS,
    INPUT,
    PER_AXIS,
    PER_SLOT,
    PRESENT,
    STEP,
    VALUES,
)
from calib_model.lookup.portable import flag, floats, jit, number, tuple_of, whole, whole_numbers

bank_type = tuple_of(floats, whole_numbers)


@jit(bank_type, whole, returns=flag)
def present(bank, slot):
    """Tell whether a slot has a table."""
    return bank[1][slot * PER_SLOT + PRESENT] != 0


@jit(bank_type, whole, returns=number)
def step_of(bank, slot):
    """Return the storage step of a slot's values; 0 where they lie on no raster."""
    return bank[0][slot]


@jit(floats, whole, whole, whole, number, returns=tuple_of(whole, number))
def locate(numbers, first, count, flags, x):
    """Find a point on an axis: breakpoint and fraction; see `reference.locate`."""
    last = count - 1
    if x != x:
        return last, math.nan
    if x >= numbers[first + last]:
        if x > numbers[first + last] and flags & ABOVE and last > 0:
            below = numbers[first + last - 1]
            return last - 1, (x - below) / (numbers[first + last] - below)
        return last, 0.0
    if x < numbers[first]:
        if flags & BELOW and last > 0:
            return 0, (x - numbers[first]) / (numbers[first + 1] - numbers[first])
        return 0, 0.0
    low, high = 0, last
    while high - low > 1:
        middle = (low + high) >> 1
        if numbers[first + middle] <= x:
            low = middle
        else:
            high = middle
    if flags & STEP:
        return low, 0.0
    below = numbers[first + low]
    return low, (x - below) / (numbers[first + low + 1] - below)


@jit(floats, whole, whole, number, returns=number)
def _along(numbers, near, beside, t):
    low = numbers[near]
    if t != 0.0:
        low = low + t * (numbers[near + beside] - low)
    return low


@jit(floats, whole, whole, number, whole, number, returns=number)
def _across(numbers, near, down, t, beside, u):
    low = _along(numbers, near, beside, u)
    if t != 0.0:
        low = low + t * (_along(numbers, near + down, beside, u) - low)
    return low


@jit(bank_type, whole, floats, returns=number)
def read(bank, slot, inputs):
    """Read a slot's table; NaN where there is none.

    Parameters
    ----------
    bank : tuple of two arrays
        `Bank.arrays`.
    slot : int
    inputs : float array, one value per input quantity
    """
    numbers, layout = bank
    head = slot * PER_SLOT
    if layout[head + PRESENT] == 0:
        return math.nan
    axes = layout[head + AXIS_COUNT]
    near = layout[head + VALUES]
    if axes == 0:
        return numbers[near]
    # From the last axis to the first, since a cell's place needs the sizes of the later axes.
    a = head + AXES + (axes - 1) * PER_AXIS
    count = layout[a + COUNT]
    i, t = locate(
        numbers, layout[a + BREAKPOINTS], count, layout[a + FLAGS], inputs[layout[a + INPUT]]
    )
    near += i
    d = 1 if i < count - 1 else 0
    if axes == 1:
        return _along(numbers, near, d, t)
    width = count
    a -= PER_AXIS
    count = layout[a + COUNT]
    i, t3 = locate(
        numbers, layout[a + BREAKPOINTS], count, layout[a + FLAGS], inputs[layout[a + INPUT]]
    )
    near += i * width
    d3 = width if i < count - 1 else 0
    if axes == 2:
        return _across(numbers, near, d3, t3, d, t)
    width *= count
    a -= PER_AXIS
    count = layout[a + COUNT]
    i, t2 = locate(
        numbers, layout[a + BREAKPOINTS], count, layout[a + FLAGS], inputs[layout[a + INPUT]]
    )
    near += i * width
    d2 = width if i < count - 1 else 0
    if axes == 3:
        low = _across(numbers, near, d3, t3, d, t)
        if t2 != 0.0:
            low = low + t2 * (_across(numbers, near + d2, d3, t3, d, t) - low)
        return low
    width *= count
    a -= PER_AXIS
    count = layout[a + COUNT]
    i, t1 = locate(
        numbers, layout[a + BREAKPOINTS], count, layout[a + FLAGS], inputs[layout[a + INPUT]]
    )
    near += i * width
    d1 = width if i < count - 1 else 0
    low = _across(numbers, near, d3, t3, d, t)
    if t2 != 0.0:
        low = low + t2 * (_across(numbers, near + d2, d3, t3, d, t) - low)
    if t1 != 0.0:
        far = near + d1
        high = _across(numbers, far, d3, t3, d, t)
        if t2 != 0.0:
            high = high + t2 * (_across(numbers, far + d2, d3, t3, d, t) - high)
        low = low + t1 * (high - low)
    return low
