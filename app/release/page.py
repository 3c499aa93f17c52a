"""The work area Release: what stands in the way, and all that takes a set to its sign-off."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent, QHideEvent, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QFrame,
    QScrollArea,
    QSplitter,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.forms import Form
from app.needs import JobsLike, Memory
from app.plain import PlainLabel
from app.work_area import Pane, WorkArea
from calib_model import cautions

from .act_panel import ActPanel
from .leave_panels import HandOverPanel, TrialPanel
from .lines import View, count_of, lines_of
from .list_panel import ListPanel
from .service import Standings
from .sign_panels import KeysForm, SignForm, StateView, TrustForm, state_words
from .work_acts import ActWork
from .work_keys import KeyWork

NARROW = 820
"""Below this width list and panels take turns."""
LOW = 420
"""Below this height lines that can be missed are left out."""
EMPTY = {
    View.IN_THE_WAY: "<h3>Nothing stands in the way of a sign-off</h3>" + cautions.as_html(),
    View.TABLES: "<p>No table changed since the last sign-off of an allowed reviewer.</p>",
    View.WAIVERS: "<p>No waiver. In the list “In the way”, W waives the chosen finding.</p>",
    View.REMARKS: "<p>No remark. R makes one on the table that is chosen, at its selected "
    "cells.</p>",
    View.SINCE: "<p>The set was never signed, and nothing left for a trial.</p>",
}
HINTS = {
    View.IN_THE_WAY: "Enter goes to the cell  ·  A accept  ·  Q query  ·  W waive  ·  L maturity  "
    "·  R remark",
    View.TABLES: "Ctrl+A chooses all  ·  A accept  ·  Q query  ·  L maturity  ·  R remark  ·  "
    "Enter opens",
    View.WAIVERS: "Enter goes to the cell  ·  W approve  ·  Del remove",
    View.REMARKS: "Enter goes to the cell  ·  R answer  ·  C close or reopen  ·  Del remove",
    View.SINCE: "Enter opens the table  ·  what changed in it stands beside the list",
}


class ReleasePage(WorkArea):
    """What stands in the way, and the panels to settle it, sign, and hand over.

    Signals
    -------
    went_back
        The keyboard is to go back to the area it came from.
    save_wanted : Document
    open_wanted : list of Path

    Parameters
    ----------
    desk : Desk
    jobs : JobsLike
    memory : Memory
        Remembers names and files (never a passphrase).
    """

    went_back = Signal()
    save_wanted = Signal(object)
    open_wanted = Signal(object)

    def __init__(
        self, desk: Desk, jobs: JobsLike, memory: Memory, parent: QWidget | None = None
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
        self._in_turn = "list"
        self._build()
        self.acts = ActWork(self)
        self.key_work = KeyWork(self)
        self._connect()
        self._show()

    # -- building --------------------------------------------------------------------------------

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

    def _connect(self) -> None:
        self.standings.changed.connect(self._show)
        self.desk.documents_changed.connect(self._on_documents)
        self.list.view_chosen.connect(self._show_list)
        self.list.chosen.connect(self._on_chosen)
        self.list.view.entered.connect(lambda: self.acts.order("go"))
        self.list.view.ordered.connect(self.acts.order)
        self.act.ordered.connect(self.acts.order)
        forms: tuple[Form, ...] = (
            self.trust, self.sign, self.keys, self.trial, self.hand_over,
            self.act.waive, self.act.decide, self.act.level, self.act.remark, self.act.approve,
        )  # fmt: skip
        for form in forms:
            form.left.connect(self.back_to_list)

    # -- what the window asks --------------------------------------------------------------------

    def step_table(self, by: int) -> None:
        """Choose the next (or previous) line."""
        if not self.list.step(by):
            self.desk.tell(f"This is the {'last' if by > 0 else 'first'} line of the list.")

    def step_finding(self, by: int) -> None:
        """Choose the next (or previous) line."""
        self.step_table(by)

    def find_tables(self) -> None:
        """Give the find box the keyboard."""
        self._turn("list")
        self.list.focus_filter()

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
        self._turn("panel")
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
        self._turn("list")
        self.act.show_form(None)
        self.list.focus_list()

    def show_view(self, view: View) -> None:
        """Show a list and give it the keyboard."""
        self._turn("list")
        self.list.choose_view(view)
        self.list.focus_list()

    def show_panel(self, form: QWidget, focus: QWidget | None = None) -> None:
        """Show a panel and give a field of it the keyboard."""
        self._turn("panel")
        number = self._places.get(form, 0)
        self.tabs.setCurrentIndex(number)
        target = focus or _first_field(form)
        if target is not None:
            target.setFocus(Qt.FocusReason.ShortcutFocusReason)
            page = self.tabs.widget(number)
            if isinstance(page, QScrollArea):
                page.ensureWidgetVisible(target)

    def show_trial(self) -> None:
        """Show the trial panel with the keyboard where it is needed: Enter writes the files."""
        self.key_work.propose_folders()
        self.show_panel(self.trial, self.trial.first_stop())

    def check_again(self) -> None:
        """Read the lists and programme again, and look anew."""
        self.standings.again()

    # -- showing ---------------------------------------------------------------------------------

    def _show(self) -> None:
        standing, document = self.standings.standing, self.desk.current
        self._show_words()
        self.trust.show_standing(standing)
        self.state.show_standing(standing)
        self.sign.setEnabled(document is not None)
        self.key_work.show_standing(standing)
        self._show_list()

    def _show_words(self) -> None:
        standing, document = self.standings.standing, self.desk.current
        if document is None:
            self.words.setText("No set is open.")
            self.progress.setText("Open one (Ctrl+O) to take it to its sign-off.")
            return
        if standing is None:
            self.words.setText(document.title)
            self.progress.setText("Looking at what stands in the way…")
            return
        self.words.setText(f"{document.title}: {state_words(standing.verification)}")
        text = standing.gate.words
        modes = ", ".join(other.mode for other in standing.others)
        text += f" Checked against: {modes}" if modes else ""
        beside = standing.known.programme
        if modes:
            text += f" ({beside.path.name})." if beside is not None else "."
        for problem in (*standing.known.problems, *standing.known.notes):
            text += f" \N{WARNING SIGN} {problem}"
        self.progress.setText(text)
        self.progress.setAccessibleName(f"Progress: {text}")

    def _show_list(self) -> None:
        standing, view = self.standings.standing, self.list.shown
        counts = {one: count_of(one, standing) for one in View} if standing else {}
        self.list.show_counts(counts)
        self.list.view.setAccessibleName(str(view))
        self.list.keys.setText(HINTS[view])
        lines = lines_of(view, standing) if standing is not None else []
        if self.desk.current is None:
            empty = "<p>No set is open. Open one with Ctrl+O, or the sample sets with "
            empty += "Ctrl+Shift+O.</p>"
        elif standing is None:
            empty = "<p>Looking…</p>"
        else:
            empty = EMPTY[view]
        self.list.show_lines(lines, empty)
        self._on_chosen()

    def _on_chosen(self) -> None:
        self.act.show_lines(self.list.lines, self.standings.standing)

    def _on_documents(self) -> None:
        self._show_words()

    # -- sizes -----------------------------------------------------------------------------------

    def _turn(self, part: str) -> None:
        """On a narrow screen, show the list or the panels."""
        self._in_turn = part
        narrow = self.width() < NARROW
        self.list.setVisible(not narrow or part == "list")
        self.tabs.setVisible(not narrow or part == "panel")

    def heightForWidth(self, width: int) -> int:
        """Ask for no more than is needed: a scrolling area gives what this answers."""
        return self.minimumSizeHint().height()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Let list and panels take turns where there is little room."""
        super().resizeEvent(event)
        self._turn(self._in_turn)
        low = self.height() < LOW
        self.caution.setVisible(not low)
        self.list.set_brief(low)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on to the list; no proxy, since the list may be empty just now."""
        super().focusInEvent(event)
        self.list.focus_list()

    def showEvent(self, event: QShowEvent) -> None:
        """Bring all up to date."""
        super().showEvent(event)
        self.standings.set_active(True)
        self.key_work.propose_folders()

    def hideEvent(self, event: QHideEvent) -> None:
        """Rest."""
        super().hideEvent(event)
        self.standings.set_active(False)


def _first_field(form: QWidget) -> QWidget | None:
    """Return the first field of a form that takes the keyboard."""
    if isinstance(form, SignForm):
        return form.name if not form.name.text() else form.secret
    kinds: Any = form.findChildren(QWidget)
    return next(
        (
            w
            for w in kinds
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
