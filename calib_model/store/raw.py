"""Raw values of all integer tables at once, kept beside the physical ones as a check."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from .layout import NO_RAW, STORAGE_TYPES
from .texts import Array

_LIMITS = [np.iinfo(t) if "int" in t else None for t in STORAGE_TYPES]
_LOW = np.array([info.min if info else 0 for info in _LIMITS], dtype=np.float64)
_HIGH = np.array([info.max if info else 0 for info in _LIMITS], dtype=np.float64)
_IS_INTEGER = np.array([info is not None for info in _LIMITS])


def integer_cells(columns: Mapping[str, Array]) -> Array:
    """Tell for every entry of the flat values whether its table has integer storage."""
    integer = _IS_INTEGER[columns["storage_type"]]
    return np.asarray(np.repeat(integer, columns["value_count"]))


def raw_values(columns: Mapping[str, Array]) -> Array:
    """Return the nearest raw values of the integer tables' cells, `NO_RAW` for an empty cell.

    The same arithmetic as `Storage.raw`, for all tables in one pass.

    Parameters
    ----------
    columns : mapping of name to array
        Values, counts and storage of the tables.

    Returns
    -------
    ndarray of int64
    """
    types = columns["storage_type"]
    integer = _IS_INTEGER[types]
    if not integer.any():
        return np.empty(0, dtype="<i8")
    counts = columns["value_count"][integer]
    values = columns["values"][np.repeat(integer, columns["value_count"])]

    def spread(per_table: Array) -> Array:
        return np.repeat(per_table[integer].astype(np.float64), counts)

    with np.errstate(all="ignore"):  # absurd conversions overflow alike on both sides
        scaled = values * spread(columns["storage_denominator"]) - spread(columns["storage_offset"])
        nearest = np.rint(scaled / spread(columns["storage_numerator"]))
        raw = np.clip(nearest, spread(_LOW[types]), spread(_HIGH[types]))
    empty = np.isnan(raw)
    raw[empty] = 0.0
    result: Array = raw.astype("<i8")
    result[empty] = NO_RAW
    return result
