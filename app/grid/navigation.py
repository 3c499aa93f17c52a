"""Where the cursor goes for a key."""

from __future__ import annotations

import numpy as np

from calib_model.core.arrays import BoolArray


def stepped(
    row: int, column: int, rows: int, columns: int, direction: str
) -> tuple[int, int] | None:
    """Return the next place in a direction, or None beyond the edge.

    In a single row (a curve) ``down`` goes to the next cell and ``up`` to the one before, so
    that Enter walks along the curve.
    """
    if rows == 1 and direction in ("down", "up"):
        direction = "right" if direction == "down" else "left"
    down, right = {"down": (1, 0), "up": (-1, 0), "right": (0, 1), "left": (0, -1)}[direction]
    row, column = row + down, column + right
    return (row, column) if 0 <= row < rows and 0 <= column < columns else None


def jumped(row: int, column: int, filled: BoolArray, direction: str) -> tuple[int, int]:
    """Return where Ctrl and an arrow lead: the last filled cell before a gap, else the edge.

    Parameters
    ----------
    row, column : int
    filled : bool array, shape (rows, columns)
    direction : str
        ``up``, ``down``, ``left`` or ``right``.
    """
    vertical = direction in ("up", "down")
    line = filled[:, column] if vertical else filled[row, :]
    place = row if vertical else column
    ahead = np.arange(place + 1, line.size)
    if direction in ("up", "left"):
        ahead = np.arange(place - 1, -1, -1)
    if not ahead.size:
        return row, column
    if line[place] and line[ahead[0]]:
        gaps = np.flatnonzero(~line[ahead])
        goal = ahead[gaps[0] - 1] if gaps.size else ahead[-1]
    else:
        found = np.flatnonzero(line[ahead])
        goal = ahead[found[0]] if found.size else ahead[-1]
    return (int(goal), column) if vertical else (row, int(goal))
