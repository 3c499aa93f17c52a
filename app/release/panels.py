"""The panels of the work area Release: the list and the forms, and which has the keyboard."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QFocusEvent, QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QScrollArea,
    QSplitter,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.look.parts import ShortLabel
from app.look.tokens import NEAR, TIGHT
from app.needs import Memory
from app.turns import Turns
from app.work.jobs import Jobs
from app.work_area import Pane, WorkArea
from calib_model import cautions

from .act_panel import ActPanel
from .leave_panels import HandOverPanel, TrialPanel
from .lines import View
from .list_panel import ListPanel
from .progress_bar import Notice, ProgressBar
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
        self.words = ShortLabel(step="title")
        self.words.setAccessibleName("How the set stands")
        self.bar = ProgressBar()
        self.progress = ShortLabel(second=True)
        self.notice = Notice("Who may sign…")
        self.notice.button.setToolTip("Shows who may sign, to be looked at and confirmed.")
        share = QHBoxLayout()
        share.setSpacing(NEAR)
        share.addWidget(self.bar)
        share.addWidget(self.progress, 1)
        self.head = QWidget()
        head = QVBoxLayout(self.head)
        head.setContentsMargins(NEAR, NEAR, NEAR, TIGHT)
        head.setSpacing(TIGHT)
        head.addWidget(self.words)
        head.addLayout(share)
        head.addWidget(self.notice)
        signing = QWidget()
        column = QVBoxLayout(signing)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.state, 1)
        column.addWidget(self.sign)
        column.addWidget(self.trust)
        self.tabs = QTabWidget()
        self.tabs.setDocumentMode(True)
        self.tabs.setUsesScrollButtons(True)
        self.tabs.setAccessibleName("Details, sign, hand over, trial, new key")
        self._places: dict[QWidget, int] = {}
        for title, page, forms in (
            ("Detai&ls", self.act, (self.act,)),
            ("Si&gn", signing, (self.trust, self.sign)),
            ("Hand &over", self.hand_over, (self.hand_over,)),
            ("Tr&ial", self.trial, (self.trial,)),
            ("New &key", self.keys, (self.keys,)),
        ):
            number = self.tabs.addTab(_scrolling(page), title)
            for form in forms:
                self._places[form] = number
        # Keys are made once in a while: the panel comes when it is asked for.
        self.tabs.setTabVisible(self._places[self.keys], False)
        self.tabs.tabBarClicked.connect(self._on_tab)
        self._turns = Turns(self, NARROW, self.list, self.tabs)
        self._across = QSplitter(Qt.Orientation.Horizontal)
        self._across.setChildrenCollapsible(False)
        self._across.addWidget(self.list)
        self._across.addWidget(self.tabs)
        self._across.setStretchFactor(0, 3)
        self._across.setStretchFactor(1, 2)
        self._across.setSizes([720, 480])
        self.caution = ShortLabel(cautions.LINE, "small", second=True)
        self.caution.setIndent(NEAR)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 2)
        whole.setSpacing(0)
        whole.addWidget(self.head)
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
            target = self.act.first_button() or target
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
        self.tabs.setTabVisible(number, True)
        self.tabs.setCurrentIndex(number)
        target = focus or _first_field(form)
        if target is not None:
            target.setFocus(Qt.FocusReason.ShortcutFocusReason)
            page = self.tabs.widget(number)
            if isinstance(page, QScrollArea):
                page.ensureWidgetVisible(target)

    def _on_tab(self, number: int) -> None:
        """A click on Sign leads to what has to be typed: the passphrase."""
        if number == self._places[self.sign]:
            self.tabs.setCurrentIndex(number)
            target = _first_field(self.sign)
            if target is not None:
                QTimer.singleShot(0, target.setFocus)

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
