"""Cells, axes and places in words."""

from __future__ import annotations

import math

import numpy as np

from app.look.choices import chosen
from calib_model.core.arrays import BoolArray
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.numbers import short
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.core.units import shown

from .plane import Cell

_MOST_DECIMALS = 4


def decimals(storage: Storage) -> int | None:
    """Return how many decimals show every value of a raster; None where none fixed do.

    What the user chose comes first (`app.look.choices`); it never hides digits, see `cell_text`.
    """
    wanted = chosen().decimals
    if wanted is not None:
        return wanted
    if not storage.is_integer:
        return None
    for count in range(_MOST_DECIMALS + 1):
        scaled = 10**count * storage.numerator, 10**count * storage.offset
        if all(s % storage.denominator == 0 for s in scaled):
            return count
    return None


def cell_text(value: float, places: int | None) -> str:
    """Return a value as the grid shows it: aligned decimals where they tell the whole value."""
    if places is None or not math.isfinite(value):
        return short(value)
    text = f"{value:.{places}f}"
    if abs(float(text) - value) > 1e-9 * max(1.0, abs(value)):
        return short(value, 8)
    return text.replace("-", "\N{MINUS SIGN}")


def caption(axis: Axis) -> str:
    """Return an axis's name with its unit and what is unusual about it."""
    unit = shown(axis.unit)
    text = f"{axis.label} ({unit})" if unit else axis.label
    if axis.interpolation == Interpolation.STEP:
        text += ", step"
    if not axis.ordered:
        text += ", out of order"
    return text


def place_text(table: Table, cell: Cell) -> str:
    """Return where a cell is, short: ``−10 °C, 40 %``; empty for a scalar."""
    parts = []
    for axis, value in zip(table.axes, table.coordinates(cell), strict=True):
        plain = not shown(axis.unit)
        text = axis.said(value)
        parts.append(f"{axis.label.lower()} {text}" if plain else text)
    return ", ".join(parts)


def full_place_text(table: Table, cell: Cell) -> str:
    """Return where a cell is with the axes' names, for screen readers and tooltips."""
    return ", ".join(
        f"{axis.label} {axis.said(value)}"
        for axis, value in zip(table.axes, table.coordinates(cell), strict=True)
    )


def cells_text(table: Table, selection: BoolArray, *, named: bool = True) -> str:
    """Return what is selected: a place, or how many cells; of the table, if it is to be named."""
    count = int(np.count_nonzero(selection))
    if count == 1:
        cell = tuple(int(i) for i in np.argwhere(selection)[0])
        place = place_text(table, cell)
        if not named:
            return place or "the value"
        return f"{table.label} at {place}" if place else table.label
    said = f"all {count} cells" if count == selection.size else f"{count} cells"
    return f"{said} of {table.label}" if named else said
