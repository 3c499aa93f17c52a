"""Frozen values made by the ten thousand, from columns that were checked as a whole."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import fields
from itertools import repeat
from typing import Any, TypeVar

T = TypeVar("T")
Setter = Callable[[Any, Any], None]


def setters(kind: type[Any]) -> tuple[Setter, ...]:
    """Return what puts a part where it belongs, for each field of a dataclass with slots."""
    return tuple(getattr(kind, part.name).__set__ for part in fields(kind))


def filled(kind: type[T], put: tuple[Setter, ...], columns: Sequence[Sequence[Any]]) -> list[T]:
    """Return new values, a column of parts for each field; nothing is checked.

    Parameters
    ----------
    kind : type
        A frozen dataclass with slots.
    put : tuple of callable
        As `setters` gives them.
    columns : sequence of sequence
        One per field, in their order, all of the same length.

    Raises
    ------
    ValueError
        If there is not one column per field, or they differ in length.
    """
    count = len(columns[0])
    if any(len(column) != count for column in columns):
        raise ValueError("The columns differ in length.")
    values = list(map(object.__new__, repeat(kind, count)))
    for setter, column in zip(put, columns, strict=True):
        deque(map(setter, values, column), maxlen=0)  # runs the map and keeps nothing
    return values
