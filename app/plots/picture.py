"""Plots as pictures: for the clipboard, as PNG, as SVG with lines that stay lines, for slides."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QBuffer, QByteArray, QIODevice, QPoint, QRect, QSize, Qt
from PySide6.QtGui import QImage, QPainter
from PySide6.QtSvg import QSvgGenerator
from PySide6.QtWidgets import QApplication, QVBoxLayout, QWidget

from app.look.palettes import palette
from app.look.parts import ShortLabel
from app.look.type import sized
from calib_model.errors import SaveFailed
from calib_model.store import write_whole

SLIDE = QSize(1280, 720)
"""Size of a picture for slides, before the scale."""
SCALE = 1.5
"""Pixels of a picture per unit of the screen: finer than here, and strokes are not too thin."""
LARGE = 1.7
"""Type on a slide against that of the window: it is read from the back of a room."""


class Sheet(QWidget):
    """A plot of its own under its title, out of sight, as it is put into a picture.

    Parameters
    ----------
    title : str
    made : QWidget
        Taken over, and gone with the sheet.
    size : QSize
    slide : bool
        Whether it is light and large, whatever the window is.
    """

    def __init__(self, title: str, made: QWidget, size: QSize, *, slide: bool = False) -> None:
        super().__init__()
        self.setAttribute(Qt.WidgetAttribute.WA_DontShowOnScreen)
        self.setAutoFillBackground(True)
        font = QApplication.font()
        if slide:
            self.setPalette(palette("light"))
            font.setPointSizeF(font.pointSizeF() * LARGE)
        else:
            self.setPalette(QApplication.palette())
        self.setFont(font)
        self.title = ShortLabel(title)
        column = QVBoxLayout(self)
        column.addWidget(self.title)
        column.addWidget(made, 1)
        for part in (made, self.title):
            part.setPalette(self.palette())
            part.setFont(font)
        self.title.setFont(sized(font, "title"))
        self.resize(size)
        self.show()
        # The plots draw what is asked of them once the present events are through.
        for _ in range(4):
            QApplication.processEvents()


def image_of(widget: QWidget) -> QImage:
    """Return a widget as an image, finer than the screen."""
    image = QImage(widget.size() * SCALE, QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(SCALE)
    image.fill(widget.palette().window().color())
    painter = QPainter(image)
    widget.render(painter, QPoint())
    painter.end()
    return image


def svg_of(widget: QWidget, title: str) -> bytes:
    """Return a widget as SVG: lines and text are drawn anew at any size."""
    held = QByteArray()
    buffer = QBuffer(held)
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    generator = QSvgGenerator()
    generator.setOutputDevice(buffer)
    generator.setSize(widget.size())
    generator.setViewBox(QRect(QPoint(), widget.size()))
    generator.setTitle(title)
    painter = QPainter(generator)
    widget.render(painter, QPoint())
    painter.end()
    buffer.close()
    return bytes(held.data())


def png_of(image: QImage) -> bytes:
    """Return an image as PNG."""
    held = QByteArray()
    buffer = QBuffer(held)
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    image.save(buffer, "PNG")  # type: ignore[call-overload]
    return bytes(held.data())


def write_picture(path: Path, widget: QWidget, title: str) -> None:
    """Write a widget as SVG or, with any other ending, as PNG.

    Raises
    ------
    SaveFailed
        With the file and what stood in the way.
    """
    if path.suffix.lower() == ".svg":
        write_whole(path, svg_of(widget, title))
    else:
        write_whole(path, png_of(image_of(widget)))


Twin = Callable[[], QWidget]

__all__ = ["SLIDE", "SaveFailed", "Sheet", "Twin", "image_of", "png_of", "svg_of", "write_picture"]
