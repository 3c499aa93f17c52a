"""Notices below the work area: they say what happened and offer what can be done about it.

Unlike a message box a notice never stops the work.
"""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from app.plain import PlainLabel, plain_tip


class Banner(QFrame):
    """One notice with its choices.

    Parameters
    ----------
    key : str
        Notices with the same key replace each other.
    text : str
    choices : pairs of button text and callable
        A choice closes the notice and then runs.
    """

    def __init__(
        self, key: str, text: str, choices: tuple[tuple[str, Callable[[], None]], ...]
    ) -> None:
        super().__init__()
        self.key = key
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self.setAutoFillBackground(True)
        self.setBackgroundRole(self.backgroundRole().AlternateBase)
        self.setAccessibleName(text)
        self.label = PlainLabel(text)
        self.label.setWordWrap(True)
        self.label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        mark = PlainLabel("\N{BLACK RIGHT-POINTING TRIANGLE}")
        mark.setAccessibleName("Notice")
        row = QHBoxLayout(self)
        row.setContentsMargins(10, 4, 6, 4)
        row.addWidget(mark)
        row.addWidget(self.label, 1)
        self.buttons: dict[str, QPushButton] = {}
        for name, run in choices:
            button = QPushButton(name)
            button.setAccessibleName(f"{name.replace('&', '')}: {text}")
            button.setToolTip(plain_tip(text))
            button.clicked.connect(lambda _checked=False, run=run: self._choose(run))
            row.addWidget(button)
            self.buttons[name.replace("&", "")] = button

    def _choose(self, run: Callable[[], None]) -> None:
        stack = self.parentWidget()
        if isinstance(stack, BannerStack):
            stack.drop(self.key)
        run()


class BannerStack(QWidget):
    """The open notices, newest at the bottom; takes no room when there is none.

    Signals
    -------
    left
        The keyboard has nothing more to do here.
    """

    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(1)
        self.banners: dict[str, Banner] = {}
        self.hide()

    def show_banner(self, key: str, text: str, *choices: tuple[str, Callable[[], None]]) -> Banner:
        """Show a notice, in place of one with the same key."""
        old = self.banners.get(key)
        had_focus = old is not None and old.isAncestorOf(self.window().focusWidget() or self)
        self.drop(key)
        banner = Banner(key, text, choices)
        self.banners[key] = banner
        self._column.addWidget(banner)
        self.show()
        if had_focus:
            self.take_keyboard()
        return banner

    def take_keyboard(self) -> bool:
        """Give the keyboard to the newest notice's first choice; False if there is none."""
        for banner in reversed(self.banners.values()):
            for button in banner.buttons.values():
                button.setFocus(Qt.FocusReason.ShortcutFocusReason)
                return True
        return False

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc goes back to the work; the notice stays."""
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        else:
            super().keyPressEvent(event)

    def drop(self, key: str) -> None:
        """Take a notice away, if it is there."""
        banner = self.banners.pop(key, None)
        if banner is not None:
            had_focus = banner.isAncestorOf(banner.window().focusWidget() or self)
            self._column.removeWidget(banner)
            banner.hide()
            banner.deleteLater()
            if had_focus:
                self.left.emit()
        if not self.banners:
            self.hide()

    def drop_all(self, prefix: str) -> None:
        """Take away every notice whose key begins with `prefix`."""
        for key in [k for k in self.banners if k.startswith(prefix)]:
            self.drop(key)
