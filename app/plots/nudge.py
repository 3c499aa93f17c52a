"""Edits that the plots make with keys: whole storage steps, kept inside the limits."""

from __future__ import annotations

from itertools import count

import numpy as np

from app.desk import Desk
from app.plots import words
from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.table import Table
from calib_model.editing import blocks
from calib_model.editing.change import Change, values_change

_keys = count(1)


def merge_key(what: str) -> str:
    """Return a key under which one gesture's edits become one undo step."""
    return f"{what} {next(_keys)}"


def nudged(table: Table, selection: BoolArray, steps: int) -> FloatArray:
    """Return the table's values with the selection moved by storage steps.

    A cell does not cross a limit; one that is beyond a limit already may come back.
    """
    new, old = blocks.step(table, selection, steps), table.values
    with np.errstate(invalid="ignore"):
        outside = ((new > table.upper) & (new > old)) | ((new < table.lower) & (new < old))
    if abs(steps) > 1 and outside.any():
        # Go as far as the limit allows, on the raster.
        single = int(np.sign(steps))
        part = new.copy()
        part[outside] = old[outside]
        for _ in range(abs(steps) - 1):
            on = nudged(table.with_values(part), outside, single)
            if np.array_equal(on, part, equal_nan=True):
                break
            part = on
        return part
    return np.where(outside, old, new)


def nudge(desk: Desk, steps: int, merge: str) -> bool:
    """Move the selected cells of the table in work by storage steps; tell why if it cannot be."""
    table = desk.table
    if table is None:
        return False
    selection = desk.selection
    values = nudged(table, selection, steps)
    if np.array_equal(values, table.values, equal_nan=True):
        chosen = table.values[selection]
        if np.isnan(chosen).all():
            desk.tell("The cell is empty. Type a value in the grid first.", refused=True)
        else:
            side = "upper" if steps > 0 else "lower"
            limits = words.limits(table)
            tail = f" ({limits})" if limits else ""
            desk.tell(f"The value is at its {side} end{tail}.", refused=True)
        return False

    def change() -> Change:
        size = int(selection.sum())
        where = words.place(table, desk.cursor) if size == 1 else f"{size} cells"
        what = f"{table.label} at {where}" if where and size == 1 else table.label
        amount = f"{'up' if steps > 0 else 'down'}"
        title = f"Step {what} {amount}" if size == 1 else f"Step {where} of {table.label} {amount}"
        return values_change(table, values, title, merge=merge)

    return desk.do(change)
