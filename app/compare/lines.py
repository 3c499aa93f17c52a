"""Both lines of a compared table in one plot, and their difference in another below it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QKeyEvent, QResizeEvent
from PySide6.QtWidgets import QSplitter, QVBoxLayout, QWidget

from app.colours import difference_map, distinct, pen
from app.plots import words
from app.plots.curve import CurveView
from app.plots.geometry import inner_line, positions
from app.plots.legend import Entry
from app.plots.lines import LinesView
from app.plots.scalar import ScalarBar
from app.plots.slices import SlicesView
from app.plots.symbols import symbol
from app.plots.view import Part
from calib_model.core.arrays import FloatArray
from calib_model.core.axis import Axis
from calib_model.core.table import Table
from calib_model.core.units import shown

from .pair import DifferenceDesk, PairDesk
from .words import signed

if TYPE_CHECKING:
    from app.plots.canvas import Canvas

    _Mixed = LinesView
else:
    # Qt classes in two bases would confuse PySide's table of signals.
    _Mixed = object

_LEFT = 68
"""Room for the numbers of the upright axis, the same in both plots, so that they line up."""


LOW = 230


class LookedAt(_Mixed):
    """Lines whose points are chosen, not dragged."""

    def on_pressed(self, at: QPointF, event: object) -> None:
        """Choose a point; nothing is taken hold of."""
        super().on_pressed(at, event)
        self._drag = None

    def step_values(self, steps: int, event: QKeyEvent) -> None:
        """Leave the values as they are."""

    def on_hovered(self, at: QPointF) -> None:
        """Leave the pointer as it is: nothing can be dragged."""

    def build(self, canvas: Canvas) -> None:
        """Make the items."""
        super().build(canvas)
        canvas.left.setWidth(_LEFT)


class _Both(LookedAt):
    """The edited set's line with its points, the reference's dashed with points of its own."""

    desk: PairDesk

    def build(self, canvas: Canvas) -> None:
        """Make the items."""
        from app.plots.canvas import Marks

        super().build(canvas)
        self._points_of_a = canvas.add(Marks(symbol("box"), 7), 8)

    def redraw(self, table: Table, stale: Part) -> None:
        """Bring what is out of date up to date."""
        super().redraw(table, stale)
        if stale & Part.TABLE and self.canvas is not None and self.desk.difference is not None:
            self.canvas.bottom.set_text("", "")  # the plot of the difference below has it
        if stale & Part.COLOURS:
            self._points_of_a.setPen(pen(self.inks.quiet, 1.5))
            self._points_of_a.setBrush(self.inks.ground)
            self._items.reference.setPen(pen(self.inks.quiet, 2.0, Qt.PenStyle.DashLine))

    def _overlay_lines(self, table: Table) -> list[tuple[Axis | None, FloatArray]]:
        first = self.desk.reference_table
        nothing: tuple[Axis | None, FloatArray] = (None, np.empty(0))
        if first is None or self.desk.second is None:
            return [nothing]
        return [(first.axes[self.along()], first.values[self.line_index()])]

    def _draw_overlays(self, table: Table) -> None:
        x, y = np.empty(0), np.empty(0)
        ((axis, values),) = self._overlay_lines(table)
        aligned = self.desk.aligned
        if axis is None or aligned is None:
            self._items.reference.show(x, y)
        else:
            self._items.reference.show(*inner_line(axis, values))
            own = aligned.own_first[self.line_index()]
            x, y = positions(axis)[own], values[own]
        self._points_of_a.show(x, y)

    def key(self, table: Table) -> list[Entry]:
        """Return the entries of the key."""
        ink = self.inks
        names = self.desk.names
        entries = []
        if self.desk.second is not None:
            entries.append(Entry(names[1], ink.line, width=2.0))
        if self.desk.first is not None:
            style = Qt.PenStyle.DashLine if self.desk.second is not None else Qt.PenStyle.SolidLine
            entries.append(Entry(names[0], ink.quiet, style, 2.0))
        if self.others(table).shape[0]:
            entries.append(Entry(f"other slices of {self.desk.letters[1]}", ink.faint, width=1.0))
        limits = words.limits(table)
        if limits:
            entries.append(Entry(limits, ink.faint, width=2.5))
        if self.findings:
            severity = next(iter(self.findings.values()))[0]
            entries.append(Entry("breaches the relation", ink.of(severity), mark=severity))
        return entries

    def show_read_out(self, table: Table) -> None:
        """Write what both hold under the cross-hair."""
        pair, cell = self.desk, self.desk.cursor
        where = words.place(table, cell)
        parts = []
        for name, one in zip(pair.letters, (pair.first, pair.second), strict=True):
            if one is not None and one.shape == table.shape:
                parts.append(f"{name} {one.said(float(one.values[cell]), 7)}")
        if pair.difference is not None:
            amount = float(pair.difference.values[cell])
            if np.isfinite(amount):
                parts.append(f"difference {signed(amount, table.unit)}" if amount else "the same")
        text = f"{where}: " if where else ""
        text += ", ".join(parts)
        found = self.findings.get(cell)
        self.say(f"{text}.  {found[1]}" if found else text)


class _TwoScalars(ScalarBar):
    """The edited set's value in words and on a bar, with the reference's marked."""

    letters = ("reference", "edited")

    def show_values(self, table: Table, saved: Table | None, reference: Table | None) -> None:
        """Show both."""
        super().show_values(
            replace(table, name=f"{table.label} in {self.letters[1]}"), saved, reference
        )
        self._others = [(self.letters[0], value, style) for _, value, style in self._others]
        self.text = self.text.replace("Reference ", f"In {self.letters[0]} it is ").replace(
            "reference ", f"in {self.letters[0]} it is "
        )
        self.setAccessibleName(self.text)
        self.update()


class BothCurves(_Both, CurveView):
    """Two curves; two scalars in words."""

    def __init__(self, desk: PairDesk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.pages.removeWidget(self.scalar)
        self.scalar.deleteLater()
        self.scalar = _TwoScalars(self)
        self.pages.addWidget(self.scalar)

    def shown_plainly(self, table: Table) -> bool:
        """Tell a scalar in words."""
        if table.values.ndim:
            return False
        assert isinstance(self.scalar, _TwoScalars)
        self.scalar.letters = self.desk.letters
        self.scalar.show_values(table, None, self.desk.reference_table)
        self.pages.setCurrentWidget(self.scalar)
        self.show_key(())
        return True


class BothSlices(_Both, SlicesView):
    """The slices of two maps through the cross-hair."""


class _Less(LookedAt):
    """Edited set less reference, with zero drawn through and signs at the points."""

    desk: DifferenceDesk

    def build(self, canvas: Canvas) -> None:
        """Make the items."""
        import pyqtgraph as pg

        from app.plots.canvas import Marks

        super().build(canvas)
        self._zero = canvas.add(pg.InfiniteLine(angle=0, pos=0.0), 6)
        self._zero.setAcceptedMouseButtons(Qt.MouseButton.NoButton)
        self._higher = canvas.add(Marks(symbol("plus"), 11), 12)
        self._lower = canvas.add(Marks(symbol("minus"), 11), 12)

    def redraw(self, table: Table, stale: Part) -> None:
        """Bring what is out of date up to date."""
        if stale & Part.COLOURS:
            self._zero.setPen(pen(self.inks.quiet, 1.0))
            ramp = difference_map(dark=self.inks.dark)
            for item, rgb in ((self._lower, ramp[0]), (self._higher, ramp[-1])):
                colour = distinct(QColor(*rgb.tolist()), self.inks.ground, 3.0)
                item.setPen(pen(colour, 2.4))
        super().redraw(table, stale)
        if stale & Part.TABLE and self.canvas is not None:
            self.canvas.left.set_text(self.desk.of.less, shown(table.unit))

    def _draw_points(self, table: Table) -> None:
        super()._draw_points(table)
        x, y = self.points(table)
        values = table.values[self.line_index()]
        self._items.points.setVisible(False)
        with np.errstate(invalid="ignore"):
            self._higher.show(x[values > 0], y[values > 0])
            self._lower.show(x[values < 0], y[values < 0])

    def _extent(self, table: Table) -> tuple[float, float]:
        low, high = super()._extent(table)
        return min(low, 0.0), max(high, 0.0)

    def key(self, table: Table) -> list[Entry]:
        """Return the entries of the key."""
        ink = self.inks
        return [
            Entry(self.desk.of.less, ink.line, width=2.0),
            Entry(f"{self.desk.of.letters[1]} higher", ink.line, mark="plus"),
            Entry(f"{self.desk.of.letters[1]} lower", ink.line, mark="minus"),
        ]

    def show_read_out(self, table: Table) -> None:
        """Say nothing: the plot above says it."""
        self.say("")


class LessCurve(_Less, CurveView):
    """The difference of two curves."""

    def shown_plainly(self, table: Table) -> bool:
        """Tell a scalar in words."""
        if table.values.ndim:
            return False
        self.scalar.show_values(table, None, None)
        self.pages.setCurrentWidget(self.scalar)
        self.show_key(())
        return True


class LessSlices(_Less, SlicesView):
    """The difference of two maps along the slice through the cross-hair."""


class LinesPane(QWidget):
    """Both lines above, the difference below, turned and scaled along the input together.

    Parameters
    ----------
    pair : PairDesk
    less : DifferenceDesk
    maps : bool
        Slices of maps, or curves.
    """

    def __init__(
        self, pair: PairDesk, less: DifferenceDesk, *, maps: bool, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.pair = pair
        self.both: LinesView = (BothSlices if maps else BothCurves)(pair, self)
        self.less: LinesView = (LessSlices if maps else LessCurve)(less, self)
        self._split = QSplitter(Qt.Orientation.Vertical)
        self._split.setChildrenCollapsible(False)
        self._split.addWidget(self.both)
        self._split.addWidget(self.less)
        self._split.setStretchFactor(0, 3)
        self._split.setStretchFactor(1, 2)
        self._split.setSizes([300, 200])
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._split)
        for view in (self.both, self.less):
            view.read_out.hide()  # the line above the grids says it
        self._linked = False
        self.both.said.connect(self._link)
        self.less.said.connect(self._link)
        if isinstance(self.both, SlicesView) and isinstance(self.less, SlicesView):
            self.both.along_changed.connect(self.less.set_along)
            self.less.along_changed.connect(self.both.set_along)
        pair.table_changed.connect(self._arrange)
        self.setFocusProxy(self.both)
        self._arrange()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Stand the plots beside each other where they would be too low."""
        super().resizeEvent(event)
        low = self.height() < LOW
        self._split.setOrientation(Qt.Orientation.Horizontal if low else Qt.Orientation.Vertical)

    def turn(self) -> None:
        """Run the slices along the other axis."""
        if isinstance(self.both, SlicesView):
            self.both.set_along(1 - self.both.along())

    def _arrange(self) -> None:
        table = self.pair.difference
        self.less.setVisible(table is not None and table.values.ndim > 0)

    def _link(self) -> None:
        """Keep the inputs of both plots in line, once both are drawn."""
        if not self._linked and self.both.canvas is not None and self.less.canvas is not None:
            self._linked = True
            self.less.canvas.box.setXLink(self.both.canvas.box)
