"""Read-only float arrays: what every value in this package holds."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


def frozen(values: npt.ArrayLike) -> FloatArray:
    """Return `values` as a read-only, C-ordered float64 array with -0 turned into 0.

    Parameters
    ----------
    values : array_like of float, any shape
        One of float64 that nobody can write to is taken as it is: whoever made it read-only
        has seen to its -0.

    Returns
    -------
    ndarray of float64, same shape
    """
    if (
        type(values) is np.ndarray
        and values.dtype == np.float64
        and values.flags.c_contiguous
        and _is_fixed(values)
    ):
        return values
    array: FloatArray = np.array(values, dtype=np.float64, order="C")
    array += 0.0  # turns -0 into 0, so that equal values have equal bytes
    array.setflags(write=False)
    return array


def _is_fixed(values: npt.NDArray[Any]) -> bool:
    """Whether nobody can write to an array, nor to what it is a view of."""
    whole: Any = values
    while isinstance(whole, np.ndarray):
        if whole.flags.writeable:
            return False
        whole = whole.base
    return whole is None or isinstance(whole, bytes)


def same_values(a: FloatArray, b: FloatArray) -> bool:
    """Tell whether two arrays have the same shape and values, NaN being equal to NaN."""
    if a is b:
        return True
    return a.shape == b.shape and bool(np.array_equal(a, b, equal_nan=True))


def cell_tuples(flat: Any, shape: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
    """Turn flat cell numbers into index tuples, in the order given."""
    if not shape:
        return tuple(() for _ in np.atleast_1d(flat))
    columns = np.unravel_index(np.atleast_1d(np.asarray(flat, dtype=np.intp)), shape)
    return tuple(zip(*(c.tolist() for c in columns), strict=True))
