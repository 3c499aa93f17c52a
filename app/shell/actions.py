"""Menus, shortcuts and the states of actions, made from the rows that the parts bring."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable

from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QMainWindow, QMenu, QMenuBar

from app.action import Action, why_not
from app.desk import Desk
from app.look.icons import icon
from app.plain import plain_tip

MENUS = {
    "File": "&File",
    "Edit": "&Edit",
    "Values": "&Values",
    "Shape": "Sha&pe",
    "Table": "&Table",
    "Compare": "&Compare",
    "Road": "R&oad",
    "Release": "&Release",
    "View": "Vie&w",
    "Sets": "&Sets",
    "Help": "&Help",
}
"""Menu titles in their order, each with a mnemonic of its own."""

WINDOW = "app.shell.window_actions"
PARTS = (
    "app.tune.values_actions",
    "app.plots.actions",
    "app.plots.surface.actions",
    "app.tune.actions",
    "app.tune.shape.actions",
    "app.compare.actions",
    "app.road.actions",
    "app.road.complaints.actions",
    "app.road.manoeuvres.actions",
    "app.road.campaign.actions",
    "app.release.actions",
)
"""Modules that bring rows of their own as ``ACTIONS``."""


def part_actions() -> tuple[Action, ...]:
    """Return the rows that the other parts bring, importing those parts."""
    return tuple(row for name in PARTS for row in importlib.import_module(name).ACTIONS)


def window_actions() -> tuple[Action, ...]:
    """Return the rows that are there before any part is imported."""
    rows: tuple[Action, ...] = importlib.import_module(WINDOW).ACTIONS
    return rows


def all_actions() -> tuple[Action, ...]:
    """Return every row."""
    return window_actions() + part_actions()


def clashes(rows: Iterable[Action]) -> list[str]:
    """Return what two actions claim at once: an id or a key."""
    seen: dict[str, str] = {}
    found = []
    for row in rows:
        keys = [
            QKeySequence(k).toString(QKeySequence.SequenceFormat.PortableText) for k in row.keys
        ]
        for claim in (f"id {row.id}", *keys):
            if claim in seen:
                found.append(f"{claim}: {seen[claim]} and {row.id}")
            seen[claim] = row.id
    return found


def with_letter(text: str, taken: set[str]) -> str:
    """Return a menu text whose mnemonic letter no other row of the menu has, if one is left.

    Parts do not know each other's rows, so their letters may be taken.

    Parameters
    ----------
    text : str
    taken : set of str
        Letters in use; the chosen one is added.
    """
    bare = plain_text(text)
    at = text.replace("&&", "\0").find("&")
    first = [at] if 0 <= at < len(bare) else []
    starts = [i for i, c in enumerate(bare) if c.isalnum() and (i == 0 or bare[i - 1] == " ")]
    for place in (*first, *starts, *range(len(bare))):
        letter = bare[place].lower()
        if letter.isalnum() and letter not in taken:
            taken.add(letter)
            before, after = bare[:place], bare[place:]
            return f"{before.replace('&', '&&')}&{after.replace('&', '&&')}"
    return bare.replace("&", "&&")


def plain_text(text: str) -> str:
    """Return a menu text without its mnemonic mark."""
    return text.replace("&&", "\0").replace("&", "").replace("\0", "&")


def _tip_of(row: Action, reason: str) -> str:
    """Return what an action does, and why it cannot be done if so."""
    return "\n".join(filter(None, (row.tip or plain_text(row.text), reason)))


class ActionBook:
    """The actions of one window: their menus, shortcuts and states.

    Parameters
    ----------
    window : QMainWindow
        What the rows are run with.
    desk : Desk
        What they are asked with whether they are enabled.
    rows : iterable of Action
    """

    def __init__(self, window: QMainWindow, desk: Desk, rows: Iterable[Action]) -> None:
        self._window, self._desk = window, desk
        self.rows: dict[str, Action] = {}
        self.actions: dict[str, QAction] = {}
        self.menus: dict[str, QMenu] = {}
        self._letters: dict[str, set[str]] = {}
        self.heard: list[Callable[[str], None]] = []
        """Told the id of every action that was run."""
        self._reasons: dict[str, str] = {}
        bar = window.menuBar()
        for name, title in MENUS.items():
            menu = bar.addMenu(title)
            menu.setToolTipsVisible(True)
            self.menus[name] = menu
        self.add(rows)

    def add(self, rows: Iterable[Action]) -> None:
        """Take in more rows, at the end of their menus."""
        for row in rows:
            menu = self._menu(row.menu.lstrip("-"))
            if row.menu.startswith("-") and not menu.isEmpty():
                menu.addSeparator()
            self.rows[row.id] = row
            self.actions[row.id] = self._action(row, menu)
        for menu in self.menus.values():
            menu.menuAction().setVisible(not menu.isEmpty())
        self.refresh()

    def _menu(self, path: str) -> QMenu:
        if path not in self.menus:
            parent, _, name = path.rpartition("/")
            if parent:
                letters = self._letters.setdefault(parent, set())
                self.menus[path] = self._menu(parent).addMenu(with_letter(name, letters))
            else:
                bar: QMenuBar = self._window.menuBar()
                menu = QMenu(name, bar)
                bar.insertMenu(self.menus["Help"].menuAction(), menu)
                self.menus[path] = menu
        return self.menus[path]

    def _action(self, row: Action, menu: QMenu) -> QAction:
        letters = self._letters.setdefault(row.menu.lstrip("-"), set())
        action = QAction(with_letter(row.text, letters), self._window)
        action.setObjectName(row.id)
        action.setShortcuts([QKeySequence(key) for key in row.keys])
        action.setStatusTip(row.tip)
        action.setToolTip(plain_tip(_tip_of(row, "")))
        if row.icon:
            action.setIcon(icon(row.icon))
        action.setMenuRole(QAction.MenuRole.NoRole)
        action.setCheckable(row.checked is not None)
        action.triggered.connect(lambda _checked=False, row=row: self._run(row))
        menu.addAction(action)
        return action

    def run(self, id: str) -> str:
        """Run an action as its menu would; returns why it cannot be done now, or nothing."""
        self.refresh()
        if id not in self.actions:
            return "Open a set first."
        if not self.actions[id].isEnabled():
            return "It cannot be done now."
        self.actions[id].trigger()
        return ""

    def _run(self, row: Action) -> None:
        row.run(self._window)
        self.refresh()
        for hear in tuple(self.heard):
            hear(row.id)

    def refresh(self) -> None:
        """Ask every row whether it is enabled and checked."""
        window, desk = self._window, self._desk
        for id, row in self.rows.items():
            action = self.actions[id]
            able = bool(row.enabled(desk))
            reason = "" if able else why_not(row.enabled, desk)
            if self._reasons.get(id, "") != reason:
                self._reasons[id] = reason
                action.setToolTip(plain_tip(_tip_of(row, reason)))
            action.setEnabled(able)
            if row.checked is not None:
                action.setChecked(bool(row.checked(window)))
        document = desk.current
        self._name("edit.undo", "&Undo", document.undo_title if document else "")
        self._name("edit.redo", "&Redo", document.redo_title if document else "")

    def _name(self, id: str, verb: str, title: str) -> None:
        if len(title) > 70:
            title = f"{title[:69]}…"
        self.actions[id].setText(f"{verb} {title.replace('&', '&&')}".strip())

    def keys_of(self, id: str) -> str:
        """Return the keys of an action as the user's system writes them."""
        native = QKeySequence.SequenceFormat.NativeText
        return ", ".join(k.toString(native) for k in self.actions[id].shortcuts())
