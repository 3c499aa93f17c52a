"""The bar of what is done and what is left, and the quiet notice below it."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QSizePolicy, QWidget

from app.look.brush import box
from app.look.icons import icon
from app.look.palettes import tones_of
from app.look.parts import ShortLabel, quiet
from app.look.tokens import ICON, TIGHT
from app.plain import PlainLabel

_WIDE, _HIGH = 160, 8


class ProgressBar(QWidget):
    """A bar as full as the share that is done; the number stands beside it in words."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.done, self.total = 0, 0
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def show_share(self, done: int, total: int) -> None:
        """Show so many of so many."""
        self.done, self.total = done, total
        self.setAccessibleName(f"{done} of {total} done")
        self.update()

    def sizeHint(self) -> QSize:
        """Return the size of the bar."""
        return QSize(_WIDE, _HIGH)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the bar: full where nothing is left."""
        painter, own, rect = QPainter(self), tones_of(self.palette()), self.rect()
        box(painter, rect, own.base, own.border, radius=_HIGH / 2)
        share = self.done / self.total if self.total else 1.0
        if share:
            rect.setWidth(max(round(rect.width() * share), _HIGH))
            box(painter, rect, own.accent, radius=_HIGH / 2)


class Notice(QWidget):
    """One line that something is to be seen to, with the act for it; no room while there is none.

    Signals
    -------
    wanted
        The act is asked for.
    """

    wanted = Signal()

    def __init__(self, act: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        mark = PlainLabel()
        mark.setPixmap(icon("triangle-alert", "second").pixmap(ICON, ICON))
        mark.setAccessibleName("Notice")
        self.label = ShortLabel(second=True)
        self.button = quiet(QPushButton(act))
        self.button.clicked.connect(lambda _checked=False: self.wanted.emit())
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(TIGHT)
        row.addWidget(mark)
        row.addWidget(self.label)
        row.addWidget(self.button)
        row.addStretch(1)
        mark.setAlignment(Qt.AlignmentFlag.AlignVCenter)
        self.hide()

    def text(self) -> str:
        """Return what it says."""
        return self.label.text()

    def show_text(self, text: str) -> None:
        """Say something else; nothing hides it."""
        self.label.setText(text)
        self.setVisible(bool(text))
