"""The drawing area under every plot: axes with units, own mouse handling, our colours.

This module imports pyqtgraph; import it late (inside functions), so that the window does not
wait for it.
"""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QPointF, Qt, Signal
from PySide6.QtGui import QFont, QFontMetricsF, QHelpEvent, QMouseEvent, QResizeEvent
from PySide6.QtWidgets import QToolTip, QWidget

from app.colours import Inks, pen
from app.plain import plain_tip
from calib_model.core.arrays import FloatArray, same_values
from calib_model.core.numbers import short

Points = tuple[FloatArray, FloatArray]

MINUS = "\N{MINUS SIGN}"


class ValueAxis(pg.AxisItem):
    """An axis with plain numbers (no prefixes, a true minus) and an elided label.

    Parameters
    ----------
    orientation : str
        ``left`` or ``bottom``.
    """

    def __init__(self, orientation: str) -> None:
        super().__init__(orientation)
        self.enableAutoSIPrefix(False)
        self.setStyle(
            tickLength=4,
            tickTextOffset=3,
            tickTextHeight=13,
            hideOverlappingLabels=False,  # the ends' numbers may stand out by half their width
        )
        self._text = self._tail = self._shown = ""
        self._places: FloatArray | None = None
        self._words: list[str] = []

    def set_text(self, name: str, unit: str) -> None:
        """Set the label, such as ``Ambient temperature, °C``."""
        self._text, self._tail = name, f", {unit}" if unit else ""
        self.fit_text()

    def set_font(self, font: QFont) -> None:
        """Take over a font for numbers and label."""
        self.setTickFont(font)
        self.label.setFont(font)
        self._shown = ""
        self.fit_text()

    def set_breakpoints(
        self,
        places: FloatArray | None,
        values: FloatArray | None = None,
        said: Callable[[float], str] = short,
    ) -> None:
        """Put the ticks at breakpoints.

        Parameters
        ----------
        places : float array, rising, or None
            Where they are drawn; None goes back to round numbers.
        values : float array, optional
            What they are called; the places themselves by default.
        said : callable
            How a value is written: an axis with labels names it.
        """
        self._places = places
        shown = places if values is None else values
        self._words = [] if shown is None else [said(v) for v in shown.tolist()]
        self.picture = None
        self.update()

    def tickValues(
        self, minVal: float, maxVal: float, size: float
    ) -> list[tuple[float | None, list[float]]]:
        """Return ticks by level; only the first level carries text."""
        low, high = min(minVal, maxVal), max(minVal, maxVal)
        if self._places is None:
            levels = [(s, list(ticks)) for s, ticks in super().tickValues(low, high, size)[:2]]
            return self._apart(levels, size / ((high - low) or 1.0))
        inside = np.flatnonzero((self._places >= low) & (self._places <= high))
        if not inside.size:
            return []
        upright = self.orientation in ("left", "right")
        length = self.size().height() if upright else self.size().width()
        labelled = set(self._roomy(inside, length / ((high - low) or 1.0)))
        rest = [i for i in inside.tolist() if i not in labelled]
        places = self._places
        return [
            (None, [float(places[i]) for i in sorted(labelled)]),
            (None, [float(places[i]) for i in rest]),
        ]

    def tickStrings(
        self, values: Sequence[float], scale: float, spacing: float | None
    ) -> list[str]:
        """Return the ticks' texts."""
        if self._places is not None:
            spots = np.searchsorted(self._places, np.asarray(values, dtype=np.float64))
            return [self._words[i] for i in np.clip(spots, 0, len(self._words) - 1).tolist()]
        if not spacing:
            return [short(v) for v in values]
        digits = max(0, math.ceil(-math.log10(spacing) - 1e-9))
        if max(map(abs, values), default=0.0) >= 1e6 or digits > 5:
            return [short(v) for v in values]
        return [f"{v + 0.0:.{digits}f}".replace("-", MINUS) for v in values]

    def resizeEvent(self, ev: object = None) -> None:
        """Fit the label to the new length."""
        super().resizeEvent(ev)
        if hasattr(self, "_places"):  # pyqtgraph resizes while it constructs
            self.fit_text()

    def _apart(
        self, levels: list[tuple[float | None, list[float]]], pixels: float
    ) -> list[tuple[float | None, list[float]]]:
        """Thin out the round numbers of a low upright axis until their texts do not touch."""
        if self.orientation not in ("left", "right") or not levels or not levels[0][0]:
            return levels
        height = 0.8 * QFontMetricsF(self.style["tickFont"] or QFont()).height()
        spacing, ticks = float(levels[0][0]), levels[0][1]
        if spacing * pixels >= height:
            return levels
        while spacing * pixels < height and len(ticks) > 1:
            leading = round(spacing / 10.0 ** math.floor(math.log10(spacing) + 1e-9), 6)
            spacing *= 2.5 if leading == 2.0 else 2.0
            ticks = [t for t in ticks if abs(t / spacing - round(t / spacing)) < 1e-6]
        rest = [t for t in levels[0][1] if t not in ticks]
        return [(spacing, ticks), (levels[0][0], rest)]

    def _roomy(self, inside: np.ndarray, pixels: float) -> list[int]:
        """Pick the breakpoints whose texts do not touch: both ends first, then from the left."""
        assert self._places is not None
        metrics = QFontMetricsF(self.style["tickFont"] or QFont())
        upright = self.orientation in ("left", "right")
        gap = metrics.height() * 0.25 if upright else metrics.horizontalAdvance("0") * 0.8

        def extent(i: int) -> float:
            return metrics.height() * 0.8 if upright else metrics.horizontalAdvance(self._words[i])

        order = [int(inside[0]), int(inside[-1]), *inside[1:-1].tolist()]
        taken: list[tuple[float, float]] = []
        chosen: list[int] = []
        for i in order:
            middle, half = float(self._places[i]) * pixels, extent(i) / 2 + gap / 2
            if all(middle + half <= low or middle - half >= high for low, high in taken):
                taken.append((middle - half, middle + half))
                chosen.append(i)
        return chosen

    def fit_text(self) -> None:
        """Write name and unit where they fit the axis, else the unit alone, whole."""
        size = self.size()
        length = size.height() if self.orientation in ("left", "right") else size.width()
        metrics = QFontMetricsF(self.label.font())
        text, room = self._text + self._tail, max(length - 16, 30.0)
        if metrics.horizontalAdvance(text) > room:
            text = self._tail.removeprefix(", ") or metrics.elidedText(
                self._text, Qt.TextElideMode.ElideRight, room
            )
        whole = self._text + self._tail
        self.setToolTip(plain_tip(whole if text != whole else ""))
        if text != self._shown:
            self._shown = text
            # pyqtgraph reads the label as HTML
            self.setLabel(html.escape(text))
            # pyqtgraph places the label only when the axis is resized.
            super().resizeEvent()


class Canvas(pg.PlotWidget):
    """A plot whose left mouse button is ours; the wheel zooms, the middle button moves the view.

    Signals
    -------
    pressed, moved, released : QPointF (in the plot's coordinates), QMouseEvent
    hovered : QPointF
        The pointer moved with no button down.
    view_changed
        Another part is in view, or the area has another size.
    """

    pressed = Signal(QPointF, object)
    moved = Signal(QPointF, object)
    released = Signal(QPointF, object)
    hovered = Signal(QPointF)
    view_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        self.bottom, self.left = ValueAxis("bottom"), ValueAxis("left")
        super().__init__(
            parent, axisItems={"bottom": self.bottom, "left": self.left}, enableMenu=False
        )
        plot = self.getPlotItem()
        plot.hideButtons()
        plot.setContentsMargins(0, 4, 10, 0)
        self.box: pg.ViewBox = plot.getViewBox()
        self.box.disableAutoRange()
        self.box.setDefaultPadding(0.0)
        self.box.sigRangeChanged.connect(self._on_range)
        self.tip_at: Callable[[QPointF], str] = lambda point: ""
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setMinimumSize(120, 90)
        self.viewport().setMouseTracking(True)
        self._down = False

    # -- looks -------------------------------------------------------------------------------

    def set_inks(self, inks: Inks, font: QFont) -> None:
        """Take over colours and font."""
        self.setBackground(inks.ground)
        small = QFont(font)
        small.setPointSizeF(max(font.pointSizeF() * 0.9, 7.0))
        for axis in (self.left, self.bottom):
            axis.setPen(pen(inks.quiet))
            axis.setTextPen(pen(inks.line))
            axis.setTickPen(pen(inks.quiet))
            axis.set_font(small)

    def add(self, item: pg.GraphicsObject, z: float) -> pg.GraphicsObject:
        """Add an item at a depth; it does not take part in ranges that pyqtgraph chooses."""
        item.setZValue(z)
        self.box.addItem(item, ignoreBounds=True)
        return item

    # -- places --------------------------------------------------------------------------------

    def show_range(self, x: tuple[float, float], y: tuple[float, float]) -> None:
        """Show a range of both axes."""
        self.box.setRange(xRange=x, yRange=y, padding=0.0, disableAutoRange=True)

    def shown_range(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return the range in view, low before high."""
        (x0, x1), (y0, y1) = self.box.viewRange()
        return (min(x0, x1), max(x0, x1)), (min(y0, y1), max(y0, y1))

    def pixel(self) -> tuple[float, float]:
        """Return the size of a screen unit in the plot's coordinates, both positive."""
        (x0, x1), (y0, y1) = self.shown_range()
        return (x1 - x0) / max(self.box.width(), 1.0), (y1 - y0) / max(self.box.height(), 1.0)

    def size_in_view(self) -> tuple[float, float]:
        """Return width and height of the area within the axes, in screen units."""
        return float(self.box.width()), float(self.box.height())

    def to_plot(self, place: QPointF) -> QPointF:
        """Turn a place in the viewport into the plot's coordinates."""
        scene = self.viewportTransform().inverted()[0].map(place)
        found: QPointF = self.box.mapSceneToView(scene)
        return found

    def to_viewport(self, x: float, y: float) -> QPointF:
        """Turn the plot's coordinates into a place in the viewport."""
        scene: QPointF = self.box.mapViewToScene(QPointF(x, y))
        place: QPointF = self.viewportTransform().map(scene)
        return place

    # -- events --------------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Pass the left button to whoever listens, other buttons to pyqtgraph."""
        if event.button() == Qt.MouseButton.LeftButton:
            self._down = True
            self.pressed.emit(self.to_plot(event.position()), event)
            event.accept()
        elif not self._down:
            super().mousePressEvent(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Pass moves to whoever listens."""
        if self._down:
            self.moved.emit(self.to_plot(event.position()), event)
            event.accept()
            return
        if event.buttons() == Qt.MouseButton.NoButton:
            self.hovered.emit(self.to_plot(event.position()))
        super().mouseMoveEvent(event)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Pass the left button to whoever listens, other buttons to pyqtgraph."""
        if event.button() == Qt.MouseButton.LeftButton and self._down:
            self._down = False
            self.released.emit(self.to_plot(event.position()), event)
            event.accept()
        elif not self._down:
            super().mouseReleaseEvent(event)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Treat the second press of a double click as a press."""
        self.mousePressEvent(event)

    def viewportEvent(self, event: QEvent) -> bool:
        """Show a tip for what is under the pointer; over the axes, how the plot is used."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            place = self.mapToScene(event.pos())
            if not self.box.sceneBoundingRect().contains(place):
                return bool(super().viewportEvent(event))
            text = self.tip_at(self.to_plot(QPointF(event.pos())))
            if text:
                QToolTip.showText(event.globalPos(), plain_tip(text), self)
            else:
                QToolTip.hideText()
            return True
        return bool(super().viewportEvent(event))

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """Tell that the scale changed."""
        super().resizeEvent(event)
        if hasattr(self, "_down"):  # pyqtgraph resizes while it constructs
            self.view_changed.emit()

    def _on_range(self, *_: object) -> None:
        self.view_changed.emit()


class Line(pg.PlotCurveItem):
    """A line that never takes the mouse."""

    def __init__(self, style: str | np.ndarray = "finite") -> None:
        super().__init__(connect=style, antialias=True)
        self._drawn: Points | None = None
        self.setAcceptedMouseButtons(Qt.MouseButton.NoButton)

    def show(self, x: FloatArray, y: FloatArray) -> None:
        """Draw other points; NaN leaves a gap."""
        if _same(self._drawn, (x, y)):
            return
        self._drawn = (x, y)
        self.setVisible(bool(x.size))
        if x.size:
            self.setData(x, y)


class Marks(pg.ScatterPlotItem):
    """Marks of one shape and colour at some points."""

    def __init__(self, symbol: object = "o", size: float = 8.0) -> None:
        super().__init__(symbol=symbol, size=size, pxMode=True, hoverable=False)
        self._drawn: Points | None = None
        self.setAcceptedMouseButtons(Qt.MouseButton.NoButton)

    def show(self, x: FloatArray, y: FloatArray) -> None:
        """Draw the marks at other points; those with NaN are left out."""
        if _same(self._drawn, (x, y)):
            return
        self._drawn = (x, y)
        good = np.isfinite(x) & np.isfinite(y)
        self.setVisible(bool(good.any()))
        if good.any():
            self.setData(x[good], y[good])

    def show_sized(self, x: FloatArray, y: FloatArray, size: FloatArray) -> None:
        """Draw marks of different sizes, in screen units."""
        self._drawn = None
        self.setVisible(bool(x.size))
        if x.size:
            self.setData(x, y, size=size)


def _same(a: Points | None, b: Points) -> bool:
    """Tell whether points are drawn already: most of a plot stays as it is while one is dragged."""
    return a is not None and same_values(a[0], b[0]) and same_values(a[1], b[1])
