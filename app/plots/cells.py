"""Coloured cells over unequal breakpoints, painted as one picture in whole screen pixels.

pyqtgraph's mesh item draws cell by cell: 10 ms for 40 x 40 cells where this takes under one.
Like `canvas`, this module imports pyqtgraph; import it late.
"""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QImage, QPainter, QTransform
from PySide6.QtWidgets import QStyleOptionGraphicsItem, QWidget

from app.colours import Rgb
from calib_model.core.arrays import BoolArray, FloatArray


class CellsItem(pg.GraphicsObject):
    """A rectangle of cells, each of one colour; cells that are not filled stay bare."""

    def __init__(self) -> None:
        super().__init__()
        self._x = self._y = np.array([0.0, 1.0])
        self._argb = np.zeros((1, 1), np.uint32)
        self._image: QImage | None = None
        self._at = QPointF()
        self._key: tuple[object, ...] = ()

    def set_edges(self, x: FloatArray, y: FloatArray) -> None:
        """Take over the cells' borders.

        Parameters
        ----------
        x : float array, shape (columns + 1,), rising
        y : float array, shape (rows + 1,), rising
        """
        self.prepareGeometryChange()
        self._x, self._y = x, y
        self._image = None

    def set_colours(self, rgb: Rgb, empty: BoolArray) -> None:
        """Take over the cells' colours.

        Parameters
        ----------
        rgb : ndarray of uint8, shape (rows, columns, 3)
        empty : bool array, shape (rows, columns)
        """
        red, green, blue = (rgb[..., i].astype(np.uint32) for i in range(3))
        argb = np.uint32(0xFF000000) | (red << 16) | (green << 8) | blue
        self._argb = np.where(empty, np.uint32(0), argb)
        self._image = None
        self.update()

    def boundingRect(self) -> QRectF:
        """Return the rectangle of all cells."""
        x, y = self._x, self._y
        return QRectF(x[0], y[0], x[-1] - x[0], y[-1] - y[0])

    def paint(
        self,
        painter: QPainter,
        option: QStyleOptionGraphicsItem,
        widget: QWidget | None = None,
    ) -> None:
        """Paint the part in view."""
        if self._argb.shape != (self._y.size - 1, self._x.size - 1):
            return  # the edges came, the colours are about to
        transform = painter.worldTransform()
        ratio = painter.device().devicePixelRatioF()
        view = self.viewRect()
        key = (
            *(transform.m11(), transform.m22(), transform.dx(), transform.dy()),
            *(ratio, view.left(), view.right(), view.top(), view.bottom()),
        )
        if self._image is None or key != self._key:
            self._render(transform, ratio, view)
            self._key = key
        if self._image is not None:
            painter.save()
            painter.resetTransform()
            painter.drawImage(self._at, self._image)
            painter.restore()

    def _render(self, transform: QTransform, ratio: float, view: QRectF) -> None:
        """Make the picture: for each pixel column and row, the cell under its middle."""
        self._image = None
        in_view = self.boundingRect().intersected(view)
        box = transform.mapRect(in_view)
        left, top = int(np.floor(box.left() * ratio)), int(np.floor(box.top() * ratio))
        right, bottom = int(np.ceil(box.right() * ratio)), int(np.ceil(box.bottom() * ratio))
        if right <= left or bottom <= top or not transform.isInvertible():
            return
        x = ((np.arange(left, right) + 0.5) / ratio - transform.dx()) / transform.m11()
        y = ((np.arange(top, bottom) + 0.5) / ratio - transform.dy()) / transform.m22()
        columns = np.searchsorted(self._x, x, side="right") - 1
        rows = np.searchsorted(self._y, y, side="right") - 1
        columns = np.clip(columns, 0, self._x.size - 2)
        rows = np.clip(rows, 0, self._y.size - 2)
        pixels = np.ascontiguousarray(self._argb[rows][:, columns])
        height, width = pixels.shape
        # Colours are bare or solid, so "premultiplied" is the same and needs no conversion.
        image = QImage(
            pixels.data, width, height, 4 * width, QImage.Format.Format_ARGB32_Premultiplied
        ).copy()  # the image must not outlive the array it was made of
        image.setDevicePixelRatio(ratio)
        self._image = image
        self._at = QPointF(left / ratio, top / ratio)
