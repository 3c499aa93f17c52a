"""Helpers that give a control its place in the language: rank of a button, switch, headings."""

from __future__ import annotations

from typing import TypeVar

from PySide6.QtCore import QEvent, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QAbstractButton, QApplication, QCheckBox, QWidget

from app.plain import PlainLabel, plain_tip

from .draw_controls import RANK, SWITCH
from .palettes import tones_of
from .type import sized

Button = TypeVar("Button", bound=QAbstractButton)


def primary(button: Button) -> Button:
    """Make a button the one primary act of its page or panel; returns it."""
    return _ranked(button, "primary")


def quiet(button: Button) -> Button:
    """Make a button one that shows its ground under the pointer only; returns it."""
    return _ranked(button, "quiet")


def plain(button: Button) -> Button:
    """Make a button an ordinary one again; returns it."""
    return _ranked(button, "")


def _ranked(button: Button, rank: str) -> Button:
    button.setProperty(RANK, rank)
    button.update()
    return button


def switch(box: QCheckBox) -> QCheckBox:
    """Draw a check box as a switch: for what is on or off at once; returns it."""
    box.setProperty(SWITCH, True)
    box.updateGeometry()
    box.update()
    return box


class TextLabel(PlainLabel):
    """A label at a step of the type scale that follows the size the user chooses.

    Parameters
    ----------
    text : str
    step : str
        ``small``, ``body``, ``title`` or ``figure``.
    second : bool
        Whether it is in the second colour of text.
    parent : QWidget, optional
    """

    def __init__(
        self,
        text: str = "",
        step: str = "body",
        *,
        second: bool = False,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(text, parent)
        self._step, self._second, self._busy = step, second, False
        self._follow()

    def _follow(self) -> None:
        self._busy = True
        self.setFont(sized(QApplication.font(), self._step))
        if self._second:
            palette = QApplication.palette()
            palette.setColor(palette.ColorRole.WindowText, QColor(tones_of(palette).second))
            self.setPalette(palette)
        self._busy = False

    def changeEvent(self, event: QEvent) -> None:
        """Follow the size of text and the theme."""
        super().changeEvent(event)
        kinds = (QEvent.Type.ApplicationFontChange, QEvent.Type.ApplicationPaletteChange)
        if event.type() in kinds and not self._busy:
            self._follow()


class ShortLabel(TextLabel):
    """A label that is cut with an ellipsis where there is no room, and whole in its tool tip.

    Parameters
    ----------
    text, step, second, parent
        As for `TextLabel`.
    mode : Qt.TextElideMode
        Where it is cut.
    """

    def __init__(
        self,
        text: str = "",
        step: str = "body",
        *,
        second: bool = False,
        mode: Qt.TextElideMode = Qt.TextElideMode.ElideRight,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(text, step, second=second, parent=parent)
        self._mode = mode

    def setText(self, text: str) -> None:
        """Show another text."""
        super().setText(text)
        self.setToolTip(plain_tip(text))

    def minimumSizeHint(self) -> QSize:
        """Return next to nothing."""
        return QSize(0, super().minimumSizeHint().height())

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw as much of the text as there is room for."""
        painter = QPainter(self)
        painter.setPen(self.palette().color(self.foregroundRole()))
        text = painter.fontMetrics().elidedText(self.text(), self._mode, self.width())
        painter.drawText(self.rect(), int(self.alignment()), text)
