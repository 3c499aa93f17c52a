"""The part Campaign of Road: many runs in the background, how they spread, the worst of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QFocusEvent, QResizeEvent, QShowEvent
from PySide6.QtWidgets import QFileDialog, QMessageBox, QSplitter, QVBoxLayout, QWidget

from app.desk import Desk
from app.driving.service import driving_of
from app.driving.shapes import CampaignPlan, Case, DrivenCampaign
from app.look.empty import Way, act
from app.look.parts import plain, primary
from app.needs import Memory
from app.plain import plain_tip
from app.road.campaign.form import CampaignForm
from app.road.campaign.results import CampaignResults
from app.road.part import RoadPart
from app.road.rows import RowsView
from app.work.control import Control
from app.work.jobs import Jobs
from app.work_area import Pane, to_widget
from calib_model.errors import BitepointError
from calib_model.vehicle.campaign_store import NO_SUM
from calib_model.vehicle.cluster_trust import confirm, is_confirmed, risk

NARROW = 860
EMPTY = (
    "A campaign drives every ticked manoeuvre with every ticked set, many times, with friction, "
    "mass and temperature varied, and shows how the estimates spread and which runs were worst. "
    "Tick what is to vary at the left and run it, or open earlier results."
)


def ask_trust(parent: QWidget, question: str, details: str) -> bool:
    """Ask whether a scheduler may be used; no is the answer that a hasty Enter gives."""
    box = QMessageBox(parent)
    box.setIcon(QMessageBox.Icon.Warning)
    box.setWindowTitle("Bitepoint")
    box.setText(plain_tip(question))
    box.setInformativeText(plain_tip(details))
    go = box.addButton("I trust it", QMessageBox.ButtonRole.AcceptRole)
    stay = box.addButton(QMessageBox.StandardButton.Cancel)
    box.setDefaultButton(stay)
    box.setEscapeButton(stay)
    box.exec()
    return box.clickedButton() is go


class CampaignPanel(RoadPart):
    """Campaigns.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    settings : Memory
    """

    def __init__(
        self, desk: Desk, jobs: Jobs, settings: Memory, parent: QWidget | None = None
    ) -> None:
        super().__init__(desk, parent)
        self._jobs = jobs
        self.driving = driving_of(desk, settings)
        self._job: Any = None
        self.ask_trust = ask_trust
        self.form = CampaignForm(self.driving)
        self.results = CampaignResults(self.driving)
        self._across = QSplitter(Qt.Orientation.Horizontal)
        self._across.addWidget(self.form)
        self._across.addWidget(self.results)
        self._across.setStretchFactor(1, 1)
        self._across.setChildrenCollapsible(False)
        self._across.setSizes([340, 860])
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self._across)
        self.form.run_wanted.connect(self.run)
        self.form.cancel_wanted.connect(self.cancel)
        self.form.open_wanted.connect(self.ask_open)
        self.results.case_wanted.connect(self.show_case)
        desk.documents_changed.connect(self.form.refresh)
        desk.documents_changed.connect(self._show_empty)
        self._show_empty()
        self.driving.choice_changed.connect(self.form.refresh)
        self.driving.state_changed.connect(self._on_state)

    def _show_empty(self) -> None:
        """Say what belongs here and how to get it; the form has the act that runs it."""
        opens = Way("Open results…", self.ask_open, "Show the results of an earlier campaign.")
        ways = [opens]
        if not self.desk.documents:
            ways.insert(0, Way("Open a set…", act(self, "file.open"), "Open calibration sets.",
                               "Ctrl+O"))  # fmt: skip
        bare = not self.desk.documents
        self.results.empty.show_ways("No campaign yet", EMPTY, ways, lead=bare)
        (plain if bare else primary)(self.form.run)

    # -- running ---------------------------------------------------------------------------------

    def run(self) -> None:
        """Run the campaign that the form asks for."""
        if self._job is not None:
            return
        try:
            plan = self.form.plan()
        except BitepointError as error:
            self.results.say(f"\N{WARNING SIGN} {error}")
            return
        if self.driving.state != "ready":
            self.driving.prepare()
            self._on_state()
            return
        if not self._trusts(plan.scheduler):
            return
        self.form.keep()
        count = self.form.count_of(plan)
        self.results.say(f"Driving {count} runs in the background…")
        self._job = self._jobs.start(
            f"Campaign of {count} runs",
            _run,
            self.driving.model,
            plan,
            done=self._take,
            failed=self._failed,
            cancellable=True,
        )
        self.form.show_running(True)
        self._job.ended.connect(self._on_ended)

    def _trusts(self, scheduler: str) -> bool:
        """Whether a scheduler may be used; asked once for each, for it can run programs here."""
        if not scheduler or is_confirmed(scheduler):
            return True
        if not self.ask_trust(self, "Use this Dask scheduler?", risk(scheduler)):
            self.results.say("Nothing was driven: the scheduler was not confirmed.")
            return False
        try:
            confirm(scheduler)
        except BitepointError as error:
            self.results.say(f"\N{WARNING SIGN} {error}")
            return False
        return True

    def cancel(self) -> None:
        """Give up the campaign."""
        if self._job is not None:
            self._job.cancel()

    def _on_ended(self) -> None:
        if self._job is not None and self._job.state == "cancelled":
            self.results.say("The campaign was given up; nothing was kept.")
        self._job = None
        self.form.show_running(False)

    def _on_state(self) -> None:
        state, driving = self.driving.state, self.driving
        if self._job is None and self.results.campaign is None:
            words = {
                "preparing": "Preparing the simulation… (once after an update; all else goes on)",
                "failed": f"\N{WARNING SIGN} {driving.trouble}",
            }.get(state, "")
            self.results.say(words)

    def _take(self, driven: DrivenCampaign) -> None:
        campaign, seconds = driven.campaign, driven.seconds
        self.results.show_campaign(campaign)
        lost = int((~campaign.completed).sum())
        parts = [f"{len(campaign)} runs"]
        if not math.isnan(seconds):
            parts[0] += f" in {seconds:.1f} s ({len(campaign) / seconds:.0f} per second)"
        parts.append(f"{lost} not completed" if lost else "all completed")
        if driven.path is not None:
            parts.append(f"results in {driven.path}")
        caution = f" \N{WARNING SIGN} {NO_SUM}" if campaign.unchecked else ""
        self.results.say(f"Desk estimates: {', '.join(parts)}.{caution}")

    def _failed(self, error: BitepointError) -> None:
        self.results.say(f"\N{WARNING SIGN} {error}")

    # -- opening ---------------------------------------------------------------------------------

    def ask_open(self) -> None:
        """Ask for the results of an earlier campaign."""
        start = self.form.out.path or Path.home()
        name, _ = QFileDialog.getOpenFileName(
            self, "Results of a campaign", str(start), "Campaigns (*.parquet *.h5 *.hdf5)"
        )
        if name:
            self.open(Path(name))

    def open(self, path: Path) -> None:
        """Show the results of an earlier campaign."""
        self._jobs.start(
            f"Reading {path.name}",
            _read,
            self.driving.model,
            path,
            done=self._take,
            failed=self._failed,
        )

    # -- worst cases -----------------------------------------------------------------------------

    def show_case(self, case: Case) -> None:
        """Drive a run again and show it in the part Manoeuvres."""
        self.driving.show_case(case)
        self.part_wanted.emit("manoeuvres")

    def show_tab(self, number: int) -> None:
        """Show the distributions (0) or the worst cases (1) and give the list the keyboard."""
        self.results.tabs.setCurrentIndex(number)
        self.results.focus_list()

    def list_shown(self) -> RowsView | None:
        """Return the list of the tab that is shown."""
        return self.results.list_shown

    # -- room, keyboard --------------------------------------------------------------------------

    def panes(self) -> Sequence[Pane]:
        """The form and the results."""

        def results() -> bool:
            self.results.focus_list()
            return True

        return (
            Pane(self.form, lambda: to_widget(self.form.manoeuvres)),
            Pane(self.results, results),
        )

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share the room."""
        super().resizeEvent(event)
        if self.width() < NARROW:
            form = self.width() * 45 // 100
            self._across.setSizes([form, self.width() - form])

    def showEvent(self, event: QShowEvent) -> None:
        """Get the simulation ready when it is first seen."""
        super().showEvent(event)
        self.driving.prepare()
        self._on_state()

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on."""
        super().focusInEvent(event)
        self.form.manoeuvres.setFocus(Qt.FocusReason.ShortcutFocusReason)


def _run(control: Control, model: Any, plan: CampaignPlan) -> DrivenCampaign:
    table = model.campaign(control, plan)
    assert isinstance(table, DrivenCampaign)
    return table


def _read(_control: Control, model: Any, path: Path) -> DrivenCampaign:
    table = model.read_campaign(path)
    assert isinstance(table, DrivenCampaign)
    return table
