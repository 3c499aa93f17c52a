"""Which table decided at a moment of a run, and at which cell."""

from __future__ import annotations

import numpy as np

from app.desk import Desk
from app.driving.shapes import DeskRun
from calib_model.core.roles import ROLES


def deciding_cell(desk: Desk, run: DeskRun, seconds: float) -> tuple[str, tuple[int, ...]] | None:
    """Return the table of the current set that decided the torque, and its nearest cell.

    None if no table decided, or the set has none that plays that part.
    """
    document, codes = desk.current, run.column("governing")
    if document is None or codes is None or not codes.size:
        return None
    tick = run.tick_at(seconds)
    code = float(codes[tick])
    role = ROLES[int(code)] if np.isfinite(code) and 0 <= code < len(ROLES) else ""
    table = next((t for t in document.content.tables.values() if role and t.role == role), None)
    if table is None:
        return None
    cell = []
    for axis in table.axes:
        values = run.quantities.get(axis.quantity)
        at = float(values[tick]) if values is not None else np.nan
        distance = np.abs(axis.values - at)
        cell.append(int(np.nanargmin(distance)) if np.isfinite(distance).any() else 0)
    return table.id, tuple(cell)
