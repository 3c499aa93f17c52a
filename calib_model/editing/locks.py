"""Locked cells: a lock is a rule on the table, and every edit of values respects it."""

from __future__ import annotations

import numpy as np

from ..core.arrays import BoolArray
from ..core.table import Table


def locked_cells(table: Table) -> BoolArray:
    """Return which cells a lock of the table holds, in the table's shape."""
    held = np.zeros(table.shape, dtype=bool)
    for rule in table.rules_in_force:
        mask = getattr(rule, "locked_mask", None)
        if mask is not None:
            held |= mask(table)
    return held
