"""A colour bar with numbers and unit, beside a heat map."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QFont, QFontMetrics, QImage, QPainter, QPaintEvent, QPixmap
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.colours import Rgb, pen
from calib_model.core.labels import NO_LABELS, Labels
from calib_model.core.numbers import short

_BAR = 14
_MOST_TICKS = 6


class ColourBar(QWidget):
    """Which colour means which value."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._ramp: Rgb = np.zeros((2, 3), np.uint8)
        self._low, self._high = 0.0, 1.0
        self._unit = ""
        self._signed = False
        self._value = math.nan
        self._drawn: QPixmap | None = None
        self._drawn_for = (QSize(), 1.0)
        self._labels = NO_LABELS
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Expanding)

    def show_scale(
        self,
        ramp: Rgb,
        low: float,
        high: float,
        unit: str,
        *,
        signed: bool = False,
        labels: Labels = NO_LABELS,
    ) -> None:
        """Show another scale.

        Parameters
        ----------
        ramp : ndarray of uint8, shape (n, 3)
            Lowest first.
        low, high : float
        unit : str
            As shown.
        signed : bool
            Write a sign before positive numbers: the scale is one of differences.
        labels : Labels
            Names of values; they take the place of round numbers.
        """
        if not np.array_equal(ramp, self._ramp):
            self._ramp, self._drawn = np.ascontiguousarray(ramp), None
        self._low, self._high = low, high
        self._unit, self._signed, self._labels = unit, signed, labels
        what = "difference" if signed else "value"
        self.setAccessibleName(
            f"Colours: {what} from {self._text(low)} to {self._text(high)} {unit}"
        )
        self.updateGeometry()
        self.update()

    def show_value(self, value: float) -> None:
        """Point at the value under the cross-hair; NaN points nowhere."""
        if value != self._value:
            self._value = value
            self.update()

    def sizeHint(self) -> QSize:
        """As wide as the unit, and as the numbers at any height: a wider hint would come late."""
        metrics = QFontMetrics(self._small())
        texts = {self._text(t) for room in range(2, _MOST_TICKS + 1) for t in self._ticks(room)}
        widest = max((metrics.horizontalAdvance(t) for t in texts), default=20)
        return QSize(max(_BAR + 9 + widest, metrics.horizontalAdvance(self._unit)) + 8, 90)

    def minimumSizeHint(self) -> QSize:
        """Never narrower than its numbers."""
        return self.sizeHint()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the ramp and its numbers."""
        painter = QPainter(self)
        painter.setFont(self._small())
        metrics = painter.fontMetrics()
        text = self.palette().windowText().color()
        painter.setPen(text)
        line = metrics.height()
        painter.drawText(
            QRectF(2, 0, self.width() - 2, line), Qt.AlignmentFlag.AlignLeft, self._unit
        )
        top = line + 5.0
        bar = QRectF(7, top, _BAR, max(self.height() - top - line / 2 - 2, 10))
        painter.drawPixmap(bar.toRect(), self._picture(bar.toRect().size()))
        painter.setPen(pen(text))
        painter.drawRect(bar)
        for tick in self._ticks(self.height() / (QFontMetrics(self.font()).height() * 1.6)):
            y = self._y(tick, bar)
            painter.drawLine(QPointF(bar.right(), y), QPointF(bar.right() + 3, y))
            place = QRectF(bar.right() + 6, y - line / 2, self.width(), line)
            painter.drawText(place, Qt.AlignmentFlag.AlignVCenter, self._text(tick))
        if math.isfinite(self._value):
            y = self._y(self._value, bar)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setBrush(text)
            painter.drawPolygon([QPointF(0, y - 4), QPointF(6, y), QPointF(0, y + 4)])

    def _picture(self, size: QSize) -> QPixmap:
        """Return the ramp as a picture, highest on top; kept until ramp or size change."""
        ratio = self.devicePixelRatioF()
        if self._drawn is None or self._drawn_for != (size, ratio):
            flipped = np.ascontiguousarray(self._ramp[::-1])
            image = QImage(flipped.tobytes(), 1, len(flipped), 3, QImage.Format.Format_RGB888)
            made = QPixmap.fromImage(image).scaled(size * ratio)
            made.setDevicePixelRatio(ratio)
            self._drawn, self._drawn_for = made, (size, ratio)
        return self._drawn

    def _small(self) -> QFont:
        font = QFont(self.font())
        font.setPointSizeF(max(font.pointSizeF() * 0.9, 7.0))
        return font

    def _y(self, value: float, bar: QRectF) -> float:
        share = (value - self._low) / ((self._high - self._low) or 1.0)
        return bar.bottom() - min(max(share, 0.0), 1.0) * bar.height()

    def _text(self, value: float) -> str:
        text = self._labels.name(value) or short(value, 4)
        return f"+{text}" if self._signed and value > 0 else text

    def _ticks(self, room: float) -> list[float]:
        """Round numbers within the scale, about five and no more than there is room for."""
        span = self._high - self._low
        if self._labels:
            return [n for n in self._labels.numbers.tolist() if self._low <= n <= self._high]
        if not (span > 0 and math.isfinite(span)):
            return [self._low]
        rough = span / min(max(room, 2.0), _MOST_TICKS)
        power = 10.0 ** math.floor(math.log10(rough))
        step = next(power * m for m in (1, 2, 5, 10) if power * m >= rough * 0.999)
        first, last = math.ceil(self._low / step - 1e-9), math.floor(self._high / step + 1e-9)
        return [round(i * step, 12) + 0.0 for i in range(first, last + 1)]
