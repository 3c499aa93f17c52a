"""The work area Release: what stands in the way, and all that takes a set to its sign-off."""

from __future__ import annotations

from PySide6.QtGui import QHideEvent, QShowEvent
from PySide6.QtWidgets import QWidget

from app.desk import Desk
from app.forms import Form
from app.needs import Memory
from app.work.jobs import Jobs
from calib_model import cautions

from .lines import View, count_of, lines_of
from .panels import ReleasePanels
from .sign_panels import state_words
from .work_acts import ActWork
from .work_keys import KeyWork

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


class ReleasePage(ReleasePanels):
    """What stands in the way, and the panels to settle it, sign, and hand over.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    memory : Memory
        Remembers names and files (never a passphrase).
    """

    def __init__(
        self, desk: Desk, jobs: Jobs, memory: Memory, parent: QWidget | None = None
    ) -> None:
        super().__init__(desk, jobs, memory, parent)
        self.acts = ActWork(self)
        self.key_work = KeyWork(self)
        self._connect()
        self._show()

    def _connect(self) -> None:
        self.standings.changed.connect(self._show)
        self.desk.documents_changed.connect(self._show_words)
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
        self._turns.show(self.list)
        self.list.focus_filter()

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
            self.progress.setText(self.standings.failure or "Looking at what stands in the way…")
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

    def showEvent(self, event: QShowEvent) -> None:
        """Bring all up to date."""
        super().showEvent(event)
        self.standings.set_active(True)
        self.key_work.propose_folders()

    def hideEvent(self, event: QHideEvent) -> None:
        """Rest."""
        super().hideEvent(event)
        self.standings.set_active(False)
