"""The plot as an image for a report or a mail."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, QSize, Qt
from PySide6.QtGui import QFontMetrics, QImage, QPainter
from PySide6.QtWidgets import QWidget


def composed(title: str, plot: QWidget, key: QWidget | None) -> QImage:
    """Return a plot under its title, with its key below.

    Parameters
    ----------
    title : str
    plot : QWidget
        The drawn area; its font and palette are those of the title.
    key : QWidget or None
    """
    page = plot.grab().toImage()
    ratio = page.devicePixelRatio()
    line = QFontMetrics(plot.font()).height() + 6
    width, height = page.width() / ratio, page.height() / ratio
    below = key.height() + 4 if key is not None else 0
    size = QSize(page.width(), round((height + line + below) * ratio))
    image = QImage(size, QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(ratio)
    image.fill(plot.palette().window().color())
    painter = QPainter(image)
    painter.setFont(plot.font())
    painter.setPen(plot.palette().windowText().color())
    painter.drawText(QRect(6, 0, int(width) - 12, line), Qt.AlignmentFlag.AlignVCenter, title)
    painter.drawImage(QPointF(0, line), page)
    if key is not None:
        painter.drawPixmap(QPointF(4, line + height + 2), key.grab())
    painter.end()
    return image
