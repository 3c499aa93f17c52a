"""Changes that the grid makes: each names what it does and says what the user should know."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.axis import Axis
from calib_model.core.numbers import short, with_unit
from calib_model.core.table import Table
from calib_model.editing import blocks
from calib_model.editing.change import Change, values_change
from calib_model.editing.entry import parse_entry
from calib_model.editing.notes import noted
from calib_model.errors import EditRefused

from .texts import cells_text


def breakpoint(axis: Axis, text: str) -> float:
    """Return the breakpoint a user typed: a number, one of the axis's labels, or a sum."""
    entry = parse_entry(text, axis.labels)
    if entry.is_relative:
        raise EditRefused(
            f"{text.strip()!r} is no breakpoint.", "Type a number or a sum such as =2*30."
        )
    return entry.amount


def made(
    table: Table,
    values: FloatArray,
    title: str,
    *,
    merge: str = "",
) -> Change:
    """Return the change to new values with its notes."""
    return noted(table, values_change(table, values, title, merge=merge))


def set_cells(table: Table, selection: BoolArray, value: float) -> Change:
    """Give the selected cells one value."""
    amount = table.said(value)
    place = cells_text(table, selection)
    count = int(np.count_nonzero(selection))
    if count == 1:
        inside = place.removeprefix(f"{table.label} at ")
        title = f"Set {amount} at {inside}" if inside != table.label else f"Set {place} to {amount}"
    else:
        title = f"Set {place} to {amount}"
    return made(table, blocks.set_value(table, selection, value), title)


def entered(table: Table, selection: BoolArray, text: str) -> Change:
    """Give the selected cells what a user typed: a number, a label, or a little arithmetic.

    Raises
    ------
    EditRefused
        If it is not understood.
    """
    entry = parse_entry(text, table.labels)
    if not entry.is_relative:
        if np.isnan(entry.amount):
            return empty(table, selection)
        return set_cells(table, selection, entry.amount)
    title = entry.title(cells_text(table, selection), table)
    return made(table, entry.values(table, selection), title)


def empty(table: Table, selection: BoolArray) -> Change:
    """Empty the selected cells: no value, which is not zero."""
    count = int(np.count_nonzero(selection))
    change = values_change(
        table,
        blocks.set_value(table, selection, float("nan")),
        f"Empty {cells_text(table, selection)}",
    )
    cells = "The cell holds" if count == 1 else "The cells hold"
    said = f"{cells} no value now, which is not zero; this is an error until a value is given."
    return replace(change, note=f"{change.note} {said}".strip()) if change.edits else change


def scale(table: Table, selection: BoolArray, factor: float) -> Change:
    """Multiply the selected cells."""
    title = f"Scale {cells_text(table, selection)} by {short(factor)}"
    return made(table, blocks.scale(table, selection, factor), title)


def offset(table: Table, selection: BoolArray, amount: float) -> Change:
    """Add an amount to the selected cells."""
    verb, by = ("Raise", amount) if amount >= 0 else ("Lower", -amount)
    title = f"{verb} {cells_text(table, selection)} by {with_unit(by, table.unit)}"
    return made(table, blocks.offset(table, selection, amount), title)


def clip(table: Table, selection: BoolArray, low: float, high: float) -> Change:
    """Keep the selected cells within two values."""
    title = f"Clip {cells_text(table, selection)} to {table.said_short(low)} to {table.said(high)}"
    return made(table, blocks.clip(table, selection, low, high), title)


def ramp(table: Table, selection: BoolArray, first: float, last: float) -> Change:
    """Fill the selection with a straight line along its longer side."""
    title = (
        f"Ramp {cells_text(table, selection)} from {table.said_short(first)} to {table.said(last)}"
    )
    return made(table, blocks.ramp(table, selection, first, last, longer_axis(selection)), title)


def longer_axis(selection: BoolArray) -> int:
    """Return the axis along which the selection is longest; across, where that is equal."""
    if selection.ndim < 2:
        return 0
    lengths = []
    for axis in range(2):
        others = tuple(a for a in range(selection.ndim) if a != axis)
        lengths.append(int(np.count_nonzero(selection.any(axis=others))))
    return 0 if lengths[0] > lengths[1] else 1


Operation = Callable[[Table, BoolArray], FloatArray]

_PLAIN: dict[str, tuple[str, Operation]] = {
    "fill_down": ("Fill down", blocks.fill_down),
    "fill_right": ("Fill right", blocks.fill_right),
    "corners": ("Interpolate between the corners of", blocks.interpolate_corners),
    "rows": (
        "Interpolate along rows of",
        lambda t, s: blocks.interpolate_along(t, s, min(1, len(t.shape) - 1)),
    ),
    "columns": ("Interpolate along columns of", lambda t, s: blocks.interpolate_along(t, s, 0)),
    "mirror": ("Mirror", lambda t, s: blocks.mirror(t, s, longer_axis(s))),
    "mirror_negated": (
        "Mirror with turned sign",
        lambda t, s: blocks.mirror(t, s, longer_axis(s), negate=True),
    ),
    "round": ("Round to storage steps", blocks.round_to_storage),
    "average": ("Average locally", blocks.local_average),
    "neighbours": ("Interpolate from the neighbours", blocks.reinterpolate),
}


def plain(kind: str, table: Table, selection: BoolArray) -> Change:
    """Return the change of an operation that asks for nothing.

    Parameters
    ----------
    kind : str
        One of ``fill_down fill_right corners rows columns mirror mirror_negated round average
        neighbours``.
    """
    if kind.startswith("fill") and np.count_nonzero(selection) < 2:
        side = "below" if kind == "fill_down" else "to its right"
        raise EditRefused(
            "One cell is selected, so there is nothing to fill.",
            f"Select the cell with the value and the cells {side}.",
        )
    words, operation = _PLAIN[kind]
    return made(table, operation(table, selection), f"{words} {cells_text(table, selection)}")


def step(table: Table, selection: BoolArray, steps: int, merge: str = "") -> Change:
    """Move the selected cells by whole storage steps."""
    verb = "Step up" if steps > 0 else "Step down"
    title = f"{verb} {cells_text(table, selection)}"
    return made(table, blocks.step(table, selection, steps), title, merge=merge)
