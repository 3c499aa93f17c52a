"""What is drawn over a line: how its cells were driven, along the foot, and the operating point."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from app.cell_marks import CellMarks
from app.colours import Inks
from app.plots.geometry import positions
from app.plots.legend import Entry
from app.plots.overlay_items import OverlayItems, mark_entries, trail_entries
from app.plots.trail import Trail
from calib_model.core.axis import Axis
from calib_model.core.table import Table

if TYPE_CHECKING:
    from app.plots.canvas import Canvas

FOOT = 8.0
"""How far above the foot of the plot the marks stand, in screen units."""


def draw_marks(
    over: OverlayItems,
    canvas: Canvas,
    marks: CellMarks | None,
    axis: Axis,
    index: tuple[int | slice, ...],
    *,
    dark: bool,
) -> None:
    """Draw the marks of the cells in the line, each at the foot under its breakpoint.

    Parameters
    ----------
    over : OverlayItems
    canvas : Canvas
    marks : CellMarks or None
    axis : Axis
        The one that the line runs along.
    index : tuple of int and slice
        The line, in an array of the table's shape.
    dark : bool
        The ground is dark.
    """
    if marks is None:
        over.no_marks()
        return
    (x0, x1), (y0, _) = canvas.shown_range()
    px, py = canvas.pixel()
    x = positions(axis)
    seen = (x >= x0) & (x <= x1)
    gaps = np.diff(x, prepend=-np.inf, append=np.inf)
    room = np.minimum(gaps[:-1], gaps[1:]) / px - 2.0
    beyond = np.zeros(x.size, bool) if marks.beyond is None else marks.beyond[index]
    over.show_marks(
        x,
        np.full(x.size, y0 + FOOT * py),
        np.where(seen, marks.levels[index], 0),
        marks.full[index],
        beyond & seen,
        np.full(x.size, not dark),
        room,
        np.full(x.size, 10.0 * px),
    )


def draw_trail(over: OverlayItems, trail: Trail | None, table: Table, along: int) -> None:
    """Draw the operating point at what the controller reads there, whichever line is in work."""
    if trail is None:
        over.show_trail(np.empty(0), np.empty(0), inside=True)
    else:
        over.show_trail(trail.clipped(table, along), trail.values, inside=trail.inside(table))


def entries(marks: CellMarks | None, trail: Trail | None, table: Table, inks: Inks) -> list[Entry]:
    """Return the entries of the key for both."""
    found = mark_entries(marks, inks)
    if trail is not None:
        found += trail_entries(inks, inside=trail.inside(table))
    return found
