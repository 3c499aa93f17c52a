"""The small picture of a kind of rule, drawn in the colours of the theme."""

from __future__ import annotations

from PySide6.QtCore import QByteArray, QRect, QRectF, QSize
from PySide6.QtGui import QPainter, QPaintEvent, QPalette
from PySide6.QtSvg import QSvgRenderer
from PySide6.QtWidgets import QWidget

from app.look.palettes import tones_of
from app.plain import plain_tip
from calib_model.core.rule_settings import Picture
from calib_model.reports.rule_picture import HEIGHT, WIDTH, rule_picture_svg

_SECOND = "#777"
"""What `rule_picture_svg` draws beside the line itself with."""


def _drawing(picture: Picture, palette: QPalette) -> QSvgRenderer:
    own = tones_of(palette)
    text = rule_picture_svg(picture).replace(_SECOND, own.second)
    return QSvgRenderer(QByteArray(text.replace("currentColor", own.text).encode()))


def paint_picture(painter: QPainter, rect: QRect, picture: Picture, palette: QPalette) -> None:
    """Draw the picture of a kind into a rectangle."""
    _drawing(picture, palette).render(painter, QRectF(rect))


class RulePicture(QWidget):
    """Shows the picture of one kind, crisp at any scale; its words are read to those who listen."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._picture: Picture | None = None
        self.setFixedSize(WIDTH, HEIGHT)

    def show_picture(self, picture: Picture | None) -> None:
        """Show another picture, or none."""
        self._picture = picture
        words = picture.words if picture is not None else ""
        self.setAccessibleName(words)
        self.setToolTip(plain_tip(words))
        self.setVisible(picture is not None)
        self.update()

    def sizeHint(self) -> QSize:
        """Return the size that pictures are made for."""
        return QSize(WIDTH, HEIGHT)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw it."""
        if self._picture is not None:
            painter = QPainter(self)
            paint_picture(painter, self.rect(), self._picture, self.palette())
            painter.end()
