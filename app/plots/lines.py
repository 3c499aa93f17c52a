"""Points on a line that can be dragged: what the curve and the slices share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QKeyEvent, QMouseEvent

from app.plots import line_overlay, words
from app.plots.geometry import inner_line, outer_line, positions, slice_on_axis
from app.plots.legend import Entry
from app.plots.line_items import LineItems
from app.plots.nudge import merge_key
from app.plots.overlay_items import OverlayItems
from app.plots.snap import snapped
from app.plots.view import Cell, Part, PlotView
from calib_model.core.arrays import FloatArray
from calib_model.core.axis import Axis, End
from calib_model.core.table import Table
from calib_model.core.units import shown
from calib_model.editing.change import Change, values_change
from calib_model.editing.locks import locked_cells

if TYPE_CHECKING:
    from app.plots.canvas import Canvas

GRAB = 16.0
"""How near to a point the pointer takes hold of it, in screen units: gloves are worn."""
FINE = 0.1
"""How far a point follows the pointer while Shift is held."""


@dataclass
class Drag:
    """A point in the hand."""

    cell: Cell
    merge: str
    start_y: float
    last_y: float
    target: float
    """Where the point would be without snapping."""
    began: bool = False
    """Whether the pointer went far enough to mean it."""
    edited: bool = False


class LinesView(PlotView):
    """A line through the cursor along one axis, with its points to drag."""

    _items: LineItems
    _over: OverlayItems
    _drag: Drag | None = None
    _anchor: int | None = None
    _fitted: tuple[object, object] = (None, None)
    """Range and size of the last fit, to tell whether the view was moved since."""
    _floor = 0.0
    """Where points that are not filled yet are drawn."""

    # -- what is drawn: for the two views to say -------------------------------------------------

    def along(self) -> int:
        """Return the number of the axis that the line runs along."""
        return 0

    def others(self, table: Table) -> FloatArray:
        """Return the quiet lines beside the one in work, shape (lines, points)."""
        return np.empty((0, table.shape[self.along()]))

    def work_words(self, table: Table) -> str:
        """Return what the key calls the line in work."""
        return "now"

    # -- cells -----------------------------------------------------------------------------------

    def cell(self, point: int) -> Cell:
        """Return the cell of a point of the line in work."""
        cursor, along = self.desk.cursor, self.along()
        return (*cursor[:along], point, *cursor[along + 1 :])

    def line_index(self) -> tuple[int | slice, ...]:
        """Return the index of the line in work into an array of the table's shape."""
        along = self.along()
        return tuple(slice(None) if i == along else c for i, c in enumerate(self.desk.cursor))

    def points(self, table: Table) -> tuple[FloatArray, FloatArray]:
        """Return where the points of the line in work are drawn; empty ones lie on the floor."""
        x = positions(table.axes[self.along()])
        y = table.values[self.line_index()]
        return x, np.where(np.isnan(y), self._floor, y)

    # -- drawing ---------------------------------------------------------------------------------

    def build(self, canvas: Canvas) -> None:
        """Make the items."""
        self._items = LineItems(canvas)
        self._over = OverlayItems(canvas)
        self.draw_parts()

    def describe(self, table: Table) -> str:
        """Name what is drawn."""
        axis = table.axes[self.along()]
        return f"{words.value_title(table)}, drawn along {words.axis_title(axis)}"

    def redraw(self, table: Table, stale: Part) -> None:
        """Bring what is out of date up to date."""
        canvas, items = self.canvas, self._items
        assert canvas is not None
        axis = table.axes[self.along()]
        if stale & Part.COLOURS:
            items.set_inks(self.inks)
            self._over.set_inks(self.inks)
        if stale & Part.TABLE:
            x = positions(axis)
            canvas.bottom.set_breakpoints(x, axis.values, axis.said_short)
            canvas.bottom.set_text(words.axis_name(axis), shown(axis.unit))
            canvas.left.set_text(table.label, shown(table.unit))
            states = table.labels.numbers
            canvas.left.set_breakpoints(states if states.size else None, said=table.said_short)
            self.fit()
            stale |= Part.ALL
        elif stale & Part.VALUES and self._drag is None:
            self._keep_in_view(table)
        if stale & Part.SCALE and self._drag is None:
            fitted, size = self._fitted
            if fitted == canvas.shown_range() and size != canvas.size_in_view():
                self.fit()  # nobody chose another part: the margins suit the new size
        if stale & (Part.VALUES | Part.CURSOR):
            self._draw_line(table, axis)
        if stale & Part.VALUES:
            items.others.show(*_family(axis, self.others(table)))
            items.limits(table.lower, table.upper)
        if stale & (Part.VALUES | Part.CURSOR | Part.OVERLAYS):
            self._draw_overlays(table)
        if stale & (Part.VALUES | Part.CURSOR | Part.SELECTION | Part.FINDINGS):
            self._draw_points(table)
        if stale & (Part.SCALE | Part.VALUES):
            self._draw_raster(table)
        if stale & (Part.VALUES | Part.CURSOR | Part.SCALE | Part.MARKS | Part.COLOURS):
            line_overlay.draw_marks(
                self._over,
                canvas,
                self.desk.driving.cell_marks,
                axis,
                self.line_index(),
                dark=self.inks.dark,
            )
        if stale & (Part.VALUES | Part.TRAIL):
            line_overlay.draw_trail(self._over, self.trail(table), table, self.along())
        if stale & ~(Part.SCALE | Part.SELECTION):
            self.show_key(self.key(table))
        if stale & (Part.VALUES | Part.CURSOR):
            self.show_note(words.disorder(table), words.empties(table.values[self.line_index()]))

    def _draw_line(self, table: Table, axis: Axis) -> None:
        y = table.values[self.line_index()]
        self._items.inner.show(*inner_line(axis, y))
        reach = 2.0 * axis.span or 1.0
        self._items.outer.show(*outer_line(axis, y, reach))

    def _draw_overlays(self, table: Table) -> None:
        for item, (axis, values) in zip(
            (self._items.saved, self._items.reference, self._items.proposed),
            self._overlay_lines(table),
            strict=True,
        ):
            item.show(*(inner_line(axis, values) if axis is not None else (values, values)))

    def _overlay_lines(self, table: Table) -> list[tuple[Axis | None, FloatArray]]:
        """Return the saved, the reference and the proposed line where they differ from now."""
        lines: list[tuple[Axis | None, FloatArray]] = []
        here = table.values[self.line_index()]
        axis = table.axes[self.along()]
        for wanted, other in (
            (self.show_saved, self.desk.saved_table),
            (self.show_reference, self.desk.reference_table),
            (True, self.desk.proposed_table),
        ):
            line = None
            if wanted and other is not None and other is not table:
                line = slice_on_axis(table, other, self.along(), self.desk.cursor)
            if line is not None and np.array_equal(line[0].values, axis.values):
                if np.array_equal(line[1], here, equal_nan=True):
                    line = None
                elif not axis.ordered or not line[0].ordered:
                    line = (axis, line[1])
            lines.append(line if line is not None else (None, np.empty(0)))
        return lines

    def _draw_points(self, table: Table) -> None:
        items = self._items
        x, y = self.points(table)
        index = self.line_index()
        locked = locked_cells(table)[index]
        chosen = self.desk.selection[index]
        empty = np.isnan(table.values[index])
        at = self.desk.cursor[self.along()]
        free = ~locked & ~chosen & ~empty
        items.points.show(x[free], y[free])
        items.locked.show(x[locked & ~empty], y[locked & ~empty])
        bold = chosen & ~locked & ~empty
        items.chosen.show(x[bold], y[bold])
        items.empty.show(x[empty], y[empty])
        items.cross(float(x[at]), float(y[at]))
        severities = np.full(x.size, "", dtype=object)
        for cell, (severity, _) in self.findings.items():
            if self.cell(cell[self.along()]) == cell:
                severities[cell[self.along()]] = str(severity)
        for severity, item in items.findings.items():
            hit = severities == severity
            item.show(x[hit], y[hit])

    def _draw_raster(self, table: Table) -> None:
        assert self.canvas is not None
        (x0, x1), (y0, y1) = self.canvas.shown_range()
        step = table.storage.resolution
        if not step or step / self.canvas.pixel()[1] < 7.0:
            self._items.raster.show(np.empty(0), np.empty(0))
            return
        low, high = table.storage.raw([y0, y1])
        levels = table.storage.physical(np.arange(low, high + 1))
        y = np.repeat(levels, 2)
        self._items.raster.show(np.tile([x0, x1], levels.size), y)

    def draw_parts(self) -> None:
        """Show the lines that are not taken out."""
        if self.canvas is None:
            return
        items = self._items
        for part, lines in {
            "ends": (items.outer,),
            "others": (items.others,),
            "saved": (items.saved,),
            "reference": (items.reference,),
            "proposed": (items.proposed,),
            "limits": (items.low, items.high),
        }.items():
            for line in lines:
                line.setOpacity(0.0 if part in self.hidden else 1.0)

    # -- the key ---------------------------------------------------------------------------------

    def key(self, table: Table) -> list[Entry]:
        """Return the entries of the key."""
        ink = self.inks
        entries = [Entry(self.work_words(table), ink.line, width=2.0)]
        axis = table.axes[self.along()]
        if axis.ordered:
            ends = {axis.below, axis.above}
            how = "held" if ends == {End.HELD} else "extrapolated"
            if len(ends) == 2:
                how = f"{axis.below} below, {axis.above} above"
            entries.append(
                Entry(f"ends {how}", ink.line, Qt.PenStyle.DashDotLine, 1.0, part="ends")
            )
        if self.others(table).shape[0]:
            entries.append(Entry("other slices", ink.faint, width=1.0, part="others"))
        saved, reference, proposed = self._overlay_lines(table)
        if saved[0] is not None:
            entries.append(Entry("as saved", ink.quiet, Qt.PenStyle.DashLine, part="saved"))
        if reference[0] is not None and self.desk.reference is not None:
            name = self.desk.reference.title
            entries.append(
                Entry(f"reference: {name}", ink.quiet, Qt.PenStyle.DotLine, 2.0, part="reference")
            )
        if proposed[0] is not None:
            entries.append(
                Entry("as proposed", ink.accent, Qt.PenStyle.DashLine, 2.5, part="proposed")
            )
        limits = words.limits(table)
        if limits:
            entries.append(Entry(limits, ink.faint, width=2.5, part="limits"))
        if locked_cells(table)[self.line_index()].any():
            entries.append(Entry("locked", ink.line, mark="locked", filled=True))
        severities = {str(severity) for severity, _ in self.findings.values()}
        for severity in ("error", "warning", "note"):
            if severity in severities:
                entries.append(Entry(severity, ink.of(severity), mark=severity))
        return entries + line_overlay.entries(
            self.desk.driving.cell_marks, self.trail(table), table, ink
        )

    # -- the view --------------------------------------------------------------------------------

    def fit(self) -> None:
        """Show all points, the overlays, and the limits if they are near."""
        table, canvas = self.desk.table, self.canvas
        if table is None or canvas is None or self.unfit(table):
            return
        x = positions(table.axes[self.along()])
        # Room for half a mark at the ends, however small the area is.
        pad_x, pad_y = (min(max(0.06, 9 / max(size, 1.0)), 0.2) for size in canvas.size_in_view())
        pad = (x[-1] - x[0]) * pad_x or 0.6
        low, high = self._extent(table)
        span = high - low
        if span <= 0:
            span = max(10 * table.storage.resolution, abs(high) * 0.1) or 1.0
            low, high = low - span / 2, high + span / 2
        for limit in (table.lower, table.upper):
            if np.isfinite(limit) and low - span / 2 <= limit <= high + span / 2:
                low, high = min(low, limit), max(high, limit)
        margin = (high - low) * pad_y
        self._floor = low
        canvas.show_range((x[0] - pad, x[-1] + pad), (low - margin, high + margin))
        self._fitted = (canvas.shown_range(), canvas.size_in_view())

    def _extent(self, table: Table) -> tuple[float, float]:
        """Return the lowest and highest value to show."""
        arrays = [table.values[self.line_index()].reshape(-1), self.others(table).reshape(-1)]
        arrays += [values for _, values in self._overlay_lines(table)]
        values = np.concatenate(arrays)
        values = values[np.isfinite(values)]
        if values.size:
            return float(values.min()), float(values.max())
        finite = [v for v in (table.lower, table.upper) if np.isfinite(v)]
        return (min(finite), max(finite)) if finite else (0.0, 1.0)

    def _keep_in_view(self, table: Table) -> None:
        """Widen the view if an edit put a point outside; never move it otherwise."""
        assert self.canvas is not None
        (x0, x1), (y0, y1) = self.canvas.shown_range()
        x, y = self.points(table)
        y = y[(x >= x0) & (x <= x1) & np.isfinite(y)]
        if y.size and (y.min() < y0 or y.max() > y1):
            low, high = min(y0, float(y.min())), max(y1, float(y.max()))
            margin = (high - low) * 0.05
            self.canvas.show_range((x0, x1), (low - margin, high + margin))

    # -- pointer ---------------------------------------------------------------------------------

    def near_point(self, at: QPointF) -> int | None:
        """Return the point of the line in work under the pointer, or None."""
        table = self.desk.table
        if table is None or self.canvas is None:
            return None
        x, y = self.points(table)
        px, py = self.canvas.pixel()
        away = np.hypot((x - at.x()) / px, (y - at.y()) / py)
        nearest = int(np.argmin(away))
        return nearest if away[nearest] <= GRAB else None

    def on_pressed(self, at: QPointF, event: object) -> None:
        """Take hold of a point, or begin a selection along the axis."""
        assert isinstance(event, QMouseEvent)
        table = self.desk.table
        if table is None:
            return
        point = self.near_point(at)
        toggles = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        if point is not None and toggles:
            chosen = self.desk.selection.copy()
            chosen[self.cell(point)] ^= True
            self.desk.set_cursor(self.cell(point), keep_selection=True)
            self.desk.set_selection(chosen)
            return
        if point is not None:
            cell = self.cell(point)
            self.desk.set_cursor(cell)
            y = float(self.points(table)[1][point])
            # The point keeps its distance from the pointer: taking hold moves nothing.
            self._drag = Drag(cell, merge_key("drag"), at.y(), at.y(), y)
            return
        if self.pick_other(at):
            return
        x = positions(table.axes[self.along()])
        nearest = int(np.argmin(np.abs(x - at.x())))
        self._anchor = nearest
        self.desk.set_cursor(self.cell(nearest))

    def pick_other(self, at: QPointF) -> bool:
        """Answer a press beside the line in work; True if something was picked."""
        return False

    def on_moved(self, at: QPointF, event: object) -> None:
        """Drag the point, or extend the selection."""
        assert isinstance(event, QMouseEvent)
        table = self.desk.table
        if table is None or self.canvas is None:
            return
        if self._drag is not None:
            self._drag_to(
                table, at.y(), bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
            )
        elif self._anchor is not None:
            x = positions(table.axes[self.along()])
            self.select_to(int(np.argmin(np.abs(x - at.x()))))

    def _drag_to(self, table: Table, y: float, fine: bool) -> None:
        drag, canvas = self._drag, self.canvas
        assert drag is not None
        assert canvas is not None
        grain = canvas.pixel()[1]
        if not drag.began and abs(y - drag.start_y) < 3 * grain:
            return
        drag.began = True
        drag.target += (y - drag.last_y) * (FINE if fine else 1.0)
        drag.last_y = y
        new = snapped(table, drag.target, grain * (FINE if fine else 1.0))
        if new == table.values[drag.cell]:
            return

        def change() -> Change:
            values = table.values.copy()
            values[drag.cell] = new
            where = words.place(table, drag.cell)
            return values_change(table, values, f"Drag {table.label} at {where}", merge=drag.merge)

        if self.desk.do(change):
            drag.edited = True
        else:
            self.end_gesture()  # refused, and told so once

    def on_released(self, at: QPointF, event: object) -> None:
        """Let go."""
        self.end_gesture()

    def end_gesture(self) -> None:
        """Let go of the point or the selection."""
        drag, self._drag, self._anchor = self._drag, None, None
        if drag is not None and drag.edited:
            if self.desk.current is not None:
                self.desk.current.break_merge()
            self.mark(Part.VALUES)  # the view widens only now, not under the pointer

    def on_hovered(self, at: QPointF) -> None:
        """Show by the pointer that a point can be taken."""
        if self.canvas is None or self.desk.table is None:
            return
        point = self.near_point(at)
        if point is None:
            self.canvas.viewport().unsetCursor()
        elif locked_cells(self.desk.table)[self.cell(point)]:
            self.canvas.viewport().setCursor(Qt.CursorShape.ForbiddenCursor)
        else:
            self.canvas.viewport().setCursor(Qt.CursorShape.SizeVerCursor)

    def tip_at(self, at: QPointF) -> str:
        """Return what is known of the point under the pointer."""
        table = self.desk.table
        point = self.near_point(at)
        if table is None or point is None:
            return ""
        cell = self.cell(point)
        lines = [f"{words.place(table, cell)}: {words.value(table, cell)}"]
        if cell in self.findings:
            severity, sentence = self.findings[cell]
            lines.append(f"{severity.capitalize()}: {sentence}")
        if locked_cells(table)[cell]:
            lines.append("Locked: the value stays as it is.")
        if self.mark_words(cell):
            lines.append(f"{self.mark_words(cell).capitalize()}.")
        saved = self.desk.saved_table
        if saved is not None and saved.shape == table.shape:
            was = float(saved.values[cell])
            if was != table.values[cell] and np.isfinite(was):
                lines.append(f"As saved: {table.said(was, 9)}")
        return "\n".join(lines)

    # -- keys ------------------------------------------------------------------------------------

    def select_to(self, point: int) -> None:
        """Select the line's points from the anchor to one, which the cursor goes to."""
        table = self.desk.table
        if table is None:
            return
        along = self.along()
        anchor = self.desk.cursor[along] if self._anchor is None else self._anchor
        self._anchor = anchor
        low, high = sorted((anchor, min(max(point, 0), table.shape[along] - 1)))
        chosen = np.zeros(table.shape, dtype=bool)
        index = list(self.line_index())
        index[along] = slice(low, high + 1)
        chosen[tuple(index)] = True
        self.desk.set_cursor(self.cell(point), keep_selection=True)
        self.desk.set_selection(chosen)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Move along the line, step values, fit the view."""
        table = self.desk.table
        if table is None or self.unfit(table):
            super().keyPressEvent(event)
            return
        shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        control = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        along = self.along()
        at, last = self.desk.cursor[along], table.shape[along] - 1
        match event.key():
            case Qt.Key.Key_Left | Qt.Key.Key_Right:
                right = event.key() == Qt.Key.Key_Right
                goal = (last if right else 0) if control else at + (1 if right else -1)
                if shift:
                    self.select_to(goal)
                else:
                    self._anchor = None
                    self.desk.set_cursor(self.cell(goal))
            case Qt.Key.Key_Up if not control:
                self.step_values(1, event)
            case Qt.Key.Key_Down if not control:
                self.step_values(-1, event)
            case Qt.Key.Key_PageUp if not control:
                self.step_values(10, event)
            case Qt.Key.Key_PageDown if not control:
                self.step_values(-10, event)
            case Qt.Key.Key_Home:
                self.fit()
            case Qt.Key.Key_Escape if self._drag is not None and self._drag.edited:
                self._cancel_drag()
            case _:
                super().keyPressEvent(event)

    def _cancel_drag(self) -> None:
        """Put the point back where the drag took it up."""
        self.end_gesture()
        if self.desk.current is not None:
            self.desk.current.undo()


def _family(axis: Axis, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return many lines over one axis as one, parted by NaN."""
    if not values.size:
        return np.empty(0), np.empty(0)
    x, first = inner_line(axis, values[0])
    y = np.repeat(values, 2, axis=1)[:, :-1] if first.size != axis.values.size else values
    y = np.concatenate([y, np.full((y.shape[0], 1), np.nan)], axis=1)
    return np.tile(np.append(x, np.nan), y.shape[0]), y.reshape(-1)
