"""Strips over the time of a recording, with one play head through all of them.

This module imports pyqtgraph (through the canvas); import it late.
"""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QPoint, QPointF, QRectF, Qt, QTimer, Signal
from PySide6.QtGui import (
    QBrush,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPen,
    QResizeEvent,
)
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.colours import Inks, inks, pen
from app.focus_ring import RingedWidget
from app.plots.canvas import Canvas, Line
from app.plots.legend import Entry, Legend
from app.road.recordings.band import BandView
from app.road.recordings.scene import Scene, Spans, Strip, Trace, envelope
from calib_model.core.arrays import FloatArray
from calib_model.core.numbers import with_unit
from calib_model.core.units import shown

AXIS = 7
"""Width of the axes at the left in digits, the same for all strips: moments stand in line."""
LOW, MIDDLE, LOWER = 260, 330, 230
"""Heights of the whole below which words are left out, and of the strips below which some are."""
_CONTROL = Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier
_SHIFT = Qt.KeyboardModifier.ShiftModifier
KEYS: dict[tuple[Qt.Key, bool], str] = {
    (Qt.Key.Key_Right, False): "right",
    (Qt.Key.Key_Left, False): "left",
    (Qt.Key.Key_Right, True): "second",
    (Qt.Key.Key_Left, True): "second back",
    (Qt.Key.Key_PageDown, False): "ten",
    (Qt.Key.Key_PageUp, False): "ten back",
    (Qt.Key.Key_Home, False): "first",
    (Qt.Key.Key_End, False): "last",
    (Qt.Key.Key_F, False): "fault",
    (Qt.Key.Key_F, True): "fault back",
    (Qt.Key.Key_G, False): "change",
    (Qt.Key.Key_G, True): "change back",
    (Qt.Key.Key_Minus, False): "out",
    (Qt.Key.Key_0, False): "whole",
    (Qt.Key.Key_Z, False): "full",
    (Qt.Key.Key_E, False): "evidence",
    (Qt.Key.Key_C, False): "complaint",
    (Qt.Key.Key_Return, False): "cell",
    (Qt.Key.Key_Enter, False): "cell",
}
"""What a key orders, without and with Shift; plus and equals zoom in, however they are typed."""
LEAST = 0.5
"""Shortest time that can be drawn over the whole width, in seconds."""


class Veil(pg.GraphicsObject):
    """Hatched spans over the whole height: what was left out for a fault."""

    def __init__(self) -> None:
        super().__init__()
        self.spans: Spans = np.empty((0, 2))
        self._brush = QBrush(Qt.BrushStyle.NoBrush)
        self._edge = QPen(Qt.PenStyle.NoPen)
        self.setAcceptedMouseButtons(Qt.MouseButton.NoButton)

    def set_inks(self, colours: Inks) -> None:
        """Take over colours."""
        self._brush = QBrush(colours.quiet, Qt.BrushStyle.BDiagPattern)
        self._edge = pen(colours.quiet, 1.0, Qt.PenStyle.DotLine)
        self.update()

    def viewRangeChanged(self, *_range: object) -> None:
        """Cover what is in view."""
        self.prepareGeometryChange()

    def boundingRect(self) -> QRectF:
        """All that is in view."""
        box = self.getViewBox()
        return box.viewRect().normalized() if box is not None else QRectF()

    def _column(self, view: QRectF) -> float:
        """Return the time that one column of the screen stands for."""
        box = self.getViewBox()
        return view.width() / max(box.width() if box is not None else 0.0, 1.0)

    def paint(self, painter: QPainter, *_rest: object) -> None:
        """Hatch the spans; the pattern keeps its size whatever the scale."""
        view = self.boundingRect()
        spans = self.spans
        seen = spans[(spans[:, 1] >= view.left()) & (spans[:, 0] <= view.right())]
        if not len(seen):
            return
        brush = QBrush(self._brush)
        brush.setTransform(painter.worldTransform().inverted()[0])
        painter.setBrush(brush)
        painter.setPen(self._edge)
        for start, end in joined(seen, self._column(view)).tolist():
            painter.drawRect(QRectF(start, view.top(), end - start, view.height()))


def joined(spans: Spans, gap: float) -> Spans:
    """Return rising spans with those joined that are nearer than a gap."""
    if len(spans) < 2:
        return spans
    apart = np.flatnonzero(spans[1:, 0] - spans[:-1, 1] > gap)
    starts = np.concatenate(([0], apart + 1))
    ends = np.concatenate((apart, [len(spans) - 1]))
    return np.column_stack((spans[starts, 0], spans[ends, 1]))


class StripView(Canvas):
    """One strip."""

    def __init__(self, strip: Strip) -> None:
        super().__init__()
        self.strip = strip
        # Name and unit stand inside: a low strip has no room for them along its axis.
        unit = f", {shown(strip.unit)}" if strip.unit else ""
        self.left.showLabel(False)
        self.title = pg.TextItem(f"{strip.title}{unit}")
        self.title.setParentItem(self.box)
        self.title.setPos(2.0, -3.0)
        self.title.setZValue(30)
        self.setMinimumHeight(48)
        self.veil = self.add(Veil(), 0)
        self.zero = self.add(pg.InfiniteLine(0.0, angle=0), 1)
        self.lines = [self.add(Line(), 3 + i) for i in range(len(strip.traces))]
        for line in self.lines:
            # A dense line is as clear without, and far quicker. No picture of it is kept either:
            # Qt shows one in its old place when pyqtgraph moves the view.
            line.opts["antialias"] = False
        self.head = self.add(pg.InfiniteLine(0.0, angle=90), 20)
        for item in (self.zero, self.head):
            item.setAcceptedMouseButtons(Qt.MouseButton.NoButton)
        self.box.setMouseEnabled(x=True, y=False)

    def take_inks(self, colours: Inks) -> None:
        """Take over colours."""
        self.set_inks(colours, self.font())
        self.left.setWidth(AXIS * self.fontMetrics().horizontalAdvance("0"))
        self.veil.set_inks(colours)
        self.title.setFont(self.font())
        self.title.setColor(colours.line)
        self.zero.setPen(pen(colours.faint))
        self.head.setPen(pen(colours.accent, 2.0))
        for line, trace in zip(self.lines, self.strip.traces, strict=True):
            line.setPen(line_pen(trace, colours))

    def fit(self) -> None:
        """Show all values; a strip of nothing keeps a small range about zero."""
        low, high = 0.0, 0.0
        for trace in self.strip.traces:
            if np.isfinite(trace.values).any():
                low = min(low, float(np.nanmin(trace.values)))
                high = max(high, float(np.nanmax(trace.values)))
        span = (high - low) or 1.0
        height = max(float(self.box.height()), 40.0)
        # The title has a line of its own above the highest value.
        above = span * min(self.fontMetrics().height() / height, 0.4) * 1.3
        self.box.setYRange(low - span * 0.06, high + above, padding=0.0)

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """Keep the title's line free."""
        super().resizeEvent(event)
        if hasattr(self, "title"):  # pyqtgraph resizes while it constructs
            self.fit()

    def draw(self, time: FloatArray, low: float, high: float) -> None:
        """Draw what is in view."""
        columns = max(int(self.box.width()), 50)
        for line, trace in zip(self.lines, self.strip.traces, strict=True):
            line.show(*envelope(time, trace.values, low, high, columns))


def line_pen(trace: Trace, colours: Inks) -> QPen:
    """Return the pen of a line: A is whole, B is dashed, what was measured is dotted."""
    if trace.role == "b":
        return pen(colours.accent, 1.0, Qt.PenStyle.DashLine)
    if trace.role == "measured":
        return pen(colours.warning, 1.0, Qt.PenStyle.DotLine)
    return pen(colours.line, 1.0)


class DrivePlot(RingedWidget):
    """The strips, the bands of governing tables, and the key with the values at the play head.

    Signals
    -------
    head_wanted : int
        The user pointed at a tick.
    ordered : str
        A key orders something, see `KEYS`.
    """

    head_wanted = Signal(int)
    ordered = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.scene = Scene(np.empty(0))
        self.head = 0
        self._following = False
        self.strips: list[StripView] = []
        self.band = BandView()
        self.key = Legend()
        self._inks = inks(self.palette())
        self._column = QVBoxLayout()
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(0)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(3, 3, 3, 3)  # room for the ring
        whole.setSpacing(2)
        whole.addLayout(self._column, 1)
        whole.addWidget(self.band)
        whole.addWidget(self.key)
        self._late = QTimer(self)
        self._late.setSingleShot(True)
        self._late.setInterval(0)
        self._late.timeout.connect(self._draw)
        self.band.pressed.connect(self._point)
        self.setAccessibleName("Drive over time")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    # -- what is shown ---------------------------------------------------------------------------

    def show_scene(self, scene: Scene, *, keep_view: bool = False) -> None:
        """Draw another scene, in the same span of time if that is wanted."""
        view = self.view() if keep_view and self.strips else None
        self.scene = scene
        same = [(s.name, len(s.traces)) for s in scene.strips] == [
            (v.strip.name, len(v.strip.traces)) for v in self.strips
        ]
        if not same:
            self._rebuild()
        for strip_view, strip in zip(self.strips, scene.strips, strict=True):
            strip_view.strip = strip
            strip_view.veil.spans = scene.masked
            strip_view.take_inks(self._inks)
            strip_view.fit()
        self.band.show_scene(scene)
        self.head = min(self.head, max(scene.time.size - 1, 0))
        if scene.time.size:
            self.show_view(*(view or self.whole()))
        self._make_room()
        self.set_head(self.head)

    def _rebuild(self) -> None:
        for old in self.strips:
            self._column.removeWidget(old)
            old.close()
            old.setParent(None)
            old.deleteLater()
        self.strips = [StripView(strip) for strip in self.scene.strips]
        for made in self.strips:
            self._column.addWidget(made, 3 if made.strip.name == "torque" else 2)
            made.pressed.connect(self._on_pointer)
            made.moved.connect(self._on_pointer)
            # No link of pyqtgraph's: it would shift ranges by the place of hidden strips.
            made.box.sigXRangeChanged.connect(lambda _box, span: self._follow(*span))
            made.view_changed.connect(self._later)

    def set_head(self, tick: int) -> None:
        """Move the play head to a tick, into sight if need be."""
        time = self.scene.time
        if not time.size:
            self.key.show_entries(())
            return
        self.head = min(max(tick, 0), time.size - 1)
        moment = float(time[self.head])
        low, high = self.view()
        if self.strips and not low <= moment <= high:
            width = high - low
            self.show_view(moment - width / 2, moment + width / 2)
        for view in self.strips:
            view.head.setValue(moment)
        self.band.set_head(self.head)
        self._read_out()

    def _read_out(self) -> None:
        entries = []
        low = self.height() < LOW
        seen = [v.strip for v in self.strips if not v.isHidden()] if low else self.scene.strips
        for strip in seen:
            for trace in strip.traces:
                ink = line_pen(trace, self._inks)
                value = float(trace.values[self.head])
                words = "unknown" if np.isnan(value) else with_unit(value, shown(strip.unit))
                entries.append(Entry(f"{trace.label} {words}", ink.color(), ink.style()))
        for band in () if low else self.scene.bands:
            words = f"{band.title} {band.word(self.head)}"
            entries.append(Entry(words, self._inks.line, Qt.PenStyle.NoPen))
        self.key.show_entries(entries)

    # -- the span of time in view ------------------------------------------------------------------

    def whole(self) -> tuple[float, float]:
        """Return first and last moment."""
        time = self.scene.time
        return (float(time[0]), float(time[-1])) if time.size else (0.0, 1.0)

    def view(self) -> tuple[float, float]:
        """Return the span of time in view."""
        return self.strips[0].shown_range()[0] if self.strips else self.whole()

    def show_view(self, low: float, high: float) -> None:
        """Show a span of time, within the recording."""
        first, last = self.whole()
        width = min(max(high - low, LEAST), max(last - first, LEAST))
        low = min(max(low, first), max(last - width, first))
        if self.strips:
            self._follow(low, low + width)
        self.draw_now()  # at once: everything is painted but once

    def _follow(self, low: float, high: float) -> None:
        """Show the same time in every strip."""
        if not self._following:
            self._following = True
            for view in self.strips:
                view.box.setXRange(low, high, padding=0.0)
            self._following = False

    def zoom(self, factor: float) -> None:
        """Show less (below 1) or more of the time about the play head."""
        if not self.scene.time.size:
            return
        low, high = self.view()
        middle = float(self.scene.time[self.head])
        middle = middle if low <= middle <= high else (low + high) / 2
        self.show_view(middle - (middle - low) * factor, middle + (high - middle) * factor)

    # -- drawing -----------------------------------------------------------------------------------

    def take_point(self, point: QPoint) -> bool:
        """Take the play head to the moment at a point of this widget."""
        self._point(self.band.moment_at(point.x() - self.band.x()))
        return bool(self.scene.time.size)

    def _later(self) -> None:
        self._late.start()

    def _draw(self) -> None:
        if not self.strips or not self.scene.time.size:
            return
        low, high = self.view()
        shown_strips = [v for v in self.strips if v.isVisibleTo(self)]
        for view in shown_strips:
            view.draw(self.scene.time, low, high)
        if shown_strips:
            view = shown_strips[-1]
            left = view.mapTo(self, view.to_viewport(low, 0.0).toPoint()).x()
            right = view.mapTo(self, view.to_viewport(high, 0.0).toPoint()).x()
            self.band.show_view(low, high, left - self.band.x(), right - self.band.x())

    def draw_now(self) -> None:
        """Draw at once."""
        self._late.stop()
        self._draw()

    def _make_room(self) -> None:
        """Leave out strips where there is little height; the time stands under the last."""
        low = self.height() < LOW
        height = self.height() - self.band.sizeHint().height() - (0 if low else self.key.height())
        wanted = {s.strip.name for s in self.strips}
        if height < MIDDLE:
            wanted -= {"difference"}
        if height < LOWER:
            wanted &= {"torque"} if "torque" in wanted else wanted
        seen = [s for s in self.strips if s.strip.name in wanted]
        for view in self.strips:
            view.setVisible(view in seen)
            last = bool(seen) and view is seen[-1]
            view.bottom.setStyle(showValues=last)
            if last and not low:
                view.bottom.set_text("Time", "s")
            view.bottom.showLabel(last and not low)
            view.bottom.setHeight(None if last else 5)
        if self.scene.time.size:
            self._read_out()
        self._later()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Draw for the new width."""
        super().resizeEvent(event)
        self._make_room()

    def changeEvent(self, event: QEvent) -> None:
        """Take over other colours."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.PaletteChange, QEvent.Type.FontChange):
            self._inks = inks(self.palette())
            for view in self.strips:
                view.take_inks(self._inks)
            self._read_out() if self.scene.time.size else None

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Pass on what a key orders."""
        shift = bool(event.modifiers() & _SHIFT)
        order = KEYS.get((Qt.Key(event.key()), shift))
        if event.key() in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            order = "in"
        if order is None or event.modifiers() & _CONTROL:
            super().keyPressEvent(event)
        else:
            self.ordered.emit(order)

    def _on_pointer(self, point: QPointF, _event: QMouseEvent) -> None:
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        self._point(point.x())

    def _point(self, moment: float) -> None:
        if self.scene.time.size:
            self.head_wanted.emit(self.scene.tick_at(moment))
