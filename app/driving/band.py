"""A band of words over time: which state, which table decided; a lane per run."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics, QHelpEvent, QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from app.colours import inks, mixed, pen, text_on
from app.driving.looks import Shown
from app.plain import plain_tip
from calib_model.core.arrays import FloatArray

LEFT, RIGHT = 64, 10
"""Margins that line up with those of the plots above and below."""
_LANE_NAMES = {"now": "now", "saved": "saved", "reference": "ref."}


def segments(codes: FloatArray) -> list[tuple[int, int, int]]:
    """Return runs of equal codes.

    Parameters
    ----------
    codes : float array, shape (T,)
        NaN counts as -1.

    Returns
    -------
    list of (first tick, one past the last, code)
    """
    if not codes.size:
        return []
    whole = np.where(np.isfinite(codes), codes, -1.0).astype(np.int64)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(whole)) + 1))
    ends = np.concatenate((starts[1:], [whole.size]))
    return [(int(a), int(b), int(whole[a])) for a, b in zip(starts, ends, strict=True)]


class Band(QWidget):
    """One row of words over time.

    Signals
    -------
    pressed : float
        Seconds at which the mouse went down.
    """

    pressed = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._lanes: list[tuple[str, FloatArray, list[tuple[int, int, int]]]] = []
        self._words: tuple[str, ...] = ()
        self._range = (0.0, 1.0)
        self._head = 0.0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def show_runs(self, runs: Sequence[Shown], column: str, words: tuple[str, ...]) -> None:
        """Show a column of codes of some runs."""
        self._words = words
        self._lanes = []
        for shown in runs:
            codes = shown.run.column(column)
            if codes is not None:
                self._lanes.append((shown.part, shown.run.time, segments(codes)))
        self.updateGeometry()
        self.update()

    def set_view(self, low: float, high: float) -> None:
        """Show another span of time."""
        self._range = (low, high)
        self.update()

    def set_head(self, seconds: float) -> None:
        """Move the play head."""
        self._head = seconds
        self.update()

    def word(self, code: int) -> str:
        """Return what a code means; empty for none."""
        return self._words[code] if 0 <= code < len(self._words) else ""

    def sizeHint(self) -> QSize:
        """A line of text for each lane."""
        return QSize(200, max(len(self._lanes), 1) * self._lane_height() + 2)

    def minimumSizeHint(self) -> QSize:
        """As the size hint: lanes are never cut."""
        return self.sizeHint()

    def _lane_height(self) -> int:
        return QFontMetrics(self.font()).height() + 5

    def _x(self, seconds: float) -> float:
        low, high = self._range
        room = max(self.width() - LEFT - RIGHT, 1)
        return LEFT + (seconds - low) / max(high - low, 1e-9) * room

    def _seconds(self, x: float) -> float:
        low, high = self._range
        return low + (x - LEFT) / max(self.width() - LEFT - RIGHT, 1) * (high - low)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the lanes."""
        painter = QPainter(self)
        ink = inks(self.palette())
        painter.fillRect(self.rect(), ink.ground)
        fills = (mixed(ink.ground, ink.line, 0.10), mixed(ink.ground, ink.line, 0.24))
        metrics = painter.fontMetrics()
        height = self._lane_height()
        left, right = self._x(self._range[0]), self._x(self._range[1])
        for lane, (part, time, parts) in enumerate(self._lanes):
            top = lane * height + 1
            painter.setPen(ink.line)
            name = QRectF(0, top, LEFT - 6, height - 2)
            painter.drawText(
                name, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, _LANE_NAMES[part]
            )
            for first, end, code in parts:
                text = self.word(code)
                if not text:
                    continue
                stop = time[end] if end < time.size else time[-1]
                a, b = max(self._x(time[first]), left), min(self._x(stop), right)
                if b <= a:
                    continue
                fill = fills[code % 2]
                box = QRectF(a, top, max(b - a, 1.0), height - 2)
                painter.fillRect(box, fill)
                painter.setPen(pen(ink.quiet))
                painter.drawLine(box.topLeft(), box.bottomLeft())
                room = box.adjusted(4, 0, -2, 0)
                if room.width() > metrics.averageCharWidth() * 3:
                    painter.setPen(text_on(fill))
                    painter.drawText(
                        room,
                        Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft,
                        metrics.elidedText(text, Qt.TextElideMode.ElideRight, int(room.width())),
                    )
        x = self._x(self._head)
        if left <= x <= right:
            painter.setPen(pen(ink.accent, 1.5))
            painter.drawLine(QPointF(x, 0), QPointF(x, self.height()))

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Put the play head."""
        self.pressed.emit(self._seconds(event.position().x()))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Drag the play head."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self.pressed.emit(self._seconds(event.position().x()))

    def event(self, event: QEvent) -> bool:
        """Say what a short piece, too narrow for its word, is."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            seconds = self._seconds(event.pos().x())
            lane = event.pos().y() // self._lane_height()
            QToolTip.showText(event.globalPos(), plain_tip(self.words_at(seconds, lane)), self)
            return True
        return super().event(event)

    def words_at(self, seconds: float, lane: int) -> str:
        """Return what a lane says at a time."""
        if not 0 <= lane < len(self._lanes):
            return ""
        _, time, parts = self._lanes[lane]
        for first, end, code in parts:
            stop = time[end] if end < time.size else np.inf
            if time[first] <= seconds < stop:
                return self.word(code)
        return ""
