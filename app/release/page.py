"""The work area Release: what is to do, and all that takes a set to its sign-off."""

from __future__ import annotations

from PySide6.QtGui import QHideEvent, QShowEvent
from PySide6.QtWidgets import QWidget

from app.desk import Desk
from app.forms import Form
from app.look.empty import Way, act
from app.needs import Memory
from app.work.jobs import Jobs
from calib_model import cautions

from .lines import View, count_of, lines_of
from .panels import ReleasePanels
from .sign_panels import state_words
from .work_acts import ActWork
from .work_keys import KeyWork

EMPTY = {
    View.TO_DO: ("Nothing to do before a sign-off", "\n".join(cautions.POINTS)),
    View.TABLES: ("No table changed", "Since the last sign-off of an allowed reviewer."),
    View.WAIVERS: ("No waiver", "In the list “To do”, W waives the chosen finding."),
    View.REMARKS: ("No remark", "R makes one on the table that is chosen, at its selected cells."),
    View.SINCE: ("Never signed", "Nothing left the desk for a trial either."),
}
HINTS = {
    View.TO_DO: "Enter goes to the cell  ·  A accept  ·  Shift+A accept all  ·  Q query  ·  "
    "W waive",
    View.TABLES: "Enter opens  ·  A accept  ·  Shift+A accept all  ·  Q query",
    View.WAIVERS: "Enter goes to the cell  ·  W approve  ·  Del remove",
    View.REMARKS: "Enter goes to the cell  ·  R answer  ·  C close or reopen  ·  Del remove",
    View.SINCE: "Enter opens the table  ·  what changed in it stands beside the list",
}


class ReleasePage(ReleasePanels):
    """What is to do, and the panels to settle it, sign, and hand over.

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
        self.notice.wanted.connect(self._show_signers)
        self.sign.key_wanted.connect(lambda: self.show_panel(self.keys))
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

    def _show_signers(self) -> None:
        """Show who may sign, with the keyboard on what confirms them, if that is to be done."""
        button = self.trust.confirm
        self.show_panel(self.trust, None if button.isHidden() else button)

    def check_again(self) -> None:
        """Read the lists and programme again, and look anew."""
        self.standings.again()

    # -- showing ---------------------------------------------------------------------------------

    def _show(self) -> None:
        standing, document = self.standings.standing, self.desk.current
        self._show_words()
        self.trust.show_standing(standing)
        self.state.show_standing(standing)
        self.sign.show_standing(standing, document)
        for panel in (self.hand_over, self.trial):  # nothing to write without a set
            panel.write.setEnabled(document is not None)
        self.key_work.show_standing(standing)
        self._show_list()

    def _show_words(self) -> None:
        standing, document = self.standings.standing, self.desk.current
        self.head.setVisible(document is not None)
        self.bar.setVisible(standing is not None)
        if document is None or standing is None:
            self.words.setText(document.title if document is not None else "No set is open.")
            self.progress.setText(self.standings.failure or "Looking at what is to do…")
            self.notice.show_text("")
            return
        gate = standing.gate
        self.words.setText(f"{document.title}: {state_words(standing.verification)}")
        self.bar.show_share(gate.done, gate.total)
        text = gate.words
        modes = ", ".join(other.mode for other in standing.others)
        text += f" Checked against: {modes}" if modes else ""
        beside = standing.known.programme
        if modes:
            text += f" ({beside.path.name})." if beside is not None else "."
        self.progress.setText(text)
        self.progress.setAccessibleName(f"Progress: {text}")
        self.notice.show_text(" ".join((*standing.known.problems, *standing.known.notes)))

    def _show_list(self) -> None:
        standing, view = self.standings.standing, self.list.shown
        counts = {one: count_of(one, standing) for one in View} if standing else {}
        self.list.show_counts(counts)
        self.list.view.setAccessibleName(str(view))
        self.list.keys.setText(HINTS[view])
        lines = lines_of(view, standing) if standing is not None else []
        if self.desk.current is None:
            self.list.show_lines(
                lines,
                "No set is open",
                "This page lists what is to do before a set's sign-off.",
                (
                    Way("Open a set…", act(self, "file.open"), keys="Ctrl+O"),
                    Way(
                        "Open the sample sets", act(self, "file.open_samples"), keys="Ctrl+Shift+O"
                    ),
                ),
            )
        elif standing is None:
            self.list.show_lines(lines, "Looking…", "")
        else:
            self.list.show_lines(lines, *EMPTY[view])
        self._on_chosen()

    def _on_chosen(self) -> None:
        head = self.list.heading
        self.act.show_lines(
            self.list.lines, self.standings.standing, head.group if head is not None else ""
        )

    def showEvent(self, event: QShowEvent) -> None:
        """Bring all up to date."""
        super().showEvent(event)
        self.standings.set_active(True)
        self.key_work.propose_folders()

    def hideEvent(self, event: QHideEvent) -> None:
        """Rest."""
        super().hideEvent(event)
        self.standings.set_active(False)
