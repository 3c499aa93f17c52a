"""The tool bar of a part: the acts used most, with icon and word, and a menu with the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PySide6.QtCore import QEvent, QSize, Qt
from PySide6.QtGui import QAction, QResizeEvent, QShowEvent
from PySide6.QtWidgets import QHBoxLayout, QLayout, QMenu, QToolButton, QWidget

from app.look.icons import icon
from app.look.tokens import TIGHT

_ICON = Qt.ToolButtonStyle.ToolButtonIconOnly
_WORD = Qt.ToolButtonStyle.ToolButtonTextBesideIcon


class PartTools(QWidget):
    """Buttons for acts of the window's table of actions, found when they are first seen.

    Parameters
    ----------
    words : mapping of str to str
        Acts that get a button, by id, and the word that it bears.
    more : sequence of str
        Acts of the menu, ``-`` for a line between groups.
    """

    def __init__(
        self, words: Mapping[str, str], more: Sequence[str] = (), parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._words, self._more = dict(words), tuple(more)
        self._wide = self._slim = 0
        self.buttons: dict[str, QToolButton] = {}
        self.menu = QMenu(self)
        self.menu.setToolTipsVisible(True)
        self.more = QToolButton()
        self.more.setIcon(icon("ellipsis"))
        self.more.setToolTip("More acts of this part.")
        self.more.setAccessibleName("More")
        self.more.setAutoRaise(True)
        self.more.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.more.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.more.setMenu(self.menu)
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(0, 0, 0, 0)
        self._row.setSpacing(TIGHT)
        self._row.setSizeConstraint(QLayout.SizeConstraint.SetNoConstraint)
        self._row.addWidget(self.more)
        self.more.setVisible(bool(self._more))

    def showEvent(self, event: QShowEvent) -> None:
        """Find the acts."""
        super().showEvent(event)
        if not self.buttons:
            self._find()

    def _find(self) -> None:
        known = {action.objectName(): action for action in self.window().findChildren(QAction)}
        for place, id in enumerate(id for id in self._words if id in known):
            button = QToolButton()
            button.setDefaultAction(known[id])
            # Qt takes the text anew from the action whenever it changes; the icon text stays.
            known[id].setIconText(self._words[id])
            button.setAccessibleName(self._words[id])
            button.setAutoRaise(True)
            button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
            self.buttons[id] = button
            self._row.insertWidget(place, button)
        for id in self._more:
            if id == "-":
                self.menu.addSeparator()
            elif id in known:
                self.menu.addAction(known[id])
        self._measure()

    def _measure(self) -> None:
        """Keep the widths: asking a button in another style makes the layout ask again."""
        more = self.more.sizeHint().width() if self._more else 0
        widths = []
        for style in (_ICON, _WORD):
            for button in self.buttons.values():
                button.setToolButtonStyle(style)
            hints = (b.sizeHint().width() + TIGHT for b in self.buttons.values())
            widths.append(more + sum(hints))
        self._slim, self._wide = widths
        self.updateGeometry()
        self._arrange()

    def _arrange(self) -> None:
        """Show words where they fit, else icons alone."""
        style = _ICON if self.width() < self._wide else _WORD
        for button in self.buttons.values():
            if button.toolButtonStyle() != style:
                button.setToolButtonStyle(style)

    def changeEvent(self, event: QEvent) -> None:
        """Measure again with other letters."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange and self.buttons:
            self._measure()

    def sizeHint(self) -> QSize:
        """Return room for the words."""
        return QSize(self._wide, super().sizeHint().height())

    def minimumSizeHint(self) -> QSize:
        """Return room for the icons."""
        return QSize(self._slim, super().minimumSizeHint().height())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Use the room."""
        super().resizeEvent(event)
        self._arrange()
