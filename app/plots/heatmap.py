"""A map as colours over its true breakpoints, laid out as the grid is: first row on top."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QKeyEvent, QMouseEvent
from PySide6.QtWidgets import QHBoxLayout, QWidget

from app.colours import colours_of, difference_map, value_map, wants_dark_text
from app.desk import Desk
from app.plots import words
from app.plots.colour_bar import ColourBar
from app.plots.geometry import edges, on_axes_of, positions
from app.plots.heat_items import HeatItems
from app.plots.legend import Entry
from app.plots.overlay_items import OverlayItems, mark_entries, trail_entries
from app.plots.view import Cell, Part, PlotView
from app.scale import about_zero, beyond, is_signed, span_of
from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.labels import NO_LABELS
from calib_model.core.numbers import with_unit
from calib_model.core.planes import plane_index
from calib_model.core.table import Table
from calib_model.core.units import shown
from calib_model.editing.locks import locked_cells

if TYPE_CHECKING:
    from app.plots.canvas import Canvas

SIGN_ROOM = 11.0
"""A cell narrower or lower than this, in screen units, carries no sign mark."""


class Show(StrEnum):
    """What the colours stand for."""

    VALUES = "values"
    FROM_SAVED = "difference from the saved state"
    FROM_REFERENCE = "difference from the reference set"


class HeatMapView(PlotView):
    """The map in work (of three or four axes, the plane at the cursor)."""

    _items: HeatItems
    _over: OverlayItems
    _anchor: Cell | None = None
    _dragging = False

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.mode = Show.VALUES
        self.bar = ColourBar(self)
        self.bar.hide()
        self._x = self._y = np.zeros(2)  # the cells' edges
        self.plane: FloatArray = np.zeros((1, 1))
        self.setToolTip(
            "Click a cell, drag over a rectangle; arrow keys move, Shift extends, Page Up and "
            "Page Down step the values. The wheel zooms, Home shows everything."
        )

    def set_mode(self, mode: Show) -> None:
        """Show values or differences."""
        if mode is not self.mode:
            self.mode = mode
            self.mark(Part.VALUES)

    # -- drawing ---------------------------------------------------------------------------------

    def unfit(self, table: Table | None) -> str:
        """Return why there is no heat map."""
        if table is None:
            return "No table is open. Choose one in the table list."
        if table.values.ndim < 2:
            return f"{table.label} is not a map ({table.kind})."
        return ""

    def build(self, canvas: Canvas) -> None:
        """Make the items."""
        # As in the grid, rows run down: a cell is found at the same place in both.
        canvas.box.invertY(True)
        self._items = HeatItems(canvas)
        self._over = OverlayItems(canvas)

    def page_of(self, canvas: Canvas) -> QWidget:
        """Stand the colour bar beside the canvas."""
        page = QWidget(self)
        row = QHBoxLayout(page)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(2)
        row.addWidget(canvas, 1)
        row.addWidget(self.bar)
        self.bar.show()
        return page

    def describe(self, table: Table) -> str:
        """Name what is drawn."""
        rows, columns = (words.axis_title(a) for a in table.axes[:2])
        return f"Heat map of {words.value_title(table)}, over {rows} and {columns}"

    def redraw(self, table: Table, stale: Part) -> None:
        """Bring what is out of date up to date."""
        canvas, items = self.canvas, self._items
        assert canvas is not None
        if stale & Part.COLOURS:
            items.set_inks(self.inks)
            self._over.set_inks(self.inks)
        if stale & Part.TABLE:
            rows, columns = table.axes[:2]
            x, y = positions(columns), positions(rows)
            self._x, self._y = edges(x), edges(y)
            canvas.bottom.set_breakpoints(x, columns.values, columns.said_short)
            canvas.bottom.set_text(words.axis_name(columns), shown(columns.unit))
            canvas.left.set_breakpoints(y, rows.values, rows.said_short)
            canvas.left.set_text(words.axis_name(rows), shown(rows.unit))
            items.set_edges(self._x, self._y)
            self.fit()
        if stale & Part.CURSOR and self.desk.cursor[2:] != self._further:
            self._further = self.desk.cursor[2:]
            stale |= Part.VALUES
        if stale & (Part.VALUES | Part.OVERLAYS | Part.COLOURS):
            self._draw_cells(table)
        marked = Part.VALUES | Part.OVERLAYS | Part.COLOURS | Part.FINDINGS | Part.SCALE
        if stale & (marked | Part.MARKS):
            self._draw_marks(table)
        if stale & (Part.VALUES | Part.OVERLAYS | Part.COLOURS | Part.MARKS | Part.SCALE):
            self._draw_cell_marks(table)
        if stale & (Part.VALUES | Part.TRAIL):
            self._draw_trail(table)
        if stale & (Part.VALUES | Part.SELECTION | Part.CURSOR):
            items.selection(
                self.desk.selection[plane_index(self.desk.cursor[2:])], self._x, self._y
            )
            row, column = self.desk.cursor[:2]
            items.cursor(
                row,
                column,
                self._x,
                self._y,
                positions(table.axes[1])[column],
                positions(table.axes[0])[row],
            )
            self.bar.show_value(float(self.plane[row, column]))

    _further: Cell = ()

    def compared(self) -> tuple[FloatArray | None, str]:
        """Return what is drawn: a difference of the whole table, or None and why there is none."""
        table, proposed = self.desk.table, self.desk.proposed_table
        if table is not None and proposed is not None and self.mode is Show.VALUES:
            values = on_axes_of(table, proposed)
            if values is not None:
                return np.asarray(values - table.values), "Colours show what is proposed to change."
        if table is None or self.mode is Show.VALUES:
            return None, ""
        saved = self.mode is Show.FROM_SAVED
        other = self.desk.saved_table if saved else self.desk.reference_table
        if other is None:
            if saved:
                return None, "The table is new since the last save: its values are shown."
            if self.desk.reference is None:
                return None, "No reference set is chosen: the values are shown."
            return None, "The reference set has no such table: the values are shown."
        values = on_axes_of(table, other)
        if values is None:
            return None, "The two tables' axes or units do not go together: the values are shown."
        return np.asarray(table.values - values), ""

    def _draw_cells(self, table: Table) -> None:
        difference, why = self.compared()
        dark = self.inks.dark
        whole = table.values if difference is None else difference
        self.plane = whole[plane_index(self.desk.cursor[2:])]
        finite = self.plane[np.isfinite(self.plane)]
        self._signed = difference is not None
        if difference is not None:
            span = span_of(np.abs(finite))
            most = span[1] if span is not None else float(np.abs(finite).max(initial=0.0))
            most = most or table.storage.resolution or 1.0
            low, high, ramp = -most, most, difference_map(dark=dark)
        else:
            span = span_of(self.plane)
            both = is_signed(span)
            if span is None:
                middle = float(finite[0]) if finite.size else 0.5
                half = table.storage.resolution or abs(middle) * 0.01 or 0.5
                span = middle - half, middle + half
            low, high = about_zero(span) if both else span
            ramp = (difference_map if both else value_map)(dark=dark)
        off = beyond(self.plane, (low, high))
        self._off = off & (self.plane > high), off & (self.plane < low)
        rgb = colours_of(self.plane, low, high, ramp)
        self._items.cells(rgb, np.isnan(self.plane))
        self._light = wants_dark_text(rgb)
        labels = NO_LABELS if self._signed else table.labels
        self.bar.show_scale(ramp, low, high, shown(table.unit), signed=self._signed, labels=labels)
        same = ""
        if difference is not None and not np.nan_to_num(self.plane).any():
            same = "Nothing differs here."
        self.show_note(
            words.further_place(table, self.desk.cursor),
            words.disorder(table),
            why,
            same,
            words.empties(table.values[plane_index(self.desk.cursor[2:])]),
        )
        self.show_key(self.key(table))

    _signed = False
    _off: tuple[BoolArray, BoolArray] = np.zeros((1, 1), dtype=bool), np.zeros((1, 1), dtype=bool)
    _light: BoolArray = np.zeros((1, 1), dtype=bool)

    def _draw_marks(self, table: Table) -> None:
        assert self.canvas is not None
        items = self._items
        px, py = self.canvas.pixel()
        wide = np.diff(self._x) / px >= SIGN_ROOM
        tall = np.diff(self._y) / py >= SIGN_ROOM
        room = tall[:, None] & wide[None, :]
        driven = self.desk.driving.cell_marks is not None
        if driven:  # a mode of its own: its marks stand alone, and the lists say the rest
            room = np.zeros_like(room)
        if self._signed:
            with np.errstate(invalid="ignore"):
                items.signs((self.plane > 0) & room, (self.plane < 0) & room, self._light)
        else:
            none = np.zeros_like(room)
            items.signs(none, none, self._light)
        above, below = self._off
        items.off_scale(
            above & room & (not self._signed), below & room & (not self._signed), self._light
        )
        locked = locked_cells(table)[plane_index(self.desk.cursor[2:])]
        items.locks(locked & (not driven), self._light)
        further = self.desk.cursor[2:]
        marks = np.full(self.plane.shape, "", dtype=object)
        for cell, (severity, _) in self.findings.items():
            if cell[2:] == further and not driven:
                marks[cell[:2]] = str(severity)
        items.found(marks)
        self.show_key(self.key(table))

    def _draw_cell_marks(self, table: Table) -> None:
        """Draw what is said of the cells, a little below the middles, off signs and cross-hair."""
        assert self.canvas is not None
        marks = self.desk.driving.cell_marks
        if marks is None:
            self._over.no_marks()
        else:
            index = plane_index(self.desk.cursor[2:])
            wide, tall = np.diff(self._x), np.diff(self._y)
            px, py = self.canvas.pixel()
            room = np.minimum(wide[None, :] / px, tall[:, None] / py * 0.6) - 3.0
            x, y = np.meshgrid(self._x[:-1] + wide / 2, self._y[:-1] + tall * 0.72)
            beyond = np.zeros_like(room, bool) if marks.beyond is None else marks.beyond[index]
            self._over.show_marks(
                x,
                y,
                marks.levels[index],
                marks.full[index],
                beyond,
                self._light,
                room,
                np.broadcast_to(np.minimum(wide * 0.3, 11.0 * px), room.shape),
            )
        self.show_key(self.key(table))

    def _draw_trail(self, table: Table) -> None:
        trail = self.trail(table)
        if trail is None:
            self._over.show_trail(np.empty(0), np.empty(0), inside=True)
        else:
            x, y = trail.clipped(table, 1), trail.clipped(table, 0)
            self._over.show_trail(x, y, inside=trail.inside(table))
        self.show_key(self.key(table))

    def key(self, table: Table) -> list[Entry]:
        """Return the entries of the key."""
        ink = self.inks
        trail = self.trail(table)
        entries = mark_entries(self.desk.driving.cell_marks, ink)
        if trail is not None:
            entries += trail_entries(ink, inside=trail.inside(table))
        if self.desk.driving.cell_marks is not None:
            return entries
        if self._signed:
            words_of = {
                Show.VALUES: "than now, as proposed",
                Show.FROM_SAVED: "than saved",
                Show.FROM_REFERENCE: "than reference",
            }
            against = words_of[self.mode]
            entries.append(Entry(f"higher {against}", ink.line, mark="plus"))
            entries.append(Entry(f"lower {against}", ink.line, mark="minus"))
        above, below = self._off
        if above.any():
            entries.append(Entry("above the colours' range", ink.line, mark="up"))
        if below.any():
            entries.append(Entry("below the colours' range", ink.line, mark="down"))
        if np.isnan(self.plane).any():
            entries.append(Entry("hatched: empty", ink.quiet, mark="box"))
        if locked_cells(table)[plane_index(self.desk.cursor[2:])].any():
            entries.append(Entry("locked", ink.line, mark="locked", filled=True))
        severities = {str(severity) for severity, _ in self.findings.values()}
        for severity in ("error", "warning", "note"):
            if severity in severities:
                entries.append(Entry(severity, ink.of(severity), mark=severity))
        return entries

    def show_read_out(self, table: Table) -> None:
        """Write what is under the cross-hair, with the difference where one is shown."""
        super().show_read_out(table)
        difference, _ = self.compared()
        if difference is not None:
            amount = float(difference[self.desk.cursor])
            if np.isfinite(amount):
                sign = "+" if amount > 0 else ""
                against = {
                    Show.VALUES: "proposed",
                    Show.FROM_SAVED: "against saved",
                    Show.FROM_REFERENCE: "against reference",
                }[self.mode]
                text = f"{sign}{with_unit(amount, table.unit)} {against}"
                self.say(f"{self.read_out.whole}; {text}")

    def fit(self) -> None:
        """Show all cells."""
        if self.canvas is not None:
            x, y = self._x, self._y
            self.canvas.show_range((float(x[0]), float(x[-1])), (float(y[0]), float(y[-1])))

    # -- pointer ---------------------------------------------------------------------------------

    def cell_at(self, at: QPointF) -> Cell:
        """Return the cell at a place; beside the map, the nearest one."""
        row = int(np.clip(np.searchsorted(self._y, at.y(), side="right") - 1, 0, self._y.size - 2))
        column = int(
            np.clip(np.searchsorted(self._x, at.x(), side="right") - 1, 0, self._x.size - 2)
        )
        return (row, column, *self.desk.cursor[2:])

    def on_pressed(self, at: QPointF, event: object) -> None:
        """Go to a cell; Shift extends, Ctrl adds or takes away."""
        assert isinstance(event, QMouseEvent)
        cell = self.cell_at(at)
        if event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            chosen = self.desk.selection.copy()
            chosen[cell] ^= True
            self.desk.set_cursor(cell, keep_selection=True)
            self.desk.set_selection(chosen)
            return
        self._dragging = True
        if event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            self.select_to(cell)
        else:
            self._anchor = cell
            self.desk.set_cursor(cell)

    def on_moved(self, at: QPointF, event: object) -> None:
        """Select the rectangle up to the pointer."""
        if self._dragging:
            self.select_to(self.cell_at(at))

    def on_released(self, at: QPointF, event: object) -> None:
        """Let go."""
        self.end_gesture()

    def end_gesture(self) -> None:
        """Let go of the selection."""
        self._dragging = False

    def tip_at(self, at: QPointF) -> str:
        """Return what is known of the cell under the pointer."""
        table = self.desk.table
        if table is None or self.unfit(table):
            return ""
        inside = self._x[0] <= at.x() <= self._x[-1] and self._y[0] <= at.y() <= self._y[-1]
        if not inside:
            return ""
        cell = self.cell_at(at)
        lines = [f"{words.place(table, cell)}: {words.value(table, cell)}"]
        if cell in self.findings:
            severity, sentence = self.findings[cell]
            lines.append(f"{severity.capitalize()}: {sentence}")
        if locked_cells(table)[cell]:
            lines.append("Locked: the value stays as it is.")
        if self.mark_words(cell):
            lines.append(f"{self.mark_words(cell).capitalize()}.")
        return "\n".join(lines)

    # -- keys ------------------------------------------------------------------------------------

    def select_to(self, cell: Cell) -> None:
        """Select the rectangle from the anchor to a cell, which the cursor goes to."""
        table = self.desk.table
        if table is None:
            return
        anchor = self._anchor if self._anchor is not None else self.desk.cursor
        self._anchor = anchor
        cell = tuple(min(max(i, 0), n - 1) for i, n in zip(cell, table.shape, strict=True))
        chosen = np.zeros(table.shape, dtype=bool)
        ends = zip(anchor[:2], cell[:2], strict=True)
        rows, columns = (slice(min(a, b), max(a, b) + 1) for a, b in ends)
        chosen[plane_index(cell[2:])][rows, columns] = True
        self.desk.set_cursor(cell, keep_selection=True)
        self.desk.set_selection(chosen)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Move, extend, step values, fit."""
        table = self.desk.table
        if table is None or self.unfit(table):
            super().keyPressEvent(event)
            return
        move = _MOVES.get(Qt.Key(event.key()))
        if move is not None:
            cell = list(self.desk.cursor)
            number, way = move
            if event.modifiers() & Qt.KeyboardModifier.ControlModifier:
                cell[number] = table.shape[number] - 1 if way > 0 else 0
            else:
                cell[number] += way
            if event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
                if self.desk.selection.sum() == 1:
                    self._anchor = self.desk.cursor
                self.select_to(tuple(cell))
            else:
                self._anchor = None
                self.desk.set_cursor(tuple(cell))
        elif event.key() in (Qt.Key.Key_PageUp, Qt.Key.Key_PageDown) and not event.modifiers():
            self.step_values(1 if event.key() == Qt.Key.Key_PageUp else -1, event)
        elif event.key() == Qt.Key.Key_Home:
            self.fit()
        else:
            super().keyPressEvent(event)


_MOVES = {
    Qt.Key.Key_Up: (0, -1),
    Qt.Key.Key_Down: (0, 1),
    Qt.Key.Key_Left: (1, -1),
    Qt.Key.Key_Right: (1, 1),
}
