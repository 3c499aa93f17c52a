"""Whether two values are one and the same to the controller."""

from __future__ import annotations

import numpy as np

from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.storage import Storage

FLOAT64_ROUNDING = 1e-12
"""Float64 values count as alike within this share of the larger one: a few roundings."""


def stored_alike(first: FloatArray, second: FloatArray, storage: Storage) -> BoolArray:
    """Tell which values are stored as the same number.

    Parameters
    ----------
    first, second : float arrays of one shape
    storage : Storage
        Of both.
    """
    if storage.type == "float64":
        with np.errstate(invalid="ignore"):
            near = np.abs(first - second) <= FLOAT64_ROUNDING * np.maximum(
                np.abs(first), np.abs(second)
            )
        return np.asarray(near)
    with np.errstate(over="ignore", invalid="ignore"):
        return np.asarray(storage.raw(first) == storage.raw(second))


def all_stored_alike(
    first: FloatArray, second: FloatArray, owner: np.ndarray, storages: list[Storage]
) -> BoolArray:
    """Tell for many tables at once which of their values are stored as the same number.

    Parameters
    ----------
    first, second : float arrays, shape (m,)
    owner : int array, shape (m,)
        Which table each value belongs to.
    storages : list of Storage
        One for each table.

    Returns
    -------
    bool array, shape (m,)
    """
    kinds: dict[Storage, int] = {}
    kind_of = np.array([kinds.setdefault(s, len(kinds)) for s in storages], dtype=np.int64)
    if len(kinds) == 1:
        return stored_alike(first, second, storages[0])
    kind = kind_of[owner]
    order = np.argsort(kind, kind="stable")
    ends = np.searchsorted(kind[order], np.arange(len(kinds) + 1))
    alike = np.zeros(first.shape, dtype=bool)
    for storage, number in kinds.items():
        here = order[ends[number] : ends[number + 1]]
        alike[here] = stored_alike(first[here], second[here], storage)
    return alike
