"""What a plot says about a cell, in words."""

from __future__ import annotations

import numpy as np

from calib_model.core.arrays import FloatArray
from calib_model.core.axis import Axis
from calib_model.core.numbers import short
from calib_model.core.table import Table
from calib_model.core.units import shown


def titled(name: str, unit: str) -> str:
    """Return a name with its unit, such as ``Vehicle speed, km/h``."""
    label = shown(unit)
    return f"{name}, {label}" if label else name


def axis_name(axis: Axis) -> str:
    """Return an axis's name with a capital."""
    return axis.label[:1].upper() + axis.label[1:]


def axis_title(axis: Axis) -> str:
    """Return an axis's name with its unit."""
    return titled(axis_name(axis), axis.unit)


def value_title(table: Table) -> str:
    """Return a table's name with its unit."""
    return titled(table.label, table.unit)


def place(table: Table, cell: tuple[int, ...]) -> str:
    """Return where a cell is, such as ``−10 °C, 40 %``; an axis without unit gives its name."""
    parts = []
    for axis, value in zip(table.axes, table.coordinates(cell), strict=True):
        text = axis.said(value)
        parts.append(text if shown(axis.unit) else f"{axis.label} {text}")
    return ", ".join(parts)


def value(table: Table, cell: tuple[int, ...]) -> str:
    """Return a cell's value with unit, and how it is stored."""
    number = float(table.values[cell])
    if np.isnan(number):
        return "empty"
    return f"{table.said(number, 9)} ({stored(table, number)})"


def stored(table: Table, number: float) -> str:
    """Return how a value is stored, such as ``raw 430, step 0.5``."""
    storage = table.storage
    if not storage.is_integer:
        return f"stored as {storage.type}"
    step = f"step {short(storage.resolution)}"
    if bool(storage.representable(number)):
        return f"raw {short(float(storage.raw(number)), 12)}, {step}"
    return f"between two steps, {step}"


def neighbours(table: Table, number: float) -> str:
    """Return the storable values beside one, such as ``next 214.5 and 215.5``."""
    if np.isnan(number) or not table.storage.is_integer:
        return ""
    below, above = table.storage.neighbours(number)
    sides = []
    if below < number:
        sides.append(table.said_short(below))
    if above > number:
        sides.append(table.said_short(above))
    return f"next {' and '.join(sides)}" if sides else ""


def read_out(table: Table, cell: tuple[int, ...]) -> str:
    """Return the read-out, such as ``−10 °C: 215 N·m (raw 430, step 0.5), next ...``."""
    text = value(table, cell)
    where = place(table, cell)
    beside = neighbours(table, float(table.values[cell]))
    text = f"{where}: {text}" if where else text
    return f"{text}, {beside}" if beside else text


def further_place(table: Table, cell: tuple[int, ...]) -> str:
    """Return where the axes beyond the second stand, such as ``at Gradient 4 %``; may be empty."""
    parts = [
        f"{axis.label} {axis.said(float(axis.values[i]))}"
        for axis, i in list(zip(table.axes, cell, strict=True))[2:]
    ]
    return f"at {', '.join(parts)}" if parts else ""


def disorder(table: Table) -> str:
    """Return a sentence about axes out of order; empty if there are none."""
    names = [axis.label for axis in table.axes if not axis.ordered]
    if not names:
        return ""
    which = " and ".join(names)
    verb = "is" if len(names) == 1 else "are"
    return f"{which} {verb} out of order: breakpoints are drawn evenly spaced, not at their values."


def empties(values: FloatArray) -> str:
    """Return a sentence about cells that are not filled; empty if there are none."""
    count = int(np.isnan(values).sum())
    if not count:
        return ""
    return "1 cell is empty." if count == 1 else f"{count} cells are empty."


def limits(table: Table) -> str:
    """Return the limits in words; empty if there are none."""
    low, high = np.isfinite(table.lower), np.isfinite(table.upper)
    unit = shown(table.unit)
    tail = f" {unit}" if unit else ""
    if low and high:
        return f"limits {table.said_short(table.lower)} to {table.said_short(table.upper)}{tail}"
    if low:
        return f"at least {short(table.lower)}{tail}"
    return f"at most {short(table.upper)}{tail}" if high else ""
