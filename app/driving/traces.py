"""Traces of desk runs over time, one plot under the other, with a play head through all.

This module imports pyqtgraph; import it late.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QFrame, QScrollArea, QVBoxLayout, QWidget

from app.colours import inks, pen
from app.driving.band import LEFT, Band
from app.driving.channels import MOST_CHANNELS, Row, unit_of
from app.driving.looks import MARKS, NOW, SIGNS, Shown, colour, key, line_pen
from app.driving.verdict import number
from app.focus_ring import RingedWidget
from app.plain import PlainLabel
from app.plots.canvas import Canvas, Line, Marks
from app.plots.frame import OneLine
from app.plots.legend import Legend
from app.plots.symbols import symbol
from calib_model.core.arrays import FloatArray

ROW_HEIGHT = 104
SPARSE = 9
"""Marks along a line that tell its channel."""
LONG_STEP = 25
"""Ticks of the play head's long step: half a second at 20 ms."""


class TraceRow(QWidget):
    """One plot with its title, which reads the values out at the play head.

    Signals
    -------
    pressed : float
        Seconds at which the mouse went down or moved while down.
    """

    pressed = Signal(float)

    def __init__(self, row: Row, height: int = ROW_HEIGHT, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.row = row
        self._runs: Sequence[Shown] = ()
        self.title = OneLine()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.title)
        self.canvas = Canvas()
        self.canvas.left.setWidth(LEFT)
        self.canvas.box.setMouseEnabled(x=True, y=False)
        self.canvas.setMinimumHeight(height)
        self.canvas.setFixedHeight(height)
        self.canvas.pressed.connect(lambda at, _event: self.pressed.emit(at.x()))
        self.canvas.moved.connect(lambda at, _event: self.pressed.emit(at.x()))
        self.head = self.canvas.add(pg.InfiniteLine(angle=90), 9)
        self.head.setAcceptedMouseButtons(Qt.MouseButton.NoButton)
        self._lines: dict[tuple[str, int], tuple[Line, Marks | None]] = {}
        column.addWidget(self.canvas)

    def show_numbers_of_time(self, shown: bool) -> None:
        """Give room to the numbers of the time axis, or only to its ticks."""
        self.canvas.bottom.setStyle(showValues=shown)
        self.canvas.bottom.set_text("Time" if shown else "", "s" if shown else "")
        self.canvas.bottom.setHeight(None if shown else 6)

    def set_inks(self) -> None:
        """Take over colours and font."""
        ink = inks(self.palette())
        self.canvas.set_inks(ink, self.font())
        self.head.setPen(pen(ink.accent, 1.5))
        for (part, channel), (line, marks) in self._lines.items():
            line.setPen(line_pen(channel, part, ink))
            if marks is not None:
                marks.setPen(pen(colour(channel, part, ink), 1.2))
                marks.setBrush(ink.ground)

    def show_runs(self, runs: Sequence[Shown]) -> None:
        """Draw other runs."""
        self._runs = runs
        wanted: set[tuple[str, int]] = set()
        low, high = np.inf, -np.inf
        for shown in runs:
            for channel, (column, _) in enumerate(self.row.channels[:MOST_CHANNELS]):
                values = shown.run.column(column)
                if values is None or (channel and shown.part != NOW):
                    continue  # of the other sets the first channel is enough to compare
                wanted.add((shown.part, channel))
                line, marks = self._items(shown.part, channel)
                line.show(shown.run.time, values)
                if marks is not None:
                    marks.show(*_sparse(shown.run.time, values, channel))
                finite = values[np.isfinite(values)]
                if finite.size:
                    low, high = min(low, finite.min()), max(high, finite.max())
        nothing = np.empty(0)
        for at, (line, marks) in self._lines.items():
            if at not in wanted:
                line.show(nothing, nothing)
                if marks is not None:
                    marks.show(nothing, nothing)
        if low > high:
            low, high = 0.0, 1.0
        pad = 0.08 * (high - low) or max(abs(high) * 0.05, 0.5)
        self.canvas.box.setYRange(low - pad, high + pad, padding=0.0)

    def _items(self, part: str, channel: int) -> tuple[Line, Marks | None]:
        found = self._lines.get((part, channel))
        if found is None:
            depth = 6 if part == NOW else 4
            line = self.canvas.add(Line(), depth)
            marks = None
            if MARKS[channel]:
                marks = self.canvas.add(Marks(symbol(MARKS[channel]), 8), depth + 1)
            found = self._lines[part, channel] = (line, marks)
            self.set_inks()
        return found

    def show_titles(self) -> None:
        """Show the title with the channels' names, without a read-out."""
        unit = unit_of(self.row, [s.run for s in self._runs])
        head = f"{self.row.title}, {unit}" if unit else self.row.title
        named = [f"{SIGNS[n]} {w}" for n, (_, w) in enumerate(self.row.channels[:MOST_CHANNELS])]
        if len(named) > 1:
            head = f"{head}:  {'   '.join(named)}"
        elif self.row.channels[0][1]:
            head = f"{head}: {self.row.channels[0][1]}"
        self.title.show_text(head)

    def set_head(self, seconds: float) -> None:
        """Move the play head and read the values out."""
        self.head.setValue(seconds)
        unit = unit_of(self.row, [s.run for s in self._runs])
        head = f"{self.row.title}, {unit}" if unit else self.row.title
        parts = []
        for channel, (column, words) in enumerate(self.row.channels[:MOST_CHANNELS]):
            texts = []
            for shown in self._runs:
                values = shown.run.column(column)
                if values is None or not values.size or (channel and shown.part != NOW):
                    continue
                value = number(float(values[shown.run.tick_at(seconds)]))
                texts.append(value if shown.part == NOW else f"{_SHORT[shown.part]} {value}")
            if texts:
                name = f"{SIGNS[channel]} {words} " if len(self.row.channels) > 1 else ""
                parts.append(f"{name}{', '.join(texts)}")
        self.title.show_text(f"{head}:  {'   '.join(parts)}" if parts else head)

    def changeEvent(self, event: QEvent) -> None:
        """Follow palette and font."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.PaletteChange, QEvent.Type.FontChange):
            self.set_inks()


_SHORT = {"saved": "saved", "reference": "reference"}


class BandRow(QWidget):
    """A band of words with its title."""

    pressed = Signal(float)

    def __init__(self, row: Row, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.row = row
        self.title = OneLine()
        self.band = Band()
        self.band.pressed.connect(self.pressed)
        self._runs: Sequence[Shown] = ()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 2)
        column.setSpacing(0)
        column.addWidget(self.title)
        column.addWidget(self.band)

    def show_runs(self, runs: Sequence[Shown]) -> None:
        """Draw other runs."""
        self._runs = [s for s in runs if s.run.column(self.row.channels[0][0]) is not None]
        self.band.show_runs(self._runs, self.row.channels[0][0], self.row.words)

    def set_head(self, seconds: float) -> None:
        """Move the play head and read the words out."""
        self.band.set_head(seconds)
        texts = []
        for lane, shown in enumerate(self._runs):
            word = self.band.words_at(seconds, lane) or "none"
            texts.append(word if shown.part == NOW else f"{_SHORT[shown.part]} {word}")
        self.title.show_text(f"{self.row.title}:  {', '.join(texts)}" if texts else self.row.title)


class TraceStack(RingedWidget):
    """Rows of traces with one time axis.

    Signals
    -------
    head_moved : float
        Seconds at which the play head stands.
    opened
        Enter was pressed: whoever listens may go to the table that decided.
    evidence_wanted
        E was pressed: whoever listens may keep the run as evidence.
    """

    head_moved = Signal(float)
    opened = Signal()
    evidence_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Traces over time")
        self.setToolTip(
            "Arrow keys move the play head by a tick, with Ctrl by half a second; Home and End go "
            "to the ends; plus and minus zoom, 0 shows everything; Enter opens the table that "
            "decided, E keeps the run as evidence."
        )
        self.legend = Legend()
        self._rows: list[TraceRow | BandRow] = []
        self._runs: list[Shown] = []
        self._head = 0.0
        self._view = (0.0, 1.0)
        self._linking = False
        self._inside = QWidget()
        self._column = QVBoxLayout(self._inside)
        self._column.setContentsMargins(0, 0, 6, 4)
        self._column.setSpacing(2)
        self._column.addStretch(1)
        self._scroll = QScrollArea()
        self._scroll.setFrameShape(QFrame.Shape.NoFrame)
        self._scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._scroll.setWidgetResizable(True)
        self._scroll.setWidget(self._inside)
        self._empty = PlainLabel()
        self._empty.setWordWrap(True)
        self._empty.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._empty.setMargin(16)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(3, 3, 3, 3)
        whole.setSpacing(2)
        whole.addWidget(self.legend)
        whole.addWidget(self._empty, 1)
        whole.addWidget(self._scroll, 1)
        self.say("No manoeuvre has been driven yet.")

    @property
    def head(self) -> float:
        """Where the play head stands, in seconds."""
        return self._head

    @property
    def rows(self) -> list[TraceRow | BandRow]:
        """The rows, from above."""
        return self._rows

    def say(self, sentence: str) -> None:
        """Show a sentence in place of traces; an empty one brings them back."""
        self._empty.setText(sentence)
        self._empty.setVisible(bool(sentence))
        self._scroll.setVisible(not sentence)
        self.legend.setVisible(not sentence)

    def show_runs(self, runs: Sequence[Shown], rows: Sequence[Row]) -> None:
        """Draw runs in rows; rows that stay keep their items, so that a refresh is quick."""
        self._runs = list(runs)
        there = [r for row in rows if (r := row.of(s.run for s in runs)) is not None]
        if [r.row for r in self._rows] != there:
            self._build(there)
        for made in self._rows:
            made.show_runs(self._runs)
        self.legend.show_entries(key(self._runs, inks(self.palette())))
        end = max((float(s.run.time[-1]) for s in runs if s.run.time.size), default=1.0)
        if end != self._end():
            self.show_whole()
        self.set_head(min(self._head, end))
        self.say("" if there else "These runs have no traces.")

    def _end(self) -> float:
        return getattr(self, "_shown_end", -1.0)

    def _build(self, rows: Sequence[Row]) -> None:
        for old in self._rows:
            self._column.removeWidget(old)
            old.hide()
            old.deleteLater()
        self._rows = []
        for number_, row in enumerate(rows):
            made: TraceRow | BandRow = BandRow(row) if row.is_band else TraceRow(row)
            made.pressed.connect(self._on_pressed)
            self._column.insertWidget(number_, made)
            self._rows.append(made)
            if isinstance(made, TraceRow):
                made.set_inks()
                made.canvas.view_changed.connect(lambda row=made: self._follow(row))
        plots = [r for r in self._rows if isinstance(r, TraceRow)]
        for made in plots:
            made.show_numbers_of_time(made is plots[-1])
        self._shown_end = -1.0

    # -- time ------------------------------------------------------------------------------------

    def show_whole(self) -> None:
        """Show the whole time."""
        ends = [float(s.run.time[-1]) for s in self._runs if s.run.time.size]
        starts = [float(s.run.time[0]) for s in self._runs if s.run.time.size]
        self._shown_end = max(ends, default=1.0)
        self._set_view(min(starts, default=0.0), self._shown_end)

    def zoom(self, factor: float) -> None:
        """Show more (above 1) or less of the time around the play head."""
        low, high = self._view
        middle = min(max(self._head, low), high)
        self._set_view(middle - (middle - low) * factor, middle + (high - middle) * factor)

    def _set_view(self, low: float, high: float) -> None:
        if not high > low:
            return
        self._view = (low, high)
        self._linking = True
        for made in self._rows:
            if isinstance(made, TraceRow):
                made.canvas.box.setXRange(low, high, padding=0.0)
            else:
                made.band.set_view(low, high)
        self._linking = False

    def _follow(self, row: TraceRow) -> None:
        if self._linking:
            return
        (low, high), _ = row.canvas.shown_range()
        if (low, high) != self._view:
            self._set_view(low, high)

    def set_head(self, seconds: float) -> None:
        """Move the play head to the tick at or before a time."""
        run = self._runs[0].run if self._runs else None
        if run is not None and run.time.size:
            seconds = float(run.time[run.tick_at(seconds)])
        moved = seconds != self._head
        self._head = seconds
        for made in self._rows:
            made.set_head(seconds)
        if moved:
            self.head_moved.emit(seconds)

    def step(self, ticks: int) -> None:
        """Move the play head by ticks."""
        run = self._runs[0].run if self._runs else None
        if run is None or not run.time.size:
            return
        at = min(max(run.tick_at(self._head) + ticks, 0), run.time.size - 1)
        self.set_head(float(run.time[at]))
        low, high = self._view
        if not low <= self._head <= high:  # keep it in sight
            width = high - low
            start = self._head - width / 2
            self._set_view(start, start + width)

    def _on_pressed(self, seconds: float) -> None:
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        self.set_head(seconds)

    # -- events ----------------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Move the play head, zoom, open the table that decided."""
        far = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        size = max((s.run.time.size for s in self._runs), default=0)
        match event.key():
            case Qt.Key.Key_Left:
                self.step(-LONG_STEP if far else -1)
            case Qt.Key.Key_Right:
                self.step(LONG_STEP if far else 1)
            case Qt.Key.Key_Home:
                self.step(-size)
            case Qt.Key.Key_End:
                self.step(size)
            case Qt.Key.Key_Plus | Qt.Key.Key_Equal if not far:
                self.zoom(0.6)
            case Qt.Key.Key_Minus if not far:
                self.zoom(1 / 0.6)
            case Qt.Key.Key_0 if not far:
                self.show_whole()
            case Qt.Key.Key_Up | Qt.Key.Key_Down | Qt.Key.Key_PageUp | Qt.Key.Key_PageDown:
                self._scroll_by(event.key())
            case Qt.Key.Key_Return | Qt.Key.Key_Enter:
                self.opened.emit()
            case Qt.Key.Key_E if not far:
                self.evidence_wanted.emit()
            case _:
                super().keyPressEvent(event)

    def _scroll_by(self, pressed: int) -> None:
        bar = self._scroll.verticalScrollBar()
        page = pressed in (Qt.Key.Key_PageUp, Qt.Key.Key_PageDown)
        step = bar.pageStep() if page else ROW_HEIGHT // 2
        up = pressed in (Qt.Key.Key_Up, Qt.Key.Key_PageUp)
        bar.setValue(bar.value() + (-step if up else step))

    def changeEvent(self, event: QEvent) -> None:
        """Follow the palette."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and self._runs:
            self.legend.show_entries(key(self._runs, inks(self.palette())))


def _sparse(time: FloatArray, values: FloatArray, channel: int) -> tuple[FloatArray, FloatArray]:
    """Return a few points of a line, shifted per channel so that marks of two never coincide."""
    if not time.size:
        return time, values
    places = np.linspace(0, time.size - 1, SPARSE + 1)[:-1]
    shift = (time.size - 1) / SPARSE * (0.25 * channel)
    at = np.unique(np.rint(places + shift).astype(np.intp))
    at = at[at < time.size]
    return time[at], values[at]
