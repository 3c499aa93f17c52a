"""Bands under the strips: which table governed, in words; colour only tells neighbours apart."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QEvent, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFontMetrics,
    QHelpEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPixmap,
)
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from app.colours import Inks, inks, mixed, pen, text_on
from app.plain import plain_tip
from app.road.recordings.scene import Band, Scene
from app.severity import paint_severity

# Evenly light, told apart by lightness as well; words stand in them wherever there is room.
_FILLS = ("#4f7cac", "#c98a3d", "#7d9d63", "#a4699a", "#8a8f98", "#b9605a", "#4e9c9a", "#b3a04a")
_MARK = 8
"""Size of the mark of a fault."""
_LEAST = 3
"""Narrowest part that is drawn by itself, in screen units."""


class BandView(QWidget):
    """One row for each band.

    Signals
    -------
    pressed : float
        The user pointed at a moment.
    """

    pressed = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._scene = Scene(np.empty(0))
        self._view = (0.0, 1.0, 64, 64)
        self._head = 0
        self._picture: QPixmap | None = None
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.setMouseTracking(True)
        self.setAccessibleName("Governing table over time")

    def show_scene(self, scene: Scene) -> None:
        """Show other bands."""
        self._scene = scene
        self._picture = None
        self.setVisible(bool(scene.bands) or bool(scene.faults.size))
        self.updateGeometry()
        self.update()

    def show_view(self, low: float, high: float, left: int, right: int) -> None:
        """Draw the span from `low` to `high` seconds between two places of this widget."""
        if (low, high, left, right) != self._view:
            self._view = (low, high, left, right)
            self._picture = None
            self.update()

    def set_head(self, tick: int) -> None:
        """Move the play head."""
        self._head = tick
        words = "; ".join(f"{b.title} {b.word(tick)}" for b in self._scene.bands)
        self.setAccessibleDescription(words)
        self.update()

    def sizeHint(self) -> QSize:
        """One line of text for each band."""
        marks = _MARK + 2 if self._scene.faults.size else 0
        return QSize(120, self._row() * len(self._scene.bands) + 2 + marks)

    def minimumSizeHint(self) -> QSize:
        """The same."""
        return self.sizeHint()

    def _row(self) -> int:
        return QFontMetrics(self.font()).height() + 5

    def parts(self, band: Band) -> list[tuple[int, int, int]]:
        """Return what is drawn of a band: left, right (screen units), code; -2 for a mixture.

        Parts narrower than can be seen are drawn together as a mixture, so that none is drawn as
        something that it is not.
        """
        low, high, left, right = self._view
        time = self._scene.time
        if right <= left or not high > low or not time.size:
            return []
        first = max(int(np.searchsorted(time, low, side="right")) - 1, 0)
        last = min(int(np.searchsorted(time, high, side="right")), time.size)
        codes = band.codes[first:last]
        if not codes.size:
            return []
        begins = np.concatenate(([0], np.flatnonzero(np.diff(codes)) + 1))
        scale = (right - left) / (high - low)
        edges = np.clip(left + (time[first + begins] - low) * scale, left, right)
        # What governs at a tick governs until the next, which may lie beyond the view.
        until = float(time[min(last, time.size - 1)])
        end = min(left + (until - low) * scale, float(right))
        bounds = np.rint(np.append(edges, max(end, edges[-1]))).astype(int)
        widths = np.diff(bounds)
        found: list[tuple[int, int, int]] = []
        values = codes[begins]
        # Runs of narrow parts become one; numpy first, since there may be thousands.
        narrow = widths < _LEAST
        starts = np.concatenate(([0], np.flatnonzero(~(narrow[1:] & narrow[:-1])) + 1))
        for number, start in enumerate(starts.tolist()):
            stop = int(starts[number + 1]) if number + 1 < len(starts) else len(widths)
            x0, x1 = int(bounds[start]), int(bounds[stop])
            several = stop - start > 1 and len(np.unique(values[start:stop])) > 1
            found.append((x0, max(x1, x0 + 1), -2 if several else int(values[start])))
        return found

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the bands, which are kept as a picture, and the play head over them."""
        ratio = self.devicePixelRatioF()
        size = self.size() * ratio
        if self._picture is None or self._picture.size() != size:
            self._picture = QPixmap(size)
            self._picture.setDevicePixelRatio(ratio)
            self._picture.fill(Qt.GlobalColor.transparent)
            drawing = QPainter(self._picture)
            drawing.setFont(self.font())
            self._paint_bands(drawing)
            drawing.end()
        painter = QPainter(self)
        painter.drawPixmap(0, 0, self._picture)
        low, high, left, right = self._view
        time = self._scene.time
        if time.size and high > low:
            moment = float(time[min(self._head, time.size - 1)])
            if low <= moment <= high:
                x = round(left + (moment - low) * (right - left) / (high - low))
                painter.setPen(pen(inks(self.palette()).accent, 2.0))
                painter.drawLine(x, 0, x, self.height())

    def _paint_bands(self, painter: QPainter) -> None:
        colours = inks(self.palette())
        ground = self.palette().window().color()
        metrics = painter.fontMetrics()
        row = self._row()
        left = self._view[2]
        mixture = QBrush(colours.quiet, Qt.BrushStyle.DiagCrossPattern)
        fills = {-1: colours.ground}
        for number, band in enumerate(self._scene.bands):
            top = number * row
            title = metrics.elidedText(band.letter, Qt.TextElideMode.ElideRight, left - 8)
            painter.setPen(self.palette().windowText().color())
            title_box = QRectF(4, top, left - 8, row)
            painter.drawText(
                title_box, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignRight, title
            )
            for x0, x1, code in self.parts(band):
                box = QRectF(x0, top + 1, x1 - x0, row - 2)
                if code == -2:
                    painter.fillRect(box, ground)
                    painter.fillRect(box, mixture)
                    continue
                if code not in fills:
                    fills[code] = _fill(code, colours.ground)
                fill = fills[code]
                painter.fillRect(box, fill)
                words = band.words.get(code, "")
                if words and x1 - x0 > 24:
                    painter.setPen(text_on(fill))
                    inside = box.adjusted(3, 0, -2, 0)
                    shown = metrics.elidedText(
                        words, Qt.TextElideMode.ElideRight, int(inside.width())
                    )
                    painter.drawText(inside, Qt.AlignmentFlag.AlignVCenter, shown)
                painter.fillRect(QRectF(x0, top + 1, 1, row - 2), ground)
        self._paint_faults(painter, colours)

    def changeEvent(self, event: QEvent) -> None:
        """Draw anew in other colours."""
        super().changeEvent(event)
        self._picture = None
        self.update()

    def _paint_faults(self, painter: QPainter, colours: Inks) -> None:
        """Draw a mark where a fault begins, no more than one for each place of the screen."""
        low, high, left, right = self._view
        faults = self._scene.faults
        seen = faults[(faults >= low) & (faults <= high)]
        if not seen.size or not high > low:
            return
        top = self._row() * len(self._scene.bands) + 2
        places = np.unique(np.rint(left + (seen - low) * (right - left) / (high - low)))
        for x in places.tolist():
            box = QRectF(x - _MARK / 2, top, _MARK, _MARK)
            paint_severity(painter, box, "warning", colours.warning)

    def moment_at(self, x: float) -> float:
        """Return the moment at a place."""
        low, high, left, right = self._view
        share = (x - left) / max(right - left, 1)
        return low + min(max(share, 0.0), 1.0) * (high - low)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take the play head there."""
        if event.button() == Qt.MouseButton.LeftButton:
            self.pressed.emit(self.moment_at(event.position().x()))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Draw the play head along."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self.pressed.emit(self.moment_at(event.position().x()))

    def event(self, event: QEvent) -> bool:
        """Say in full what governs where the pointer is."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            number = event.pos().y() // max(self._row(), 1)
            if self._scene.time.size and 0 <= number < len(self._scene.bands):
                band = self._scene.bands[number]
                tick = self._scene.tick_at(self.moment_at(event.pos().x()))
                moment = float(self._scene.time[tick])
                QToolTip.showText(
                    event.globalPos(),
                    plain_tip(f"At {moment:.2f} s {band.title} {band.word(tick)}"),
                    self,
                )
            return True
        return super().event(event)


def _fill(code: int, ground: QColor) -> QColor:
    return mixed(QColor(_FILLS[code % len(_FILLS)]), ground, 0.25)
