"""What is drawn over a line: how its cells were driven, along the foot, and the operating point."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from app.plots.geometry import positions
from app.plots.legend import Entry
from app.plots.overlay_items import OverlayItems, mark_entries, trail_entries
from calib_model.core.table import Table

if TYPE_CHECKING:
    from app.plots.lines import LinesView

FOOT = 8.0
"""How far above the foot of the plot the marks stand, in screen units."""


def draw_marks(view: LinesView, over: OverlayItems, table: Table) -> None:
    """Draw the marks of the cells in the line, each at the foot under its breakpoint."""
    assert view.canvas is not None
    marks = view.desk.cell_marks
    if marks is None:
        over.no_marks()
        return
    (x0, x1), (y0, _) = view.canvas.shown_range()
    px, py = view.canvas.pixel()
    x = positions(table.axes[view.along()])
    index = view.line_index()
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
        np.full(x.size, not view.inks.dark),
        room,
        np.full(x.size, 10.0 * px),
    )


def draw_trail(view: LinesView, over: OverlayItems, table: Table) -> None:
    """Draw the operating point at what the controller reads there, whichever line is in work."""
    trail = view.trail(table)
    if trail is None:
        over.show_trail(np.empty(0), np.empty(0), inside=True)
    else:
        over.show_trail(
            trail.clipped(table, view.along()), trail.values, inside=trail.inside(table)
        )


def entries(view: LinesView, table: Table) -> list[Entry]:
    """Return the entries of the key for both."""
    marks, trail = view.desk.cell_marks, view.trail(table)
    found = mark_entries(marks, view.inks)
    if trail is not None:
        found += trail_entries(view.inks, inside=trail.inside(table))
    return found
