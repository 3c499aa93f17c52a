"""Bring in, as the window opens it: the page, what it remembers, and the one change it makes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

from calib_model.bringing.layout import Layout
from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import Change
from calib_model.errors import EditRefused
from calib_model.session.document import Document

from .base import Shell

if TYPE_CHECKING:
    from app.bringing.dialog import BringInDialog


class BringingIn(QObject):
    """Opens the page.

    Parameters
    ----------
    window : Shell
    take_in : callable
        Shows a new document.
    """

    def __init__(self, window: Shell, take_in: Callable[[Document], object]) -> None:
        super().__init__(window)
        self._window, self._take_in = window, take_in
        self._layout: Layout = Layout()
        """What was chosen last: the same files come again, mended."""
        self.page: BringInDialog | None = None

    def show(self, paths: Iterable[Path] = ()) -> BringInDialog:
        """Open the page, and read files at once if some are given."""
        # Late: most sessions bring nothing in.
        from app.bringing.dialog import BringInDialog

        window, listed = self._window, list(paths)
        folder = listed[0].parent if listed else window.settings.folder
        page = BringInDialog(window.desk, window.jobs, self._take, folder, self._layout, window)
        page.finished.connect(lambda _result: self._remember(page))
        self.page = page
        page.open()
        page.source.setFocus()
        if listed:
            page.read(listed)
        return page

    def _remember(self, page: BringInDialog) -> None:
        self._layout = page.chosen_layout
        if self.page is page:
            self.page = None
        page.deleteLater()

    def _take(self, document: Document | None, change: Change) -> None:
        desk = self._window.desk
        if document is None:
            document = Document(CalibrationSet({}), author=self._window.settings.author)
            document.do(change)
            self._take_in(document)
            desk.set_current(document)
            return
        desk.set_current(document)
        if not desk.do(change):
            raise EditRefused("The set was not changed.", "The status line says why.")
