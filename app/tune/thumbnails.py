"""A table as a small picture: a line for a curve, a heat picture for a map, a scalar's value."""

from __future__ import annotations

from collections import OrderedDict

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPalette, QPen, QPixmap, QPolygonF

from app.colours import is_dark, value_map
from app.grid.heat import levels
from app.look.choices import chosen
from calib_model.core.arrays import FloatArray
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.planes import plane_index
from calib_model.core.table import Table

_KEPT = 3000
_MARGIN = 3.0


class Thumbnails:
    """Pictures that are kept while their table stays the same object.

    Parameters
    ----------
    size : QSize
        In device-independent pixels.
    """

    def __init__(self, size: QSize) -> None:
        self.size = size
        self.drawn = 0
        """How many pictures were drawn so far."""
        self._kept: OrderedDict[str, tuple[Table, object, QPixmap]] = OrderedDict()

    def of(self, table: Table, palette: QPalette, ratio: float = 1.0) -> QPixmap:
        """Return a table's picture, drawn now if there is none for it yet.

        Parameters
        ----------
        table : Table
        palette : QPalette
        ratio : float
            Device pixels per pixel.
        """
        size = self.size.width(), self.size.height()
        look = (palette.cacheKey(), ratio, size, chosen().values)
        kept = self._kept.get(table.id)
        if kept is not None and kept[0] is table and kept[1] == look:
            self._kept.move_to_end(table.id)
            return kept[2]
        picture = draw(table, self.size, palette, ratio)
        self.drawn += 1
        self._kept[table.id] = (table, look, picture)
        self._kept.move_to_end(table.id)
        if len(self._kept) > _KEPT:
            self._kept.popitem(last=False)
        return picture


def draw(table: Table, size: QSize, palette: QPalette, ratio: float = 1.0) -> QPixmap:
    """Return a picture of a table."""
    pixmap = QPixmap(size * ratio)
    pixmap.setDevicePixelRatio(ratio)
    pixmap.fill(Qt.GlobalColor.transparent)
    painter = QPainter(pixmap)
    area = QRectF(0, 0, size.width(), size.height())
    ink = palette.color(QPalette.ColorRole.Text)
    if table.values.ndim == 0:
        _draw_value(painter, area, table.said_short(float(table.values), 4), ink)
    elif table.values.ndim == 1:
        painter.fillRect(area, palette.color(QPalette.ColorRole.Base))
        _draw_curve(painter, area, table.axes[0], table.values, ink)
        _frame(painter, area, palette)
    else:
        first = table.values[plane_index((0,) * (table.values.ndim - 2))]
        base = palette.color(QPalette.ColorRole.Base)
        dark = is_dark(palette)
        painter.fillRect(area, base)
        painter.drawImage(area, heat_image(first, levels(table.values), dark=dark))
        _frame(painter, area, palette)
    painter.end()
    return pixmap


def heat_image(values: FloatArray, span: tuple[float, float] | None, *, dark: bool) -> QImage:
    """Return one pixel per cell, rows down; empty cells are clear.

    Parameters
    ----------
    values : float array, shape (rows, columns)
    span : pair of float or None
        Values of the first and last colour; None gives every cell the middle one.
    dark : bool
    """
    colours = value_map(dark=dark)
    filled = np.isfinite(values)
    share = np.full(values.shape, 0.5)
    if span is not None:
        share = np.where(filled, (np.where(filled, values, 0) - span[0]) / (span[1] - span[0]), 0)
    rgb = colours[np.rint(np.clip(share, 0, 1) * (len(colours) - 1)).astype(int)]
    pixels = np.zeros((*values.shape, 4), dtype=np.uint8)
    pixels[..., :3] = rgb
    pixels[..., 3] = np.where(filled, 255, 0)
    rows, columns = values.shape
    image = QImage(pixels.tobytes(), columns, rows, 4 * columns, QImage.Format.Format_RGBA8888)
    return image.copy()  # the copy owns its pixels


def _draw_value(painter: QPainter, area: QRectF, text: str, ink: QColor) -> None:
    font = painter.font()
    painter.setPen(ink)
    while font.pointSizeF() > 6:
        painter.setFont(font)
        if painter.fontMetrics().horizontalAdvance(text) <= area.width() - 2:
            break
        font.setPointSizeF(font.pointSizeF() - 0.5)
    painter.drawText(area, Qt.AlignmentFlag.AlignCenter, text)


def _draw_curve(
    painter: QPainter, area: QRectF, axis: Axis, values: FloatArray, ink: QColor
) -> None:
    x = axis.values if axis.ordered else np.arange(values.size, dtype=float)
    if axis.interpolation == Interpolation.STEP and values.size > 1:
        x, values = np.repeat(x, 2)[1:], np.repeat(values, 2)[:-1]
    inner = area.adjusted(_MARGIN, _MARGIN, -_MARGIN, -_MARGIN)
    span = levels(values)
    across = (x - x[0]) / (x[-1] - x[0]) if x[-1] > x[0] else np.full(x.shape, 0.5)
    up = (
        (values - span[0]) / (span[1] - span[0])
        if span
        else np.where(np.isnan(values), np.nan, 0.5)
    )
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(ink, 1.4))
    painter.setBrush(ink)
    points = [
        QPointF(inner.left() + float(a) * inner.width(), inner.bottom() - float(u) * inner.height())
        for a, u in zip(across, np.nan_to_num(up), strict=True)
    ]
    start = 0
    for i in range(len(points) + 1):
        if i == len(points) or np.isnan(up[i]):
            part = points[start:i]
            if len(part) > 1:
                painter.drawPolyline(QPolygonF(part))
            elif part:
                painter.drawEllipse(part[0], 1.5, 1.5)
            start = i + 1


def _frame(painter: QPainter, area: QRectF, palette: QPalette) -> None:
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(palette.color(QPalette.ColorRole.Mid))
    painter.drawRect(area.adjusted(0, 0, -1, -1))
