"""The empty page: what belongs here, the one act that fills it, an example, files opened last."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtGui import QAction, QFontMetrics, QPainter, QPaintEvent
from PySide6.QtWidgets import (
    QAbstractButton,
    QHBoxLayout,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app.plain import plain_tip

from .brush import box, colour
from .icons import icon
from .palettes import tones_of
from .parts import TextLabel, primary
from .tokens import APART, ICON, NEAR, TIGHT, WIDE
from .type import sized

COLUMN = 420
"""Width of the column in pixels; a line of text is read best at about this width."""


@dataclass(frozen=True)
class Way:
    """One way to fill the page.

    Parameters
    ----------
    text : str
    run : callable
    tip : str
        One sentence on hover.
    keys : str
        Keys that do the same, as the system writes them.
    detail : str
        Second line of a file: its folder.
    enabled : bool
    """

    text: str
    run: Callable[[], object]
    tip: str = ""
    keys: str = ""
    detail: str = ""
    enabled: bool = True


def act(widget: QWidget, id: str) -> Callable[[], None]:
    """Return what does an act of the window that a widget is in, by its id in the action table."""

    def run() -> None:
        action = widget.window().findChild(QAction, id)
        if action is not None:
            action.trigger()

    return run


class FileButton(QAbstractButton):
    """A file opened before: its name, and its folder below."""

    def __init__(self, way: Way) -> None:
        super().__init__()
        self.setText(way.text)
        self._folder = way.detail
        self.setAttribute(Qt.WidgetAttribute.WA_Hover)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def sizeHint(self) -> QSize:
        """Return room for two lines."""
        small = QFontMetrics(sized(self.font(), "small")).height()
        return QSize(COLUMN, self.fontMetrics().height() + small + APART)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw name and folder."""
        painter, own = QPainter(self), tones_of(self.palette())
        rect = self.rect()
        if self.isEnabled() and (self.underMouse() or self.isDown()):
            box(painter, rect, own.pressed if self.isDown() else own.hover)
        if self.hasFocus():
            box(painter, rect.adjusted(1, 1, -1, -1), "", own.accent, width=1.5)
        line = self.fontMetrics().height()
        square = QRect(NEAR, (rect.height() - ICON) // 2, ICON, ICON)
        icon("file-text", "second" if self.isEnabled() else "off").paint(painter, square)
        left = square.right() + APART
        room = rect.width() - left - NEAR
        for text, font, token, top in (
            (self.text(), self.font(), own.text, TIGHT + 2),
            (self._folder, sized(self.font(), "small"), own.second, TIGHT + 2 + line),
        ):
            painter.setFont(font)
            painter.setPen(colour(token if self.isEnabled() else own.off))
            shown = QFontMetrics(font).elidedText(text, Qt.TextElideMode.ElideMiddle, room)
            painter.drawText(QRect(left, top, room, line), Qt.AlignmentFlag.AlignVCenter, shown)


class EmptyPage(QScrollArea):
    """A page without content yet.

    Attributes
    ----------
    buttons : list of QAbstractButton
        The ways in their order; the first is the primary act and takes the keyboard.
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFrameShape(QScrollArea.Shape.NoFrame)
        self.setWidgetResizable(True)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.buttons: list[QAbstractButton] = []
        self._said: tuple[object, ...] = ()

    def show_ways(
        self,
        title: str,
        words: str = "",
        ways: Sequence[Way] = (),
        recent: Sequence[Way] = (),
        hint: str = "",
        *,
        lead: bool = True,
    ) -> None:
        """Show what belongs here and how to get it, in place of what was shown before.

        Parameters
        ----------
        title : str
            What is missing, in a few words: ``No recording is open``.
        words : str
            What the page shows once it is filled.
        ways : sequence of Way
            The first is the primary act; examples follow.
        recent : sequence of Way
            Files opened last, with their folders.
        hint : str
            One more sentence, below.
        lead : bool
            Whether the first way is the primary act; not where a form beside the page has it.
        """
        said = (
            title,
            words,
            hint,
            lead,
            tuple((w.text, w.detail, w.enabled) for w in (*ways, *recent)),
        )
        if said == self._said:  # the keyboard stays where it is
            return
        self._said = said
        self.buttons = []
        whole, body = QWidget(), QWidget()
        # A column that may not grow is set at the left of what scrolls, so it is held between two
        # springs, and gives way to them only once it has its width.
        body.setMaximumWidth(COLUMN)
        across = QHBoxLayout(whole)
        across.setContentsMargins(WIDE, WIDE, WIDE, WIDE)
        across.addStretch(1)
        across.addWidget(body, 1000)
        across.addStretch(1)
        column = QVBoxLayout(body)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(NEAR)
        column.addStretch(2)
        self._add(column, TextLabel(title, "title"))
        if words:
            self._add(column, _wrapped(TextLabel(words, second=True)))
        column.addSpacing(NEAR)
        for number, way in enumerate(ways):
            button = QPushButton(f"{way.text}   ({way.keys})" if way.keys else way.text)
            self._add_way(column, primary(button) if lead and not number else button, way)
        if recent:
            column.addSpacing(APART)
            self._add(column, TextLabel("Opened last", "small", second=True))
            for way in recent:
                self._add_way(column, FileButton(way), way)
        if hint:
            column.addSpacing(APART)
            self._add(column, _wrapped(TextLabel(hint, "small", second=True)))
        column.addStretch(3)
        self.setWidget(whole)  # deletes what was shown before
        if self.buttons:
            self.setFocusProxy(self.buttons[0])

    def text(self) -> str:
        """Return all that is said, a line each."""
        parts = self.findChildren(TextLabel)
        return "\n".join([*(p.text() for p in parts), *(b.text() for b in self.buttons)])

    def _add_way(self, column: QVBoxLayout, button: QAbstractButton, way: Way) -> None:
        button.setToolTip(plain_tip(way.tip))
        button.setAccessibleName(f"{way.text}, {way.detail}" if way.detail else way.text)
        button.setEnabled(way.enabled)
        button.clicked.connect(lambda _checked=False, way=way: way.run())
        self.buttons.append(button)
        self._add(column, button)

    def _add(self, column: QVBoxLayout, widget: QWidget) -> None:
        widget.setMinimumWidth(min(COLUMN, 300))
        column.addWidget(widget)


def _wrapped(label: TextLabel) -> TextLabel:
    label.setWordWrap(True)
    return label
