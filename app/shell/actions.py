"""The one table of actions, and the menus and shortcuts made from it.

A new action is one new row here (or in the table of the part it belongs to).
"""

from __future__ import annotations

import importlib
import importlib.util
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QMenu, QMenuBar

from app.action import Action, with_document
from app.areas import AREAS
from app.desk import Desk

if TYPE_CHECKING:
    from .window import MainWindow

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


def _can_undo(desk: Desk) -> bool:
    document = desk.current
    return document is not None and not document.read_only and bool(document.undo_title)


def _can_redo(desk: Desk) -> bool:
    document = desk.current
    return document is not None and not document.read_only and bool(document.redo_title)


def _can_save(desk: Desk) -> bool:
    return desk.current is not None and (desk.current.is_modified or desk.current.path is None)


def _has_reasonable(desk: Desk) -> bool:
    return desk.current is not None and desk.current.last_reason is not None


def _two_sets(desk: Desk) -> bool:
    return len(desk.documents) > 1


def _has_reference(desk: Desk) -> bool:
    return desk.reference is not None and desk.reference is not desk.current


def _theme(name: str) -> Callable[[MainWindow], bool]:
    return lambda window: window.settings.theme == name


def _show_area(id: str) -> Callable[[MainWindow], None]:
    return lambda window: window.show_area(id)


def _is_shown(id: str) -> Callable[[MainWindow], bool]:
    return lambda window: window.area == id


# No Ctrl+Alt keys: on Windows they are what AltGr types on many keyboards.
OWN: tuple[Action, ...] = (
    Action("file.open", "&Open…", "File", lambda w: w.files.ask_open(), ("Ctrl+O",),
           "Open one or several calibration sets."),
    Action("file.open_samples", "Open sa&mple sets", "File", lambda w: w.files.open_samples(),
           ("Ctrl+Shift+O",), "Open the sets of the invented programme Larch."),
    Action("file.open_practice", "Open the &practice set", "File",
           lambda w: w.files.open_practice(), (),
           "Open the sample set with planted mistakes, to learn the checks."),
    Action("file.save", "&Save", "-File", lambda w: w.files.save(), ("Ctrl+S",),
           "Save the set being edited to its file.", _can_save),
    Action("file.save_as", "Save &as…", "File", lambda w: w.files.save_as(), ("Ctrl+Shift+S",),
           "Save the set being edited to another file and go on with that one.", with_document),
    Action("file.save_all", "Sa&ve every set", "File", lambda w: w.files.save_all(),
           (), "Save every open set that has unsaved edits.",
           lambda desk: any(d.is_modified for d in desk.documents)),
    Action("file.close", "&Close set", "File", lambda w: w.files.close(), ("Ctrl+W",),
           "Close the set being edited; unsaved edits are asked about.", with_document),
    Action("file.export_csv", "&Export to CSV…", "-File", lambda w: w.files.export_csv(),
           ("Ctrl+E",), "Write every cell of every table of the set to one CSV file.",
           with_document),
    Action("file.history", "&History…", "File", lambda w: w.show_history(), ("Ctrl+H",),
           "Show who changed what, when and why, and bring an earlier state back.",
           with_document),
    Action("file.recovery", "Recover edi&ts…", "File", lambda w: w.recovery.show(),
           (), "Look at edits that were not saved when Bitepoint last ended."),
    Action("file.quit", "&Quit", "-File", lambda w: w.close(), ("Ctrl+Q",),
           "Close every set and end Bitepoint; unsaved edits are asked about."),
    Action("edit.undo", "&Undo", "Edit", lambda w: w.undo(), ("Ctrl+Z",),
           "Take the last edit of this set back.", _can_undo),
    Action("edit.redo", "&Redo", "Edit", lambda w: w.redo(), ("Ctrl+Y", "Ctrl+Shift+Z"),
           "Do the edit that was taken back again.", _can_redo),
    Action("edit.reason", "Give the rea&son for the last edit", "Edit", lambda w: w.ask_reason(),
           ("Ctrl+Shift+R",), "Note in the history why the last edit was made.",
           _has_reasonable),
    Action("edit.author", "Your &name in the history…", "Edit", lambda w: w.ask_author(),
           (), "Choose the name that the history gives for your edits."),
    Action("view.palette", "&Go to action or table…", "View", lambda w: w.show_palette(),
           ("Ctrl+K",), "Type a few letters to reach any action or table of any open set."),
    *(
        Action(f"view.{area.id}", area.menu_text, "View" if number else "-View",
               _show_area(area.id), (area.key,), area.about, checked=_is_shown(area.id))
        for number, area in enumerate(AREAS)
    ),
    Action("view.notice", "Go to the noti&ce", "-View", lambda w: w.focus_notice(),
           ("Ctrl+F6",), "Go to the choices of the newest notice above the work area."),
    Action("view.theme_system", "Colours as the &system has them", "-View",
           lambda w: w.set_theme("system"), (),
           "Follow the system between light and dark.", checked=_theme("system")),
    Action("view.theme_light", "&Light colours", "View", lambda w: w.set_theme("light"),
           (), "Dark text on a light ground.", checked=_theme("light")),
    Action("view.theme_dark", "&Dark colours", "View", lambda w: w.set_theme("dark"),
           (), "Light text on a dark ground.", checked=_theme("dark")),
    Action("view.larger", "Larger &text", "-View", lambda w: w.set_font_size(+1),
           ("Ctrl++", "Ctrl+="), "Show all text one point larger."),
    Action("view.smaller", "S&maller text", "View", lambda w: w.set_font_size(-1),
           ("Ctrl+-",), "Show all text one point smaller."),
    Action("view.normal_size", "&Normal text size", "View", lambda w: w.set_font_size(0),
           ("Ctrl+0",), "Show all text in its first size again."),
    Action("view.full_screen", "&Full screen", "View", lambda w: w.toggle_full_screen(),
           ("F11",), "Use the whole screen, or go back.",
           checked=lambda w: w.isFullScreen()),
    Action("sets.next", "&Next set", "Sets", lambda w: w.step_set(+1),
           ("Ctrl+Tab",), "Edit the next open set.", _two_sets),
    Action("sets.previous", "&Previous set", "Sets", lambda w: w.step_set(-1),
           ("Ctrl+Shift+Tab",), "Edit the open set before this one.", _two_sets),
    Action("sets.choose", "&Choose the set to edit", "Sets",
           lambda w: w.choose(w.document_bar.current), ("Ctrl+L",),
           "Go to the list of open sets.", with_document),
    Action("sets.choose_reference", "Choose the &reference set", "-Sets",
           lambda w: w.choose(w.document_bar.reference), ("Ctrl+B",),
           "Go to the list of sets that relations can be checked against.", _two_sets),
    Action("sets.swap", "&Swap set and reference", "Sets", lambda w: w.swap_sets(),
           ("Ctrl+Shift+X",), "Edit the reference set, with this one as its reference.",
           _has_reference),
    Action("sets.no_reference", "N&o reference", "Sets",
           lambda w: w.desk.set_reference(None), (),
           "Check this set by itself.", lambda desk: desk.reference is not None),
    Action("help.keys", "&Keys", "Help", lambda w: w.show_keys(), ("F1",),
           "List every action with its keys."),
    Action("help.cautions", "&Cautions", "Help", lambda w: w.show_cautions(), ("Shift+F1",),
           "What results on this desk can and cannot tell."),
    Action("help.about", "&About Bitepoint", "Help", lambda w: w.show_about(), ("Ctrl+F1",),
           "Version, licence and where settings are kept."),
)  # fmt: skip


def part_actions() -> tuple[Action, ...]:
    """Return the rows that the other parts bring, importing those parts."""
    rows: list[Action] = []
    for name in PARTS:
        # A part that is not there is left out; one that cannot be imported is a defect.
        if _exists(name):
            rows.extend(importlib.import_module(name).ACTIONS)
    return tuple(rows)


def _exists(name: str) -> bool:
    try:
        return importlib.util.find_spec(name) is not None
    except ModuleNotFoundError:
        return False


def all_actions() -> tuple[Action, ...]:
    """Return every row."""
    return OWN + part_actions()


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


class ActionBook:
    """The actions of one window: their menus, shortcuts and states.

    Parameters
    ----------
    window : MainWindow
    rows : iterable of Action
    """

    def __init__(self, window: MainWindow, rows: Iterable[Action]) -> None:
        self._window = window
        self.rows: dict[str, Action] = {}
        self.actions: dict[str, QAction] = {}
        self.menus: dict[str, QMenu] = {}
        self._letters: dict[str, set[str]] = {}
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
        action.setToolTip(row.tip or plain_text(row.text))
        action.setMenuRole(QAction.MenuRole.NoRole)
        action.setCheckable(row.checked is not None)
        action.triggered.connect(lambda _checked=False, row=row: self._run(row))
        menu.addAction(action)
        return action

    def _run(self, row: Action) -> None:
        row.run(self._window)
        self.refresh()

    def refresh(self) -> None:
        """Ask every row whether it is enabled and checked."""
        window = self._window
        desk = window.desk
        for id, row in self.rows.items():
            action = self.actions[id]
            action.setEnabled(bool(row.enabled(desk)))
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
