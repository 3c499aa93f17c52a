"""The surface of the table in work: seen from any side, picked and dragged at its nodes."""

from __future__ import annotations

from collections.abc import Iterable
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QTimer, Signal
from PySide6.QtGui import QKeyEvent, QPainter
from PySide6.QtWidgets import QApplication, QWidget

from app.colours import rgba
from app.desk import Desk
from app.plots import words
from app.plots.surface import marks, rulers
from app.plots.surface.hand import REACH, Hand
from app.plots.surface.keys import press_key
from app.plots.surface.layers import LayerLike, Style
from app.plots.surface.notes import beside_each_other, key_of, node_marks
from app.plots.surface.over import Over
from app.plots.surface.permit import Permit
from app.plots.surface.scene_view import SceneView
from app.plots.view import Cell, Findings, Part
from calib_model.core.arrays import BoolArray
from calib_model.core.planes import plane_index
from calib_model.core.table import Table
from calib_model.core.units import shown
from calib_model.editing.locks import locked_cells

if TYPE_CHECKING:
    from app.plots.surface.items import SurfaceItems


class SurfaceView(SceneView):
    """A map over its true breakpoints as a surface in space.

    Parameters
    ----------
    desk : Desk
        Cursor, selection and edits go through it.
    layers : iterable of Layer or (Table, Style) or (Table, Style, name), optional
        Tables to show in place of the one in work; they are not edited here.

    Signals
    -------
    choice_changed : str
        Surfaces are drawn ``auto``, ``on`` or ``off``.
    """

    choice_changed = Signal(str)

    _items: SurfaceItems

    def __init__(
        self,
        desk: Desk,
        parent: QWidget | None = None,
        layers: Iterable[LayerLike] | None = None,
    ) -> None:
        super().__init__(desk, parent, layers)
        self.hand = Hand(self)
        self._picture: marks.Picture | None = None
        self._over = Over(self)
        self.permit = Permit(self)
        self.permit.changed.connect(self._on_permit)
        self._looking = QTimer(self)
        self._looking.setSingleShot(True)
        self._looking.timeout.connect(self._look_whether_drawn)
        self.setToolTip(
            "Click a node to pick it; drag a picked node, or a selected patch, up or down (Shift: "
            "fine steps). Drag elsewhere to turn, with the right button to shift; the wheel "
            "zooms. Arrow keys move as in the grid, Shift extends, Page Up and Page Down step "
            "the values. C, F, S and T look from a corner, the front, the side and the top, P "
            "changes the perspective; J, L, I and K turn, plus and minus zoom, Home shows "
            "everything, O copies the picture."
        )

    # -- for whoever owns the view ---------------------------------------------------------------

    @property
    def choice(self) -> str:
        """Whether surfaces are drawn: ``auto`` (where OpenGL works), ``on`` or ``off``."""
        return self.permit.choice

    def set_choice(self, choice: str) -> None:
        """Force surfaces on or off, or leave it to the computer.

        Parameters
        ----------
        choice : str
            ``auto``, ``on`` or ``off``.  The variable ``BITEPOINT_SURFACE`` holds the first one.
        """
        if self.permit.choose(choice):
            self.choice_changed.emit(choice)

    # -- what PlotView asks ----------------------------------------------------------------------

    def unfit(self, table: Table | None) -> str:
        """Return why there is no surface."""
        if table is None:
            return "No table is open. Choose one in the table list."
        if table.values.ndim < 2:
            if not table.values.ndim:
                return f"{table.label} is a single value: there is no surface to draw."
            return f"{table.label} is a curve: the curve plot shows it."
        if min(table.shape[:2]) < 2:
            return f"{table.label} has a single breakpoint on an axis: there is no surface to draw."
        return self.permit.notice()

    def _on_permit(self) -> None:
        self.mark(Part.TABLE)

    def _build(self) -> None:
        from app.plots.surface.canvas import SurfaceCanvas
        from app.plots.surface.items import SurfaceItems

        # Smooth edges cost a graphics card nothing and a software renderer half its speed.
        canvas = SurfaceCanvas(self, smooth=self.permit.accelerated())
        canvas.set_camera(self.camera)
        canvas.pressed.connect(self.hand.press)
        canvas.moved.connect(self.hand.move)
        canvas.released.connect(self.hand.release)
        canvas.hovered.connect(self.hand.hover)
        canvas.wheeled.connect(self._on_wheel)
        canvas.lens_changed.connect(self._on_lens)
        canvas.overlay.paint = self._paint
        canvas.tip_at = self.tip_at
        self.canvas = canvas
        self._drawn = self.page_of(canvas)
        self.pages.addWidget(self._drawn)
        self._items = SurfaceItems(canvas)
        self._looking.start(1500)
        # The first OpenGL widget makes Qt exchange the window's native one: it is hidden and
        # shown again, and the keyboard would be with nobody.
        held = QApplication.focusWidget()
        if held is not None and held.window() is self.window():
            QTimer.singleShot(0, held, lambda: _give_back(held))

    def _look_whether_drawn(self) -> None:
        """See to it that a surface that was forced on does not stay an empty area."""
        canvas = self.canvas
        if canvas is None or not canvas.isVisible() or canvas.isValid():
            return
        self.canvas, drawn, self._drawn = None, self._drawn, None
        self.colours.setParent(self)
        self.colours.hide()
        self.bar.setParent(self)
        self.bar.hide()
        if drawn is not None:
            self.pages.removeWidget(drawn)
            drawn.deleteLater()
        self.permit.give_up()

    # -- drawing ---------------------------------------------------------------------------------

    def describe(self, table: Table) -> str:
        """Name what is drawn."""
        rows, columns = (words.axis_title(a) for a in table.axes[:2])
        return f"Surface of {words.value_title(table)}, over {rows} and {columns}"

    def redraw(self, table: Table, stale: Part) -> None:
        """Bring what is out of date up to date."""
        assert self.canvas is not None
        if stale & Part.TABLE:
            self.stage.fit()
            self.anchor = None
        if stale & Part.COLOURS:  # the font may be another one as well
            self._sizes = None
        if stale & Part.CURSOR and self.cell[2:] != self._further:
            self._further = self.cell[2:]
            self.stage.fit()
            stale |= Part.VALUES
        if stale & (Part.VALUES | Part.OVERLAYS | Part.COLOURS):
            self._draw_sheets(table)
        if stale & (Part.VALUES | Part.CURSOR | Part.SELECTION | Part.COLOURS):
            self._draw_cursor()
        self.stage.cell = self.cell
        self._marked, self._held = self._findings_here(), self._locked(table)
        self._over.read(table)
        if stale & ~(Part.SELECTION | Part.SCALE):
            entries = key_of(self.sheets, self.inks, self._marked, self._held)
            self.legend.show_entries([*entries, *self._over.entries()])
        self._picture = None
        self.canvas.redraw()

    _further: Cell = ()

    def _draw_sheets(self, table: Table) -> None:
        assert self.canvas is not None
        held = self.hand.drag is not None
        self.stage.show(self.shown_layers(table), self.cell, held=held)
        first, span = self.sheets[0], self.stage.span
        difference = first.layer.style is Style.DIFFERENCE
        self._items.layers(self.sheets, self.frame, self.inks, span)
        self._draw_box()
        from app.plots.surface.items import ramp_of

        ramp = ramp_of(first.layer.style, dark=self.inks.dark)
        self.colours.show_scale(ramp, *span, shown(table.unit), signed=difference)
        left_out = (
            f"Not drawn, since axes or units do not go together: {', '.join(self.stage.left_out)}."
            if self.stage.left_out
            else ""
        )
        self.show_note(
            words.further_place(table, self.cell),
            words.disorder(table),
            left_out,
            words.empties(first.sheet.values),
        )
        self.canvas.set_margins(rulers.margins(self._rulers(table), self._measure()))

    def _draw_box(self) -> None:
        sheet = self.sheets[0].sheet
        columns, rows = self.frame.x(sheet.columns), self.frame.y(sheet.rows)
        lines = rulers.walls(rulers.back(self.lens), self.frame, columns, rows)
        self._sides = rulers.back(self.lens)
        colour = rgba(self.inks.faint)
        self._items.box.show(lines, colour)

    _sides: tuple[float, float] = (0.0, 0.0)

    def _draw_cursor(self) -> None:
        sheet, frame = self.sheets[0].sheet, self.frame
        row, column = self.cell[:2]
        self._items.cursor(sheet, frame, row, column, self.inks)
        chosen = self.chosen_nodes() & np.isfinite(sheet.values)
        self._items.selection(sheet.nodes(frame), chosen, self.inks)
        self.colours.show_value(float(sheet.values[row, column]))

    def _on_lens(self) -> None:
        self._picture = None
        if self.sheets and self._sides != rulers.back(self.lens):
            self._draw_box()

    def _on_wheel(self, steps: float) -> None:
        self.set_camera(self.camera.zoomed(1.15**steps))

    # -- numbers, titles, marks ------------------------------------------------------------------

    def _measure(self) -> rulers.Measure:
        if self._sizes is None:
            self._sizes = marks.measure_in(self.font())
        return self._sizes

    _sizes: rulers.Measure | None = None

    def _rulers(self, table: Table) -> tuple[rulers.Ruler, rulers.Ruler, rulers.Ruler]:
        frame, sheet = self.frame, self.sheets[0].sheet
        rows, columns = table.axes[:2]
        low, high = frame.values
        states = table.labels.numbers
        levels = (
            states[(states >= low) & (states <= high)]
            if states.size
            else (rulers.round_ticks(low, high, 6))
        )
        return (
            rulers.Ruler(
                frame.x(sheet.columns),
                rulers.texts_of(columns.values, columns.labels),
                words.axis_title(columns),
            ),
            rulers.Ruler(
                frame.y(sheet.rows),
                rulers.texts_of(rows.values, rows.labels),
                words.axis_title(rows),
            ),
            rulers.Ruler(
                frame.z(levels),
                rulers.texts_of(levels, table.labels),
                words.value_title(table),
            ),
        )

    def painted(self) -> marks.Picture:
        """Return what is painted over the scene, as it is seen now.

        It may be asked for between an edit and the repaint: everything here goes by what was
        drawn last, not by what the desk holds by now.
        """
        if self._picture is None:
            self._picture = marks.Picture()
            if self.sheets and self.canvas is not None:
                drawn = self.sheets[0]
                table, cell = drawn.layer.table, self.stage.cell
                self._picture.layout = rulers.layout(
                    self.lens, self._rulers(table), self._measure()
                )
                self._picture.marks = node_marks(
                    drawn,
                    self.frame,
                    self.lens,
                    self.inks,
                    cell,
                    self._marked,
                    self._held,
                    self._over.marks,
                )
                self._over.paint_into(self._picture, drawn.sheet)
        return self._picture

    _marked: Findings = MappingProxyType({})
    _held: BoolArray | None = None

    def _findings_here(self) -> dict[Cell, tuple[str, str]]:
        return self.findings if self.linked else {}

    def _paint(self, painter: QPainter) -> None:
        marks.paint(painter, self.painted(), self.inks, self.font())

    def _locked(self, table: Table) -> BoolArray | None:
        """Return the locked nodes of the drawn plane; None where nothing is edited."""
        if not self.editable:
            return None
        locked: BoolArray = locked_cells(table)[plane_index(self.cell[2:])]
        return locked

    def show_read_out(self, table: Table) -> None:
        """Write what is under the cross-hair."""
        if self._layers is None:
            super().show_read_out(table)
            return
        text = beside_each_other(table, self.cell, self.sheets, self.frame)
        self.read_out.show_text(text)
        self.setAccessibleDescription(text)

    def tip_at(self, place: QPointF) -> str:
        """Return what is known of the node under the pointer."""
        table = self._first()
        cell = self.hand.node_at(place, REACH)
        if table is None or cell is None:
            return ""
        lines = [f"{words.place(table, cell)}: {words.value(table, cell)}"]
        found = self._findings_here().get(cell)
        if found:
            lines.append(f"{found[0].capitalize()}: {found[1]}")
        if self.editable and locked_cells(table)[cell]:
            lines.append("Locked: the value stays as it is.")
        if self._over.marks is not None:
            lines.append(f"{self._over.marks.words(cell).capitalize()}.")
        return "\n".join(lines)

    # -- keys ------------------------------------------------------------------------------------

    def end_gesture(self) -> None:
        """Let go of whatever is being dragged."""
        self.hand.let_go()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Move, extend, step values, look from other sides."""
        self.refresh()
        drawn = self.canvas is not None and self.pages.currentWidget() is self._drawn
        if not (drawn and self.current and press_key(self, self.hand, event)):
            super().keyPressEvent(event)


def _give_back(held: QWidget) -> None:
    """Give the keyboard back to who had it."""
    held.window().activateWindow()
    held.setFocus()
