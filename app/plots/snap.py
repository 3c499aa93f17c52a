"""What a dragged point may become: kept inside the limits and on what the controller stores."""

from __future__ import annotations

import math

import numpy as np

from calib_model.core.table import Table


def snapped(table: Table, value: float, grain: float) -> float:
    """Return the nearest value to `value` that the table may hold.

    Parameters
    ----------
    table : Table
        Its limits and its storage bind.
    value : float
        Where the pointer is, in the table's unit.
    grain : float
        Size of a screen unit in the table's unit: a value stored as a float is rounded to the
        round decimal step at or below it, since the pointer tells no more.
    """
    storage = table.storage
    low = max(table.lower, storage.range[0])
    high = min(table.upper, storage.range[1])
    if not storage.is_integer:
        value = min(max(_rounded(value, grain), low), high)
        return float(storage.nearest(value))
    value = min(max(value, low), high)
    exact = (value * storage.denominator - storage.offset) / storage.numerator
    near = float(storage.physical(np.rint(exact)))
    # A limit need not lie on the raster: then the nearest step may be just outside it.
    if near > high:
        near = float(storage.physical(np.floor(exact)))
    elif near < low:
        near = float(storage.physical(np.ceil(exact)))
    return near


def _rounded(value: float, grain: float) -> float:
    if not (grain > 0 and math.isfinite(grain)):
        return value
    power = math.floor(math.log10(grain))
    # Dividing by a whole number gives the float64 nearest to the decimal; multiplying does not.
    if power < 0:
        scale = 10.0**-power
        return round(value * scale) / scale
    scale = 10.0**power
    return round(value / scale) * scale
