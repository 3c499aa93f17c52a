"""The main window: four work areas around one desk."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, cast

from PySide6.QtCore import Qt
from PySide6.QtGui import QCloseEvent, QContextMenuEvent, QDragEnterEvent, QDropEvent, QKeyEvent
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QPushButton,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.areas import AREAS
from app.company_in_use import CompanyInUse
from app.needs import ROAD, TUNE
from app.plain import PlainLabel
from app.vehicle_in_use import vehicle_in_use
from app.work.jobs import end_all
from app.work_area import WorkArea
from calib_model.session.document import Document

from . import help_pages
from .actions import ActionBook, part_actions, window_actions
from .area_stack import AreaStack
from .base import Shell
from .bringing_in import BringingIn
from .context_menus import ContextMenus
from .document_bar import DocumentBar
from .editing import Editing
from .files import FileWork, dropped_files
from .findings_service import FindingsService
from .guiding import Guiding
from .live_menus import LiveMenus
from .looks import Looks
from .notes import NoteLine
from .noting import Noting
from .palette import PaletteDialog
from .palette_entries import entries
from .recovery import RecoveryWork
from .settings import Settings
from .status import StatusLine
from .switcher import Switcher
from .theme import Theme
from .welcome import WelcomePage

if TYPE_CHECKING:
    from app.grid.view import GridView
    from app.plots.panel import PlotPanel
    from app.tune.page import TunePage


class MainWindow(Shell):
    """The window.

    Parameters
    ----------
    settings : Settings, optional
    theme : Theme, optional
        Without one the window leaves colours and fonts alone.

    Attributes
    ----------
    desk : Desk
    areas : AreaStack
    starting : PlainLabel
        Stands in for Tune until that is made, or says why it is not.
    """

    def __init__(self, settings: Settings | None = None, theme: Theme | None = None) -> None:
        super().__init__(settings or Settings())
        vehicle_in_use(self.desk, self.settings)  # every part finds it there
        self.company = CompanyInUse(self.desk, self.jobs, self.settings)
        self.findings_service = FindingsService(self.desk, self.jobs, self.company)
        self._shown_welcome: tuple[object, ...] | None = None
        self._came_from = TUNE
        self.closing = False
        self.setAcceptDrops(True)
        self.setMinimumSize(560, 300)
        screen = self.screen().availableGeometry()  # used until the user's own size is known
        self.resize(min(screen.width() - 20, 1680), min(screen.height() - 50, 1050))
        self._build()
        self.looks = Looks(self, theme)
        self.noting = Noting(self, self.note)
        self.editing = Editing(self.desk)
        self.files = FileWork(self, self._show_recordings, self.bring_in)
        self.bringing = BringingIn(self, self.files.take_in)
        self.recovery = RecoveryWork(self, self.files)
        self.book = ActionBook(self, self.desk, window_actions())
        self.guiding = Guiding(self, self.book)
        self.context = ContextMenus(self, self.book)
        self.document_bar.put_tools(self.book)
        self.live_menus = LiveMenus(self, self.book, self.files.open)
        self._refresh.timeout.connect(self.refresh)
        self._connect()
        if not self.settings.geometry.isEmpty():
            self.restoreGeometry(self.settings.geometry)
        self.refresh()

    # -- building ----------------------------------------------------------------------------

    def _build(self) -> None:
        self.switcher = Switcher(AREAS)
        self.document_bar = DocumentBar(self.desk)
        self.banners.left.connect(self.focus_work)
        self.document_bar.left.connect(self.focus_work)
        self.note = NoteLine()
        self.areas = AreaStack(self, AREAS)
        self.starting = PlainLabel("Getting ready…")
        self.starting.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.welcome = WelcomePage()
        self.areas.put(TUNE, self.starting)
        right = QVBoxLayout()
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(0)
        for widget in (self.document_bar, self.note):
            right.addWidget(widget)
        right.addWidget(self.areas, 1)
        right.addWidget(self.banners)  # below: what is worked on keeps its place as they come
        middle = QWidget()
        row = QHBoxLayout(middle)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        row.addWidget(self.switcher)
        row.addLayout(right, 1)
        self.setCentralWidget(middle)
        self.status = StatusLine(self, self.findings_service)
        self.setStatusBar(self.status)
        self.switcher.show_area(TUNE)

    def _connect(self) -> None:
        desk = self.desk
        self.switcher.chosen.connect(self.show_area)
        for signal in (
            desk.documents_changed,
            desk.current_changed,
            desk.reference_changed,
            desk.table_changed,
            desk.findings_changed,
            desk.selection_changed,
            desk.driving.cell_marks_changed,
        ):
            signal.connect(self._refresh.start)
        desk.edited.connect(self._on_edit)

    def build_tune(self) -> None:
        """Make the work area Tune, which loads the plots; harmless if it is there."""
        if self.tune is not None:
            return
        # Late: it brings the plots, and the window must not wait for them.
        self.areas.page(TUNE)
        assert self.plots is not None, "it was just made"
        self.plots.set_surface_choice(self.settings.surface)
        self.plots.surface_choice_changed.connect(self._keep_surface_choice)
        # Rows of the parts work on widgets that exist only now.
        self.book.add(part_actions())
        self.document_bar.put_tools(self.book)
        self.refresh()
        if self.area == TUNE:
            self.show_area(TUNE)

    def _keep_surface_choice(self, choice: str) -> None:
        self.settings.surface = choice

    @property
    def tune(self) -> TunePage | None:
        """The work area Tune; None until `build_tune` made it."""
        return cast("TunePage | None", self.areas.made(TUNE))

    @property
    def plots(self) -> PlotPanel | None:
        """The plots of Tune; None until `build_tune` made them."""
        return self.tune.plots if self.tune is not None else None

    @property
    def work(self) -> WorkArea:
        """The work area whose tables and findings the menus mean."""
        return self.areas.page(self.area)

    @property
    def grid(self) -> GridView | None:
        """The grid in sight, which the menus act on; None where there is none."""
        page = self.areas.made(self.area)
        return page.cells if page is not None else None

    def remember_area(self) -> None:
        """Note the area that a short errand in another one goes back to."""
        self._came_from = self.area

    def go_back(self, id: str) -> None:
        """End a short errand in an area: show the one it was begun from."""
        if self.area == id != self._came_from:
            self.show_area(self._came_from)

    # -- what is shown -------------------------------------------------------------------------

    def refresh(self) -> None:
        """Bring title, menus and bars in line with the desk."""
        document = self.desk.current
        if document is None:
            self.setWindowTitle("Bitepoint")
            self.setWindowModified(False)
        else:
            self.setWindowTitle(f"{document.title}[*] \N{EN DASH} Bitepoint")
            self.setWindowModified(document.is_modified)
        self.files.show_read_only()
        self.book.refresh()
        self._show_tune()

    def _show_tune(self) -> None:
        """Show the tables; how to begin while there are none; and what is being waited for."""
        if self.desk.current is None and not self.files.opening:
            state = (tuple(self.settings.recent),)
            if state != self._shown_welcome:
                self._shown_welcome = state
                self.welcome.show_beginning(self.book, self.settings.recent, self.files.open)
            stand_in: QWidget | None = self.welcome
        else:
            stand_in = None if self.tune is not None else self.starting
        if self.areas.put(TUNE, stand_in):
            self.show_area(self.area)

    @property
    def area(self) -> str:
        """Id of the work area that is shown."""
        return self.areas.shown

    def show_area(self, id: str) -> None:
        """Show a work area and give it the keyboard."""
        if id != TUNE:
            self.areas.page(id)  # made when it is first shown
        self.areas.show_area(id)
        self.switcher.show_area(id)
        self.focus_work()
        self._refresh.start()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter presses the button that has the keyboard; the Menu key opens a menu."""
        focused = self.focusWidget()
        enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if enter and isinstance(focused, QPushButton | QToolButton) and not event.isAutoRepeat():
            focused.click()
        elif self.context.asked_by_key(event):
            event.accept()
        else:
            super().keyPressEvent(event)

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """Open the menu of what is under the pointer."""
        self.context.asked_by_mouse(event)

    def focus_work(self) -> None:
        """Give the keyboard to the work area that is shown."""
        page = self.areas.page_in_sight
        if page is not None:
            page.take_keyboard()
        elif self.areas.isAncestorOf(self.welcome) and self.welcome.buttons:
            self.welcome.buttons[0].setFocus(Qt.FocusReason.ShortcutFocusReason)
        else:
            self.areas.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def focus_notice(self) -> None:
        """Give the keyboard to the newest notice, if there is one."""
        if not self.banners.take_keyboard():
            self.desk.tell("There is no notice above the work area.")

    def _on_edit(self, _event: object) -> None:
        self._refresh.start()
        self.files.show_journal()
        self.noting.ask_author_quietly()

    def choose(self, box: QComboBox) -> None:
        """Open a list of sets for the keyboard."""
        box.setFocus(Qt.FocusReason.ShortcutFocusReason)
        box.showPopup()

    def open_table(self, document: Document, id: str) -> None:
        """Work on a table of an open set."""
        self.desk.set_current(document)
        self.desk.open_table(id)
        self.show_area(TUNE)

    def _show_recordings(self, paths: Iterable[Path]) -> None:
        from app.road.area import open_recordings  # late: it brings the plots

        open_recordings(self, paths)

    def bring_in(self, paths: Iterable[Path] = ()) -> None:
        """Open the page that brings tables of other files in."""
        self.bringing.show(paths)

    # -- dialogs -------------------------------------------------------------------------------

    def show_palette(self) -> None:
        """Open the palette."""
        found = entries(self, self.book, self.files.open, self.open_table)
        PaletteDialog(found, self, self.settings.used, self.settings.add_used).open()

    def show_history(self) -> None:
        """Open the history of the current set."""
        if self.desk.current is not None:
            from .history_dialog import HistoryDialog

            HistoryDialog(self.desk, self).open()

    def show_settings(self) -> None:
        """Open the settings."""
        from .settings_dialog import SettingsDialog

        SettingsDialog(self, self.looks, self.noting, self).open()

    def show_keys(self) -> None:
        """Open the list of actions and keys."""
        help_pages.KeysDialog(self.book, self).open()

    def show_cautions(self) -> None:
        """Open the cautions."""
        help_pages.cautions(self).open()

    def show_changes(self) -> None:
        """Open what is new in this version."""
        help_pages.changes(self).open()

    def show_about(self) -> None:
        """Open what this is."""
        help_pages.about(self).open()

    # -- dropping, closing ---------------------------------------------------------------------

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        if dropped_files(event.mimeData()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        paths = dropped_files(event.mimeData())
        if paths:
            event.acceptProposedAction()
            if self.area == ROAD:
                self.files.open(paths)
            else:
                self.files.drop(paths)

    def closeEvent(self, event: QCloseEvent) -> None:
        if self.closing:  # asked twice while a save still runs
            event.ignore()
            return
        self.closing = True
        try:
            if not self.files.may_close_all():
                event.ignore()
                return
            end_all(self.jobs, self)
            self.files.let_go()
            self.settings.geometry = self.saveGeometry()
            event.accept()
        finally:
            self.closing = False
