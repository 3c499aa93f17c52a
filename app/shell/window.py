"""The main window: four work areas around one desk."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QKeyEvent
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QLabel,
    QMainWindow,
    QPushButton,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.areas import AREAS
from app.desk import Desk
from app.needs import TUNE
from app.vehicle_in_use import vehicle_in_use
from app.work_area import WorkArea
from calib_model.errors import BitepointError
from calib_model.session.document import Document

from . import help_pages
from .actions import OWN, ActionBook, part_actions
from .area_stack import AreaStack
from .banner import BannerStack
from .document_bar import DocumentBar
from .files import FileWork, dropped_files
from .findings_service import FindingsService
from .jobs import Jobs
from .live_menus import LiveMenus
from .notes import NoteLine
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


class MainWindow(QMainWindow):
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
    """

    def __init__(self, settings: Settings | None = None, theme: Theme | None = None) -> None:
        super().__init__()
        self.settings = settings or Settings()
        self.theme = theme
        self.desk = Desk(self)
        vehicle_in_use(self.desk, self.settings)  # every part finds it there
        self.jobs = Jobs(self)
        self.findings_service = FindingsService(self.desk, self.jobs)
        self._shown_welcome: tuple[object, ...] | None = None
        self._came_from = TUNE
        self.closing = False
        self.setAcceptDrops(True)
        self.setMinimumSize(560, 300)
        screen = self.screen().availableGeometry()  # used until the user's own size is known
        self.resize(min(screen.width() - 20, 1680), min(screen.height() - 50, 1050))
        self._build()
        self.files = FileWork(self)
        self.recovery = RecoveryWork(self)
        self.book = ActionBook(self, OWN)
        self.live_menus = LiveMenus(self)
        self._refresh = QTimer(self)
        self._refresh.setSingleShot(True)
        self._refresh.timeout.connect(self.refresh)
        self._connect()
        if not self.settings.geometry.isEmpty():
            self.restoreGeometry(self.settings.geometry)
        self.refresh()

    # -- building ----------------------------------------------------------------------------

    def _build(self) -> None:
        self.switcher = Switcher(AREAS)
        self.document_bar = DocumentBar(self.desk)
        self.banners = BannerStack()
        self.banners.left.connect(self.focus_work)
        self.document_bar.left.connect(self.focus_work)
        self.note = NoteLine()
        self.areas = AreaStack(self, AREAS)
        self._starting = QLabel("Getting ready…")
        self._starting.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.welcome = WelcomePage(self)
        self.areas.put(TUNE, self._starting)
        right = QVBoxLayout()
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(0)
        for widget in (self.document_bar, self.banners, self.note):
            right.addWidget(widget)
        right.addWidget(self.areas, 1)
        middle = QWidget()
        row = QHBoxLayout(middle)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        row.addWidget(self.switcher)
        row.addLayout(right, 1)
        self.setCentralWidget(middle)
        self.status = StatusLine(self)
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
            desk.cell_marks_changed,
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
        self.refresh()
        if self.area == TUNE:
            self.show_area(TUNE)

    def _keep_surface_choice(self, choice: str) -> None:
        self.settings.surface = choice

    @property
    def memory(self) -> Settings:
        """What is kept from one start to the next."""
        return self.settings

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

    def refresh_soon(self) -> None:
        """Refresh once everything that happens now is done."""
        self._refresh.start()

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
                self.welcome.refresh()
            stand_in: QWidget | None = self.welcome
        else:
            stand_in = None if self.tune is not None else self._starting
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
        """Enter presses the button that has the keyboard; Qt does so in dialogs only."""
        focused = self.focusWidget()
        enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if enter and isinstance(focused, QPushButton | QToolButton) and not event.isAutoRepeat():
            focused.click()
        else:
            super().keyPressEvent(event)

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
        if not self.settings.author_is_given:
            self._ask_author_quietly()

    # -- editing -----------------------------------------------------------------------------

    def undo(self) -> None:
        """Take the last edit of the current set back."""
        self._step(lambda document: document.undo(), "Nothing to undo")

    def redo(self) -> None:
        """Do the edit that was taken back again."""
        self._step(lambda document: document.redo(), "Nothing to redo")

    def _step(self, step: Any, nothing: str) -> None:
        document = self.desk.current
        if document is None:
            return
        try:
            event = step(document)
        except BitepointError as error:
            self.desk.tell(str(error), refused=True)
            return
        self.desk.tell(event.change.title if event is not None else nothing)

    def ask_reason(self) -> None:
        """Let the user say why the last edit was made."""
        document = self.desk.current
        if document is None or document.last_reason is None:
            return
        title = document.pending[-1].title
        self.note.ask(
            f"Reason for “{title}”",
            document.last_reason,
            lambda text: self._give_reason(document, text),
        )

    def _give_reason(self, document: Document, text: str) -> None:
        if document.give_reason(text.strip()):
            self.desk.tell("The reason is noted in the history.")
        else:
            self.desk.tell(
                "The edit was saved meanwhile; its reason stays as it was.", refused=True
            )

    def ask_author(self) -> None:
        """Let the user choose the name that the history gives."""
        self.note.ask("Your name in the history", self.settings.author, self._set_author)

    def _set_author(self, name: str) -> None:
        self.settings.author = name
        for document in self.desk.documents:
            document.author = self.settings.author
        self.banners.drop("author")
        self.desk.tell(f"The history gives your edits the name {self.settings.author}.")

    def _ask_author_quietly(self) -> None:
        if "author" in self.banners.banners:
            return
        name = self.settings.author
        self.banners.show_banner(
            "author",
            f"The history names you “{name}”.",
            ("Keep this name", lambda: self._set_author(name)),
            ("Change…", self.ask_author),
        )

    # -- sets ----------------------------------------------------------------------------------

    def step_set(self, step: int) -> None:
        """Edit the next open set, or the one before."""
        documents = self.desk.documents
        if self.desk.current in documents:
            place = (documents.index(self.desk.current) + step) % len(documents)
            self.desk.set_current(documents[place])

    def swap_sets(self) -> None:
        """Exchange current and reference set."""
        current, reference = self.desk.current, self.desk.reference
        if reference is not None:
            self.desk.set_current(reference)
            self.desk.set_reference(current)

    def choose(self, box: QComboBox) -> None:
        """Open a list of sets for the keyboard."""
        box.setFocus(Qt.FocusReason.ShortcutFocusReason)
        box.showPopup()

    # -- looks ---------------------------------------------------------------------------------

    def set_theme(self, name: str) -> None:
        """Use light or dark colours, or the system's."""
        self.settings.theme = name
        self._apply_theme()

    def set_font_size(self, step: int) -> None:
        """Make all text larger or smaller by points; 0 is the first size."""
        self.settings.font_size = self.settings.font_size + step if step else 10
        self._apply_theme()
        self.desk.tell(f"Text size {self.settings.font_size} points.")

    def _apply_theme(self) -> None:
        if self.theme is not None:
            self.theme.use(self.settings.theme, self.settings.font_size)

    def toggle_full_screen(self) -> None:
        """Use the whole screen, or go back."""
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    # -- dialogs -------------------------------------------------------------------------------

    def show_palette(self) -> None:
        """Open the palette."""
        PaletteDialog(entries(self), self).open()

    def show_history(self) -> None:
        """Open the history of the current set."""
        if self.desk.current is not None:
            from .history_dialog import HistoryDialog

            HistoryDialog(self.desk, self).open()

    def show_keys(self) -> None:
        """Open the list of actions and keys."""
        help_pages.KeysDialog(self.book, self).open()

    def show_cautions(self) -> None:
        """Open the cautions."""
        help_pages.cautions(self).open()

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
            self.files.open(paths)

    def closeEvent(self, event: QCloseEvent) -> None:
        if self.closing:  # asked twice while a save still runs
            event.ignore()
            return
        self.closing = True
        try:
            if not self.files.may_close_all():
                event.ignore()
                return
            self.jobs.finish()
            self.files.let_go()
            self.settings.geometry = self.saveGeometry()
            event.accept()
        finally:
            self.closing = False
