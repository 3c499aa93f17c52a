"""Whether columns belong together: types, lengths, counts and references."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from .layout import BY_NAME, COLUMNS, POSITIONS, Column
from .texts import Array

Columns = dict[str, Array]
Attributes = dict[str, str | int]


class Neutral(NamedTuple):
    """A file's content in neutral form, whatever version wrote it."""

    columns: Columns
    attributes: Attributes


class Misfit(Exception):
    """Columns that do not belong together; carries place and problem."""

    def __init__(self, place: str, problem: str) -> None:
        self.place = place
        self.problem = problem
        super().__init__(place, problem)


REFERENCES = {
    # column: (dimension it points into, whether -1 stands for none)
    "axes": ("axis", True),
    "rules": ("rule_set", True),
    "shared_axes": ("axis", False),
    "relation_table": ("table", False),
    "labels": ("label_set", True),
    "axis_labels": ("label_set", True),
}


def empty(column: Column) -> Array:
    """Return the column without rows."""
    shape = (0, POSITIONS) if len(column.dimensions) == 2 else (0,)
    return np.empty(shape, dtype="S1" if column.dtype == "S" else column.dtype)


def completed(columns: Mapping[str, Array]) -> Columns:
    """Check columns against the layout and each other; add the empty ones that a file leaves out.

    Raises
    ------
    Misfit
    """
    whole: Columns = {}
    sizes: dict[str, tuple[int, str]] = {}
    for name in columns:
        if name not in BY_NAME:
            raise Misfit(f"column {name[:60]}", "is not part of a set file.")
    for column in COLUMNS:
        array = columns.get(column.name)
        if array is None:
            array = empty(column)
        check_type(column, array)
        dimension = column.dimensions[0]
        size, first = sizes.setdefault(dimension, (array.shape[0], column.name))
        if size != array.shape[0]:
            raise Misfit(
                f"column {column.name}",
                f"has {array.shape[0]} entries where column {first} has {size}.",
            )
        whole[column.name] = array
    lengths = {dimension: size for dimension, (size, _) in sizes.items()}
    for column in COLUMNS:
        array = whole[column.name]
        if column.counts:
            _check_counts(column, array, lengths[column.counts])
        if column.flags:
            _check_within(column.name, array, 0, len(column.flags))
        if column.name in REFERENCES:
            target, optional = REFERENCES[column.name]
            _check_within(column.name, array, -1 if optional else 0, lengths[target])
    return whole


def check_type(column: Column, array: Array) -> None:
    """Raise Misfit unless an array has the column's type and number of dimensions."""
    fits = array.dtype.kind == "S" if column.dtype == "S" else array.dtype.str == column.dtype
    if not fits:
        raise Misfit(f"column {column.name}", f"holds data of type {array.dtype}.")
    if array.ndim != len(column.dimensions) or (array.ndim == 2 and array.shape[1] != POSITIONS):
        raise Misfit(f"column {column.name}", f"has the shape {array.shape}.")


def _check_counts(column: Column, array: Array, size: int) -> None:
    if array.size and int(array.min()) < 0:
        raise Misfit(f"column {column.name}", "holds a negative count.")
    total = int(array.sum(dtype=np.int64))
    if total != size:
        raise Misfit(
            f"column {column.name}", f"counts {total} entries of {column.counts}, not {size}."
        )


def _check_within(name: str, array: Array, low: int, high: int) -> None:
    if array.size and not low <= int(array.min()) <= int(array.max()) < high:
        row = int(np.flatnonzero((array < low) | (array >= high))[0])
        raise Misfit(f"column {name}, entry {row + 1}", "refers to something that is not there.")
