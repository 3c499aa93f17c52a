"""What a user should know of new values: beyond limits, empty, between storage steps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..core.table import Table
from ..core.units import shown
from .change import CellsEdit, Change


def limits_text(table: Table) -> str:
    """Return the limits for reading, such as ``0 to 450 N·m``."""
    unit = shown(table.unit)
    text = f"{table.said_short(table.lower)} to {table.said_short(table.upper)}".replace("inf", "∞")
    return f"{text} {unit}" if unit else text


def noted(table: Table, change: Change) -> Change:
    """Return the change with a note on what its new values are that they should not be."""
    values = [e.after for e in change.edits if isinstance(e, CellsEdit)]
    new = np.concatenate(values) if values else np.zeros(0)
    filled = new[np.isfinite(new)]
    notes = [change.note] if change.note else []
    beyond = filled[(filled < table.lower) | (filled > table.upper)]
    if beyond.size:
        what = "This is" if new.size == 1 else f"{beyond.size} of them {_are(beyond.size)}"
        notes.append(f"{what} outside the limits {limits_text(table)}.")
    empty = new.size - filled.size
    if empty:
        which = "The cell is" if new.size == 1 else f"{empty} of them {_are(empty)}"
        notes.append(f"{which} empty now, which is not zero.")
    if table.storage.type != "float64":
        off = filled[~table.storage.representable(filled)]
        if off.size == 1 and new.size == 1:
            below, above = table.storage.neighbours(float(off[0]))
            notes.append(
                f"The controller cannot hold it: nearest are {table.said_short(below)} and "
                f"{table.said(above)}."
            )
        elif off.size:
            notes.append(
                f"{off.size} of them {_are(off.size)} between storage steps; Round to storage "
                "puts them on."
            )
    return replace(change, note=" ".join(notes)) if notes else change


def _are(count: int) -> str:
    return "is" if count == 1 else "are"
