"""Locking and unlocking cells."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..core.arrays import BoolArray
from ..core.table import Table
from ..errors import EditRefused
from ..rules.limits import Locked
from .change import Change, table_change
from .locks import locked_cells


def set_locks(table: Table, selection: BoolArray, locked: bool) -> Change:
    """Return the change that locks or unlocks the selected cells at their present values.

    Raises
    ------
    EditRefused
        If a cell to lock is empty, or the axes repeat a breakpoint so that it has no name.
    """
    held = locked_cells(table)
    wanted = held | selection if locked else held & ~selection
    if locked and not np.isfinite(table.values[selection]).all():
        raise EditRefused("An empty cell cannot be locked.", "Give it a value first.")
    return table_change(table, with_locks(table, wanted), _title(table, selection, locked))


def with_locks(table: Table, wanted: BoolArray) -> Table:
    """Return the table with exactly the wanted cells locked at their present values."""
    if not all(len(set(a.values.tolist())) == len(a) for a in table.axes):
        raise EditRefused(
            f"{table.label} has a repeated breakpoint, so its cells cannot be told apart.",
            "Mend the axis first.",
        )
    others = tuple(rule for rule in table.rules if rule.off or not isinstance(rule, Locked))
    cells = [tuple(int(i) for i in index) for index in np.argwhere(wanted)]
    if not table.axes and wanted.any():
        cells = [()]
    if not cells:
        return replace(table, rules=others)
    first = next((r for r in table.rules_in_force if isinstance(r, Locked)), Locked())
    lock = replace(
        first,
        points=tuple(table.coordinates(cell) for cell in cells),
        values=tuple(float(table.values[cell]) for cell in cells),
    )
    return replace(table, rules=(*others, lock))


def _title(table: Table, selection: BoolArray, locked: bool) -> str:
    count = int(selection.sum())
    verb = "Lock" if locked else "Unlock"
    return f"{verb} {count} cell{'' if count == 1 else 's'} of {table.label}"
