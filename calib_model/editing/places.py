"""Cells by where they are: ``{"pedal": 40, "ambient_temperature": (-20, 0)}``.

An axis is named by the input it reads, by its name, or by its number from 1; a place is a
breakpoint, a label, a list of either, or a range of two values, ends included.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..core.arrays import BoolArray
from ..core.numbers import counted
from ..core.table import Table
from ..core.typed_number import parse_number
from ..errors import EditRefused
from .reshape import breakpoint_index

Place = float | str | tuple[float, float] | Sequence[float | str]
At = Mapping[str, Place] | Mapping[int, Place]


def axis_number(table: Table, reference: str | int) -> int:
    """Return the number (from 0) of the axis that a user or script names.

    Raises
    ------
    EditRefused
        If the table has no such axis; those it has are listed.
    """
    text = str(reference).strip()
    for number, axis in enumerate(table.axes):
        if text and text.casefold() in (axis.quantity.casefold(), axis.name.casefold()):
            return number
    place = counted(text, len(table.axes))
    if place is not None:
        return place - 1
    has = ", ".join(
        f"{n} {axis.quantity or axis.name or 'unnamed'}" for n, axis in enumerate(table.axes, 1)
    )
    raise EditRefused(
        f"{table.id} has no axis {text!r}.", f"Its axes are: {has}." if has else "It is a scalar."
    )


def cells_at(table: Table, at: At) -> BoolArray:
    """Return which cells lie where `at` says, in the table's shape; all cells for no place.

    Raises
    ------
    EditRefused
        If an axis or a breakpoint is not there, or a range holds none.

    Examples
    --------
    >>> from calib_model.core.axis import Axis
    >>> table = Table("t", [1, 2, 3], (Axis([0, 50, 100], "Pedal", "%", "pedal"),))
    >>> cells_at(table, {"pedal": (50, 100)}).tolist()
    [False, True, True]
    """
    mask = np.ones(table.shape, dtype=bool)
    for reference, place in at.items():
        number = axis_number(table, reference)
        x = table.axes[number].values
        inside = np.zeros(x.size, dtype=bool)
        if isinstance(place, tuple):
            low, high = place
            inside = (x >= low) & (x <= high)
            if not inside.any():
                axis = table.axes[number]
                raise EditRefused(
                    f"{axis.label} of {table.label} has no breakpoint from {axis.said_short(low)} "
                    f"to {axis.said(high)}.",
                    f"It has {', '.join(axis.said_short(v) for v in x[:12].tolist())}"
                    f"{' ...' if x.size > 12 else ''}.",
                )
        else:
            listed = [place] if isinstance(place, str | int | float) else list(place)
            for one in listed:
                inside[breakpoint_index(table, number, one)] = True
        shape = [-1 if n == number else 1 for n in range(len(table.shape))]
        mask &= inside.reshape(shape)
    return mask


def parse_places(table: Table, given: Sequence[str]) -> dict[str, Place]:
    """Return what ``AXIS=VALUE``, ``AXIS=LOW..HIGH`` or ``AXIS=VALUE,VALUE`` name.

    Raises
    ------
    EditRefused
        If a text is none of these.
    """
    found: dict[str, Place] = {}
    for text in given:
        name, sign, where = text.partition("=")
        name = str(axis_number(table, name) + 1) if sign else ""
        if not name or not where.strip():
            raise EditRefused(
                f"{text!r} names no place.", "Write AXIS=LOW..HIGH or AXIS=VALUE, as pedal=20..60."
            )
        if name in found:
            raise EditRefused(f"{text!r} names its axis again.", "Give each axis one place.")
        low, dots, high = where.partition("..")
        labels = table.axes[int(name) - 1].labels
        if dots:
            ends = tuple(_number(one, labels.number(one), text) for one in (low, high))
            if not ends[0] <= ends[1]:
                raise EditRefused(
                    f"{text!r} ends before it begins.", "Write the lower value first."
                )
            found[name] = (ends[0], ends[1])
        else:
            parts = [part.strip() for part in where.split(",")]
            found[name] = [
                part if labels.number(part) is not None else _number(part, None, text)
                for part in parts
            ]
    return found


def _number(text: str, label: float | None, whole: str) -> float:
    if label is not None:
        return label
    try:
        value = parse_number(text)
    except EditRefused as problem:
        raise EditRefused(f"{whole!r} names no place: {problem.problem}", problem.remedy) from None
    if value != value:
        raise EditRefused(f"{whole!r} names no place.", "Give a number or a label.")
    return value
