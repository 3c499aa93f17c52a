"""What of a stranger's HDF5 file may be touched: known names, plain types, bounded sizes.

Nothing is walked: only names that the layout knows are asked for, so links and groups that a
file holds besides are never followed.  Each check comes before the read it guards.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from . import hdf5_api as api
from .allowance import Allowance
from .layout import (
    MAX_ATTRIBUTE_BYTES,
    MAX_CHUNK_BYTES,
    MAX_CHUNKS,
    MAX_STRING_BYTES,
    Column,
)
from .structure import Misfit

_FILTERS = frozenset({api.SHUFFLE, api.DEFLATE, api.FLETCHER32})


def require_hard_link(root: Any, name: str, place: str) -> None:
    """Raise Misfit unless `name` is held by the file itself."""
    if not api.is_hard_link(root, name):
        raise Misfit(place, "is a link to somewhere else, which is never followed.")


def check_dataset(
    dataset: Any, column: Column, allowance: Allowance
) -> tuple[np.dtype[Any], tuple[int, ...]]:
    """Return type and shape of a data set; raise Misfit unless it may be read as the column.

    Parameters
    ----------
    dataset : low-level data set
    column : Column
    allowance : Allowance
        Reduced by what the data set needs.
    """
    place = f"column {column.name}"
    layout = api.storage_of(dataset)
    if layout.external:
        raise Misfit(place, "keeps its data in another file, which is never read.")
    if layout.virtual:
        raise Misfit(place, "is a view of other files, which are never read.")
    unknown = [f for f in layout.filters if f not in _FILTERS]
    if unknown:
        raise Misfit(place, f"is packed by filter {unknown[0]}, which is not used in set files.")
    dtype = api.plain_type(dataset)
    if dtype is None:
        raise Misfit(place, "holds data that are neither numbers nor plain text.")
    fits = dtype.kind == "S" if column.dtype == "S" else dtype.str == column.dtype
    if not fits:
        raise Misfit(place, f"holds data of type {dtype}.")
    if dtype.itemsize > MAX_STRING_BYTES:
        raise Misfit(place, f"holds texts of {dtype.itemsize} bytes.")
    shape = api.shape_of(dataset)
    if shape is None or len(shape) != len(column.dimensions):
        raise Misfit(place, f"has the shape {shape}.")
    allowance.take(column, shape, dtype.itemsize)
    if layout.chunk is not None:
        chunk_bytes = math.prod(layout.chunk) * dtype.itemsize
        chunks = math.prod(-(-n // max(c, 1)) for n, c in zip(shape, layout.chunk, strict=True))
        if chunk_bytes > MAX_CHUNK_BYTES or chunks > MAX_CHUNKS:
            raise Misfit(place, f"is cut into {chunks} chunks of {chunk_bytes} bytes.")
    return dtype, shape


def check_attribute(attribute: Any, name: str) -> np.dtype[Any]:
    """Return the type of a root attribute; raise Misfit unless it is one bounded number or text."""
    place = f"attribute {name}"
    dtype = api.plain_type(attribute)
    if dtype is None or dtype.kind not in "iuS" or api.shape_of(attribute) != ():
        raise Misfit(place, "is neither a whole number nor a plain text.")
    if dtype.itemsize > MAX_ATTRIBUTE_BYTES:
        raise Misfit(place, f"is {dtype.itemsize} bytes long.")
    return dtype
