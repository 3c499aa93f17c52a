"""What the pointer does on a surface: pick, drag nodes, turn, shift, zoom."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QMouseEvent

from app.plots import words
from app.plots.lines import FINE, GRAB
from app.plots.nudge import merge_key
from app.plots.surface.moves import moved
from app.plots.surface.scene import picked
from app.plots.surface.scene_view import SceneView
from app.plots.view import Cell
from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.editing.change import Change, values_change
from calib_model.editing.locks import locked_cells

REACH = 40.0
"""How far from a node a click still means it, in screen units."""
STILL = 4.0
"""A pointer that moved less than this did not move."""
FLAT = 24.0
"""A box that appears lower than this is seen from above: up and down cannot be told."""
TURN = 0.5
"""Degrees for each screen unit."""


@dataclass
class Drag:
    """Nodes in the hand."""

    cell: Cell
    selection: BoolArray
    start: FloatArray
    node: FloatArray
    merge: str
    start_y: float
    last_y: float
    target: float
    began: bool = False
    edited: bool = False


@dataclass
class Grip:
    """A button pressed beside the nodes in the hand: turns or shifts, or is a click."""

    start: QPointF
    last: QPointF
    button: Qt.MouseButton
    moved: bool = False


class Hand:
    """The pointer on a surface.

    Parameters
    ----------
    view : SceneView
    """

    def __init__(self, view: SceneView) -> None:
        self.view = view
        self.drag: Drag | None = None
        self.grip: Grip | None = None

    # -- nodes -----------------------------------------------------------------------------------

    def node_at(self, place: QPointF, reach: float, among: BoolArray | None = None) -> Cell | None:
        """Return the cell whose node is meant by a place, or None."""
        view = self.view
        if view.canvas is None or not view.current:
            return None
        where = (place.x(), place.y())
        node = picked(view.lens, view.sheets[0].sheet, view.frame, where, reach, among)
        return None if node is None else (*node, *view.cell[2:])

    def grabbed(self, place: QPointF) -> Cell | None:
        """Return the selected cell that can be taken hold of at a place, or None.

        A node that lies nearer is meant, also beside a selected one.
        """
        if not (self.view.editable and self.view.current):
            return None
        cell = self.node_at(place, GRAB, self.view.chosen_nodes())
        return cell if cell is not None and self.node_at(place, GRAB) == cell else None

    # -- pressed, moved, released ----------------------------------------------------------------

    def press(self, event: QMouseEvent) -> None:
        """Take hold of a selected node, or of the scene."""
        view = self.view
        view.setFocus(Qt.FocusReason.MouseFocusReason)
        view.refresh()  # a press must meet what the desk holds, not what was drawn last
        if self.drag is not None or self.grip is not None:
            return
        place, table = event.position(), view.desk.table
        left = event.button() == Qt.MouseButton.LeftButton
        modifiers = event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier
        cell = self.grabbed(place) if left and not modifiers else None
        if cell is None or table is None:
            self.grip = Grip(place, place, event.button())
            return
        sheet, frame = view.sheets[0].sheet, view.frame
        self.drag = Drag(
            cell,
            view.desk.selection.copy(),
            table.values.copy(),
            sheet.nodes(frame)[cell[:2]],
            merge_key("drag"),
            place.y(),
            place.y(),
            float(table.values[cell]),
        )

    def move(self, event: QMouseEvent) -> None:
        """Drag the nodes, or turn or shift the scene."""
        if self.drag is not None:
            fine = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
            self._drag_to(self.drag, event.position().y(), fine)
        elif self.grip is not None:
            self._grip_to(self.grip, event.position())

    def release(self, event: QMouseEvent) -> None:
        """Let go; a press that did not move was a click."""
        place, modifiers = event.position(), event.modifiers()
        if self.drag is not None:
            clicked, cell = not self.drag.began, self.drag.cell
            self.let_go()
            if clicked:
                self.view.set_cell(cell)
        elif self.grip is not None and event.button() == self.grip.button:
            clicked = not self.grip.moved and self.grip.button == Qt.MouseButton.LeftButton
            self.let_go()
            if clicked:
                self._click(place, modifiers)

    def _click(self, place: QPointF, modifiers: Qt.KeyboardModifier) -> None:
        cell = self.node_at(place, REACH)
        if cell is None:
            return
        view = self.view
        if modifiers & Qt.KeyboardModifier.ControlModifier and view.linked:
            chosen = view.desk.selection.copy()
            chosen[cell] ^= True
            view.desk.set_cursor(cell, keep_selection=True)
            view.desk.set_selection(chosen)
        elif modifiers & Qt.KeyboardModifier.ShiftModifier and view.linked:
            view.select_to(cell)
        else:
            view.set_cell(cell)

    def let_go(self) -> None:
        """Let go of everything; a drag becomes one undo step."""
        drag, self.drag, self.grip = self.drag, None, None
        if drag is not None and drag.edited and self.view.desk.current is not None:
            self.view.desk.current.break_merge()
            self.view.settle()

    def cancel(self) -> bool:
        """Put dragged nodes back; False if none were dragged."""
        drag = self.drag
        if drag is None or not drag.edited:
            return False
        self.let_go()
        if self.view.desk.current is not None:
            self.view.desk.current.undo()
        return True

    # -- dragging --------------------------------------------------------------------------------

    def _drag_to(self, drag: Drag, y: float, fine: bool) -> None:
        view, lens = self.view, self.view.lens
        table = view.desk.table
        if table is None:
            return
        if not drag.began:
            if abs(y - drag.start_y) < STILL:
                return
            why = self._refusal(drag)
            if why:
                view.desk.tell(why, refused=True)
                self.drag = None
                return
            drag.began = True
        before, now = (lens.height_at(drag.node, at) for at in (drag.last_y, y))
        per_height = view.frame.per_height()
        drag.last_y = y
        drag.target += (now - before) * per_height * (FINE if fine else 1.0)
        grain = per_height / max(lens.pixels_per_height(drag.node), 1e-9)
        grain *= FINE if fine else 1.0
        values = moved(table, drag.start, drag.selection, drag.cell, drag.target, grain)
        if np.array_equal(values, table.values, equal_nan=True):
            return
        count = int(drag.selection.sum())

        def change() -> Change:
            where = words.place(table, drag.cell)
            title = (
                f"Drag {table.label} at {where}"
                if count == 1
                else f"Drag {count} cells of {table.label}"
            )
            return values_change(table, values, title, merge=drag.merge)

        if view.desk.do(change):
            drag.edited = True
        else:
            self.let_go()  # refused, and told so once

    def _refusal(self, drag: Drag) -> str:
        """Return why the nodes cannot be dragged; empty if they can."""
        view, table = self.view, self.view.desk.table
        assert table is not None
        if locked_cells(table)[drag.cell]:
            return (
                "The cell is locked. "
                "Unlock first (Free locked cells) if the value is meant to change."
            )
        if np.isnan(drag.start[drag.cell]):
            return "The cell is empty. Type a value in the grid first."
        tall = view.lens.pixels_per_height(drag.node) * 2 * 0.6 / view.camera.zoom
        if not tall >= FLAT:
            return (
                "Seen from above, up and down cannot be told. Look from a corner (C), or step "
                "the value with Page Up and Page Down."
            )
        return ""

    # -- the scene -------------------------------------------------------------------------------

    def _grip_to(self, grip: Grip, place: QPointF) -> None:
        if not grip.moved and (place - grip.start).manhattanLength() < STILL:
            return
        step = place - grip.last
        grip.moved, grip.last = True, place
        camera, lens = self.view.camera, self.view.lens
        if grip.button == Qt.MouseButton.LeftButton:
            self.view.set_camera(camera.turned(-step.x() * TURN, step.y() * TURN))
        else:
            self.view.set_camera(
                camera.panned(2 * step.x() / lens.width, -2 * step.y() / lens.height)
            )

    def hover(self, place: QPointF) -> None:
        """Show by the pointer what a press would do."""
        canvas, table = self.view.canvas, self.view.desk.table
        if canvas is None:
            return
        cell = self.grabbed(place)
        if cell is None or table is None:
            canvas.unsetCursor()
        elif locked_cells(table)[cell]:
            canvas.setCursor(Qt.CursorShape.ForbiddenCursor)
        else:
            canvas.setCursor(Qt.CursorShape.SizeVerCursor)
