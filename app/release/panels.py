"""The panels of the work area Release: the list and the forms, and which has the keyboard."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent, QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QScrollArea,
    QSplitter,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.needs import Memory
from app.plain import PlainLabel
from app.turns import Turns
from app.work.jobs import Jobs
from app.work_area import Pane, WorkArea
from calib_model import cautions

from .act_panel import ActPanel
from .leave_panels import HandOverPanel, TrialPanel
from .lines import View
from .list_panel import ListPanel
from .service import Standings
from .sign_panels import KeysForm, SignForm, StateView, TrustForm

NARROW = 820
"""Below this width list and panels take turns."""
LOW = 420
"""Below this height lines that can be missed are left out."""


class ReleasePanels(WorkArea):
    """The list and the forms without the work that they order.

    Signals
    -------
    went_back
        The keyboard is to go back to the area it came from.
    save_wanted : Document
    open_wanted : list of Path

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    memory : Memory
        Remembers names and files (never a passphrase).
    """

    went_back = Signal()
    save_wanted = Signal(object)
    open_wanted = Signal(object)

    def __init__(
        self, desk: Desk, jobs: Jobs, memory: Memory, parent: QWidget | None = None
    ) -> None:
        super().__init__(desk, parent)
        self.jobs, self.memory = jobs, memory
        self.standings = Standings(desk, jobs, memory, self)
        self.list = ListPanel()
        self.act = ActPanel()
        self.state = StateView()
        self.trust = TrustForm(self.standings)
        self.sign = SignForm(memory)
        self.keys = KeysForm(memory)
        self.trial = TrialPanel(memory)
        self.hand_over = HandOverPanel(memory)
        self._build()

    def _build(self) -> None:
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        self.words.setAccessibleName("How the set stands")
        self.progress = PlainLabel()
        self.progress.setWordWrap(True)
        bold = self.words.font()
        bold.setBold(True)
        self.words.setFont(bold)
        head = QVBoxLayout()
        head.setContentsMargins(8, 6, 8, 2)
        head.setSpacing(2)
        head.addWidget(self.words)
        head.addWidget(self.progress)
        signing = QWidget()
        column = QVBoxLayout(signing)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.state)
        column.addWidget(self.trust)
        column.addWidget(self.sign)
        self.tabs = QTabWidget()
        self.tabs.setDocumentMode(True)
        self.tabs.setUsesScrollButtons(True)
        self.tabs.setAccessibleName("Settle, sign, keys, trial, hand over")
        self._places: dict[QWidget, int] = {}
        for title, page, forms in (
            ("Sett&le", self.act, (self.act,)),
            ("Si&gn", signing, (self.trust, self.sign)),
            ("&Keys", self.keys, (self.keys,)),
            ("Tr&ial", self.trial, (self.trial,)),
            ("Hand &over", self.hand_over, (self.hand_over,)),
        ):
            number = self.tabs.addTab(_scrolling(page), title)
            for form in forms:
                self._places[form] = number
        self._turns = Turns(self, NARROW, self.list, self.tabs)
        self._across = QSplitter(Qt.Orientation.Horizontal)
        self._across.setChildrenCollapsible(False)
        self._across.addWidget(self.list)
        self._across.addWidget(self.tabs)
        self._across.setStretchFactor(0, 3)
        self._across.setStretchFactor(1, 2)
        self._across.setSizes([720, 480])
        self.caution = PlainLabel(cautions.LINE)
        self.caution.setWordWrap(True)
        self.caution.setIndent(8)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 2)
        whole.setSpacing(0)
        whole.addLayout(head)
        whole.addWidget(self._across, 1)
        whole.addWidget(self.caution)

    # -- the keyboard ----------------------------------------------------------------------------

    def panes(self) -> Sequence[Pane]:
        """The list, and the panel beside it."""

        def back() -> bool:
            self.back_to_list()
            return True

        def panel() -> bool:
            self.focus_panel()
            return True

        return Pane(self.list, back), Pane(self.tabs, panel)

    def focus_panel(self) -> None:
        """Give the panel beside the list the keyboard."""
        self._turns.show(self.tabs)
        page = self.tabs.currentWidget()
        assert isinstance(page, QScrollArea)
        shown = page.widget() or self
        form = self.act.form if shown is self.act else None
        target: QWidget = self.tabs.tabBar()
        if form is not None:
            target = _first_field(form) or target
        elif shown is not self.act:
            target = _first_field(shown) or target
        else:
            target = next((b for b in self.act.buttons.values() if b.isVisible()), target)
        target.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def back_to_list(self) -> None:
        """Give the list the keyboard."""
        self._turns.show(self.list)
        self.act.show_form(None)
        self.list.focus_list()

    def show_view(self, view: View) -> None:
        """Show a list and give it the keyboard."""
        self._turns.show(self.list)
        self.list.choose_view(view)
        self.list.focus_list()

    def show_panel(self, form: QWidget, focus: QWidget | None = None) -> None:
        """Show a panel and give a field of it the keyboard."""
        self._turns.show(self.tabs)
        number = self._places.get(form, 0)
        self.tabs.setCurrentIndex(number)
        target = focus or _first_field(form)
        if target is not None:
            target.setFocus(Qt.FocusReason.ShortcutFocusReason)
            page = self.tabs.widget(number)
            if isinstance(page, QScrollArea):
                page.ensureWidgetVisible(target)

    # -- sizes -----------------------------------------------------------------------------------

    def heightForWidth(self, width: int) -> int:
        """Ask for no more than is needed: a scrolling area gives what this answers."""
        return self.minimumSizeHint().height()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Let list and panels take turns where there is little room."""
        super().resizeEvent(event)
        self._turns.arrange()
        low = self.height() < LOW
        self.caution.setVisible(not low)
        self.list.set_brief(low)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on to the list; no proxy, since the list may be empty just now."""
        super().focusInEvent(event)
        self.list.focus_list()


def _first_field(form: QWidget) -> QWidget | None:
    """Return the first field of a form that takes the keyboard."""
    if isinstance(form, SignForm):
        return form.name if not form.name.text() else form.secret
    return next(
        (
            w
            for w in form.findChildren(QWidget)
            if w.focusPolicy() & Qt.FocusPolicy.TabFocus
            and w.isEnabled()
            and w.isVisibleTo(form)
            and w.focusProxy() is None
        ),
        None,
    )


def _scrolling(page: QWidget) -> QScrollArea:
    area = QScrollArea()
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    area.setWidgetResizable(True)
    area.setWidget(page)
    return area
