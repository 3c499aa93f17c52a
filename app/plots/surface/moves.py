"""Nodes that are dragged: one follows the pointer, the other selected ones move as far."""

from __future__ import annotations

import numpy as np

from app.plots.snap import snapped
from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.table import Table


def moved(
    table: Table,
    start: FloatArray,
    selection: BoolArray,
    held: tuple[int, ...],
    target: float,
    grain: float,
) -> FloatArray:
    """Return a table's values with the selected cells moved up or down together.

    Parameters
    ----------
    table : Table
        Its limits and its storage bind.
    start : float array, shape of the table
        Values when the drag began.
    selection : bool array, shape of the table
    held : tuple of int
        The cell in the hand.
    target : float
        Where the hand is, in the table's unit.
    grain : float
        Size of a screen unit in the table's unit, see `snap.snapped`.

    Returns
    -------
    float array, shape of the table
        Each selected cell moved by what the held one moved, kept inside the limits and on what
        the controller stores; empty cells stay empty.
    """
    goal = snapped(table, target, grain)
    amount = goal - float(start[held])
    values = start.copy()
    chosen = selection & np.isfinite(start)
    if amount:
        values[chosen] = stored(table, start[chosen] + amount, start[chosen])
        values[held] = goal
    return values


def stored(table: Table, wanted: FloatArray, start: FloatArray) -> FloatArray:
    """Return the nearest values that the table may hold, inside its limits.

    Parameters
    ----------
    table : Table
    wanted, start : float arrays, shape (n,)
        A cell that is beyond a limit already is not moved further out, nor forced in.
    """
    storage = table.storage
    low = np.minimum(max(table.lower, storage.range[0]), start)
    high = np.maximum(min(table.upper, storage.range[1]), start)
    wanted = np.clip(wanted, low, high)
    near = storage.nearest(wanted)
    if storage.is_integer:
        # A limit need not lie on the raster: then the nearest step may be just outside it.
        step = storage.resolution
        near = np.where(near > high, storage.nearest(near - step), near)
        near = np.where(near < low, storage.nearest(near + step), near)
    return np.asarray(near)
