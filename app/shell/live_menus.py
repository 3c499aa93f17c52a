"""Menus whose rows follow what is there: recent files, open sets, reference sets."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtGui import QAction
from PySide6.QtWidgets import QMenu

from app.plain import plain_tip
from calib_model.core.plain_file import is_there

from .actions import ActionBook
from .base import Shell
from .document_bar import document_label


class LiveMenus:
    """Fills the menus just before they open.

    Parameters
    ----------
    window : Shell
    book : ActionBook
    open_files : callable
        Called with the paths to open.
    """

    def __init__(
        self, window: Shell, book: ActionBook, open_files: Callable[[list[Path]], object]
    ) -> None:
        self._window, self._open_files = window, open_files
        menus = book.menus
        self.recent = QMenu("Open &recent", window)
        menus["File"].insertMenu(book.actions["file.open_samples"], self.recent)
        sets = menus["Sets"]
        first = book.actions["sets.next"]
        self.open_sets = QMenu("&Edit set", window)
        self.references = QMenu("Re&ference", window)
        sets.insertMenu(first, self.open_sets)
        sets.insertMenu(book.actions["sets.choose_reference"], self.references)
        for menu, fill in (
            (self.recent, self.fill_recent),
            (self.open_sets, self.fill_sets),
            (self.references, self.fill_references),
        ):
            menu.setToolTipsVisible(True)
            menu.aboutToShow.connect(fill)
            fill()

    def fill_recent(self) -> None:
        """Files opened last; missing ones are greyed."""
        self.recent.clear()
        for number, path in enumerate(self._window.settings.recent):
            there = is_there(path)
            name = path.name.replace("&", "&&")
            mark = f"&{number + 1} " if number < 9 else ""
            action = QAction(f"{mark}{name}{'' if there else ' (missing)'}", self.recent)
            action.setToolTip(plain_tip(str(path)))
            action.setStatusTip(str(path))
            action.setEnabled(there)
            action.triggered.connect(lambda _checked=False, path=path: self._open_files([path]))
            self.recent.addAction(action)
        self.recent.addSeparator()
        forget = QAction("&Forget these", self.recent)
        forget.setToolTip("Empty this list; the files stay.")
        forget.setEnabled(not self.recent.isEmpty())
        forget.triggered.connect(lambda _checked=False: self._window.settings.forget_recent())
        self.recent.addAction(forget)

    def fill_sets(self) -> None:
        """Open sets; the one being edited is marked."""
        desk = self._window.desk
        self._fill(self.open_sets, desk.current, desk.set_current, none=False)

    def fill_references(self) -> None:
        """Open sets; the reference is marked."""
        desk = self._window.desk
        self._fill(self.references, desk.reference, desk.set_reference, none=True)

    def _fill(self, menu: QMenu, marked: object, choose: object, *, none: bool) -> None:
        menu.clear()
        documents = self._window.desk.documents
        rows = [(document_label(d, documents).replace("&", "&&"), d) for d in documents]
        if none:
            rows.insert(0, ("&None", None))  # type: ignore[arg-type]
        for number, (text, document) in enumerate(rows):
            mark = f"&{number} " if none and number else "" if none else f"&{number + 1} "
            action = QAction(f"{mark}{text}", menu)
            action.setCheckable(True)
            action.setChecked(document is marked)
            action.triggered.connect(
                lambda _checked=False, document=document: choose(document)  # type: ignore[operator]
            )
            menu.addAction(action)
        if menu.isEmpty():
            action = QAction("No set is open", menu)
            action.setEnabled(False)
            menu.addAction(action)
