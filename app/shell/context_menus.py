"""Opens the menu of the thing under the pointer, or of the one that has the keyboard."""

from __future__ import annotations

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QContextMenuEvent, QKeyEvent
from PySide6.QtWidgets import QMenu, QWidget

from app.things import at_point, with_keyboard

from .actions import ActionBook
from .context_contents import CONTENTS


class ContextMenus:
    """Makes menus of a window's actions.

    Parameters
    ----------
    window : QWidget
    book : ActionBook

    Attributes
    ----------
    menu : QMenu or None
        The menu that was opened last.
    """

    def __init__(self, window: QWidget, book: ActionBook) -> None:
        self._window, self._book = window, book
        self.menu: QMenu | None = None

    def asked_by_mouse(self, event: QContextMenuEvent) -> None:
        """Open the menu for an event that nothing below took."""
        if event.reason() == QContextMenuEvent.Reason.Keyboard:
            found = with_keyboard(self._window.focusWidget())
        else:
            found = at_point(event.globalPos())
        event.setAccepted(found is not None and self.open(*found))

    def asked_by_key(self, event: QKeyEvent) -> bool:
        """Open the menu for the Menu key or Shift+F10; False for every other key."""
        shifted = event.modifiers() == Qt.KeyboardModifier.ShiftModifier
        if event.key() != Qt.Key.Key_Menu and not (event.key() == Qt.Key.Key_F10 and shifted):
            return False
        found = with_keyboard(self._window.focusWidget())
        return found is not None and self.open(*found)

    def open(self, thing: str, place: QPoint) -> bool:
        """Open the menu of a kind of thing at a place of the screen; False if it has none."""
        if self.menu is not None:
            self.menu.deleteLater()
            self.menu = None
        self._book.refresh()
        menu = self.filled(thing)
        if menu.isEmpty():
            menu.deleteLater()
            return False
        self.menu = menu
        menu.popup(place)
        return True

    def filled(self, thing: str) -> QMenu:
        """Return the menu of a kind of thing, without lines at its ends."""
        menu = QMenu(self._window)
        menu.setToolTipsVisible(True)
        parted = False
        for id in CONTENTS.get(thing, ()):
            action = self._book.actions.get(id)  # a part may not be there yet
            if id == "-":
                parted = not menu.isEmpty()
            elif action is not None:
                if parted:
                    menu.addSeparator()
                    parted = False
                menu.addAction(action)
        return menu
