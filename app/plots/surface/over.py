"""What lies over a surface besides findings: how its cells were driven, the operating point."""

from __future__ import annotations

import numpy as np

from app.cell_marks import CellMarks
from app.plots.legend import Entry
from app.plots.overlay_items import mark_entries, trail_entries
from app.plots.surface import marks
from app.plots.surface.scene import Sheet, hidden
from app.plots.surface.scene_view import SceneView
from app.plots.trail import Trail
from calib_model.core.arrays import BoolArray
from calib_model.core.table import Table

HEAD = 17.0
"""Size of the operating point's mark, in screen units."""


class Over:
    """Marks and trail of one surface, as they were drawn last.

    Parameters
    ----------
    view : SceneView
    """

    def __init__(self, view: SceneView) -> None:
        self._view = view
        self.marks: CellMarks | None = None
        self._trail: Trail | None = None
        self._inside = True
        self._table: Table | None = None

    def read(self, table: Table) -> None:
        """Take over what the desk holds; other tables than the one in work have neither."""
        view = self._view
        own = view.editable
        self._table = table
        self.marks = view.desk.driving.cell_marks if own else None
        self._trail = view.trail(table) if own else None
        self._inside = self._trail is None or self._trail.inside(table)

    def entries(self) -> list[Entry]:
        """Return the entries of the key."""
        found = mark_entries(self.marks, self._view.inks)
        # The surface has no room for arrow heads: the read-out tells what lies beyond an end.
        found = [e for e in found if e.mark != "beyond"]
        if self._trail is not None:
            found += trail_entries(self._view.inks, inside=self._inside)
        return found

    def paint_into(self, picture: marks.Picture, sheet: Sheet) -> None:
        """Put the way of the operating point and its head into what is painted."""
        view, trail, table = self._view, self._trail, self._table
        if trail is None or table is None:
            return
        frame = view.frame
        x, y = frame.x(trail.clipped(table, 1)), frame.y(trail.clipped(table, 0))
        points = np.stack([x, y, frame.z(trail.values)], axis=-1)
        seen = view.lens.project(points)
        known: BoolArray = np.asarray(np.isfinite(points).all(axis=1))
        picture.way = np.where(known[:, None], seen[:, :2], np.nan)
        if not np.isfinite(points[-1]).all():
            return
        behind = hidden(view.lens, sheet, frame, points[-1:])
        ink = view.inks.accent
        picture.marks += marks.marks_at("head", seen[-1:], behind, ink, HEAD)
        if not self._inside:
            picture.marks += marks.marks_at("empty", seen[-1:], behind, ink, HEAD * 0.6)
