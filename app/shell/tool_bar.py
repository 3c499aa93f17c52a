"""The acts used most, as icons in the row of the open sets."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QSizePolicy, QToolButton, QWidget
from shiboken6 import Shiboken

from app.look.tokens import TIGHT
from app.plain import plain_tip

from .actions import ActionBook, plain_text

TOOLS: tuple[str, ...] = (
    "file.open", "file.save", "",
    "edit.undo", "edit.redo", "",
    "edit.copy", "edit.paste", "",
    "table.next_finding", "plots.saved", "plots.result", "view.palette",
)  # fmt: skip
"""Ids of the acts, in groups."""
FEW = 4
"""How many remain where the window is narrow: the menus have all of them."""


def name_in_tip(button: QToolButton, named: str) -> None:
    """Put an act's name and key above what its action says of it: an icon alone says neither."""
    if Shiboken.isValid(button):
        button.setToolTip(plain_tip(f"{named}\n{button.defaultAction().toolTip()}"))


class ToolBar(QWidget):
    """Buttons for rows of the table of actions."""

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName("Tool bar")
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Preferred)
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(0, 0, 0, 0)
        self._row.setSpacing(0)
        self.buttons: dict[str, QToolButton] = {}
        self._lines: list[QFrame] = []
        self._few = False

    def show_tools(self, book: ActionBook) -> None:
        """Make the buttons that are missing; acts whose part is not there yet come later."""
        if len(self.buttons) == sum(map(bool, TOOLS)):
            return
        known = {id: book.actions[id] for id in TOOLS if id in book.actions}
        if known.keys() == self.buttons.keys():
            return
        while (item := self._row.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        self.buttons.clear()
        self._lines.clear()
        for id in TOOLS:
            if not id:
                self._part()
                continue
            action = known.get(id)
            if action is None:
                continue
            button = QToolButton()
            button.setDefaultAction(action)
            name = plain_text(book.rows[id].text).rstrip("…")
            button.setAccessibleName(name)
            keys = book.keys_of(id).split(", ")[0]
            named = f"{name} ({keys})" if keys else name
            name_in_tip(button, named)
            # Qt sets the tip anew with each change of the action, before it says so.
            action.changed.connect(partial(name_in_tip, button, named))
            button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonIconOnly)
            button.setAutoRaise(True)
            button.setFocusPolicy(Qt.FocusPolicy.NoFocus)  # the menus have the same by keyboard
            self.buttons[id] = button
            self._row.addWidget(button)
        self._arrange()

    def _part(self) -> None:
        line = QFrame()
        line.setFrameShape(QFrame.Shape.NoFrame)
        line.setFixedWidth(2 * TIGHT)
        self._lines.append(line)
        self._row.addWidget(line)

    def set_few(self, few: bool) -> None:
        """Show all buttons, or the first ones only."""
        if few != self._few:
            self._few = few
            self._arrange()

    def _arrange(self) -> None:
        for place, button in enumerate(self.buttons.values()):
            button.setVisible(not self._few or place < FEW)
        for place, line in enumerate(self._lines):
            line.setVisible(not self._few or place == 0)
