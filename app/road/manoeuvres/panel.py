"""The part Manoeuvres of Road: drive on the desk, and see what an edit does to the vehicle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QFocusEvent, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QSizePolicy,
    QSplitter,
    QStackedWidget,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.driving.looks import NOW
from app.driving.metrics_view import MetricsView
from app.driving.parts import Part, drive_parts, parts_of
from app.driving.service import Driving, driving_of
from app.driving.shapes import Case, DeskRun
from app.driving.top_view import TopView
from app.driving.verdict import number
from app.look.empty import EmptyPage, Way, act
from app.look.parts import plain, primary
from app.needs import Memory
from app.plain import PlainLabel, plain_tip
from app.road.manoeuvres import evidence
from app.road.manoeuvres.about import AboutPage
from app.road.manoeuvres.chooser import Chooser
from app.road.manoeuvres.moment import deciding_cell
from app.road.manoeuvres.sensitivity import SensitivityTab
from app.road.manoeuvres.traces_tab import TracesTab
from app.road.manoeuvres.words import case_words, state_words, warned, why_nothing
from app.road.part import RoadPart
from app.things import belongs
from app.work.control import Control
from app.work.jobs import Job, Jobs
from app.work.latest import Latest
from app.work_area import Pane, to_widget
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError

if TYPE_CHECKING:
    from calib_model.vehicle.manoeuvres import Manoeuvre

PAUSE_MS = 60
EMPTY = (
    "A manoeuvre drives an invented vehicle over snow, ice or a dry road with the open set, on the "
    "desk. Estimates with the set as saved, as it is now and with its reference stand side by side."
)
TRAIL_S = 2.0
NARROW, LOW = 860, 520
"""Below these sizes the list gets less room, and the table of estimates less height."""
_NOTHING = CalibrationSet({})
"""A run of a campaign brings its own set; none of the desk's belongs to it."""
_TABS = ("Traces", "Path from above", "All estimates", "Sensitivity", "What it leaves out")


class ManoeuvresPanel(RoadPart):
    """Desk manoeuvres.

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
        self._jobs, self._memory = jobs, settings
        self.driving: Driving = driving_of(desk, settings)
        self._driven: dict[str, tuple[tuple[Part, ...], dict[str, DeskRun]]] = {}
        self._case: Case | None = None
        self._case_run: DeskRun | None = None
        self._job: Job | None = None
        self._trouble = ""
        self._wanted = False
        self._latest = Latest(self, self._take, self._take_failure)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(PAUSE_MS)
        self._timer.timeout.connect(self._follow)
        self._build()
        self._connect()
        if self.driving.case is not None:
            self.show_case()

    # -- building --------------------------------------------------------------------------------

    def _build(self) -> None:
        driving = self.driving
        self.chooser = Chooser(driving)
        self.state = PlainLabel()
        self.state.setWordWrap(True)
        self.state.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.state.setContentsMargins(4, 2, 4, 2)
        self.state.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.metrics = MetricsView(driving)
        self.drawn = TracesTab(self._memory)
        self.traces = self.drawn.traces
        self.path = TopView()
        self.all_metrics = MetricsView(driving)
        self.sensitivity = SensitivityTab(driving, self._jobs)
        self.about = AboutPage(driving.model.left_out())
        self.tabs = QTabWidget()
        self.tabs.setDocumentMode(True)
        pages = (self.drawn, self.path, self.all_metrics, self.sensitivity, self.about)
        for page, title in zip(pages, _TABS, strict=True):
            self.tabs.addTab(page, title)
        top = QWidget()
        upper = QVBoxLayout(top)
        upper.setContentsMargins(0, 0, 0, 0)
        upper.setSpacing(2)
        upper.addWidget(self.state)
        upper.addWidget(self.metrics, 1)
        self._down = QSplitter(Qt.Orientation.Vertical)
        self._down.addWidget(top)
        self._down.addWidget(self.tabs)
        self._down.setStretchFactor(1, 1)
        self._down.setChildrenCollapsible(False)
        self._across = QSplitter(Qt.Orientation.Horizontal)
        self._across.addWidget(self.chooser)
        self.empty = EmptyPage()
        self.empty.show_ways(
            "No set is open",
            EMPTY,
            [Way("Open a set…", act(self, "file.open"), "Open calibration sets.", "Ctrl+O")],
        )
        self._right = QStackedWidget()
        self._right.addWidget(self._down)
        self._right.addWidget(self.empty)
        self._across.addWidget(self._right)
        self._across.setStretchFactor(1, 1)
        self._across.setSizes([270, 900])
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self._across)

    def _say_what_is_where(self) -> None:
        for widget, thing in (
            (self.chooser.list, "manoeuvre"),
            (self.metrics, "estimate"),
            (self.all_metrics, "estimate"),
            (self.traces, "trace"),
        ):
            belongs(widget, thing)

    def _connect(self) -> None:
        self._say_what_is_where()
        desk, driving = self.desk, self.driving
        self.chooser.chosen.connect(self._on_chosen)
        self.chooser.drive_wanted.connect(self.drive_chosen)
        self.chooser.drive_all_wanted.connect(self.drive_all)
        self.chooser.cancel_wanted.connect(self.cancel)
        self.traces.head_moved.connect(self._on_head)
        self.traces.opened.connect(self.open_deciding_table)
        self.drawn.choice_changed.connect(self._redraw)
        self.drawn.evidence_wanted.connect(self.record_evidence)
        self.sensitivity.cell_wanted.connect(self._open_cell)
        driving.state_changed.connect(self._on_state)
        driving.choice_changed.connect(self._on_choice)
        driving.case_wanted.connect(self.show_case)
        desk.edited.connect(lambda _event: self._soon())
        for signal in (desk.current_changed, desk.reference_changed, desk.documents_changed):
            signal.connect(self._soon)
        desk.table_changed.connect(self._show_set)

    # -- what is chosen --------------------------------------------------------------------------

    @property
    def manoeuvre(self) -> Manoeuvre | None:
        """The chosen manoeuvre."""
        return self.driving.manoeuvre(self.chooser.manoeuvre)

    def _on_chosen(self) -> None:
        self._case, self._trouble = None, ""
        self.driving.memory.remember("driving/chosen", self.chooser.manoeuvre)
        self.sensitivity.show_manoeuvre(self.manoeuvre)
        self.chooser.show_states(self._states())
        self._redraw()
        self._soon()

    def _on_choice(self) -> None:
        self._driven.clear()
        self._redraw()
        self._soon()

    def _on_state(self) -> None:
        self._redraw()
        if self.driving.state == "ready":
            self._soon()

    def _soon(self) -> None:
        if self.isVisible() and not self._timer.isActive():
            self._timer.start()

    def _follow(self) -> None:
        """Drive the chosen manoeuvre again if its set is another now."""
        self._show_set()
        self.chooser.show_states(self._states())
        if self._case is not None:
            self._drive_case()
            return
        # Without compiled code a run is long: then it is driven when asked for.
        if self.driving.state == "ready" and (self.driving.model.compiled or self._wanted):
            self._drive()
        else:
            self._redraw()

    def _show_set(self) -> None:
        document = self.desk.current
        table = self.desk.table
        self.sensitivity.show_set(
            document.content if document is not None else None, table.id if table else ""
        )

    # -- driving ---------------------------------------------------------------------------------

    def drive_chosen(self) -> None:
        """Drive the chosen manoeuvre."""
        self._case = None
        self._wanted = True
        if self.driving.state in ("cold", "failed"):
            self.driving.prepare()
        elif self.driving.state == "ready":
            self._drive()
        self._say()

    def _drive(self) -> None:
        parts, manoeuvre = parts_of(self.desk), self.chooser.manoeuvre
        if not parts or not manoeuvre:
            self._redraw()
            return
        if self._latest.busy:
            self._timer.start()
            return
        self._wanted, self._trouble = False, ""
        driving, vehicle = self.driving, self.driving.vehicle
        self._latest.ask(
            lambda: (manoeuvre, parts, drive_parts(driving, parts, manoeuvre, vehicle))
        )
        self._say()

    def _take(self, answer: DeskRun | tuple[str, tuple[Part, ...], dict[str, DeskRun]]) -> None:
        if isinstance(answer, DeskRun):
            self._take_case(answer)
            return
        manoeuvre, parts, runs = answer
        self._driven[manoeuvre] = (parts, runs)
        self.chooser.show_states(self._states())
        if manoeuvre == self.chooser.manoeuvre and self._case is None:
            self._redraw()

    def _take_failure(self, error: BitepointError) -> None:
        self._trouble = str(error)
        self._redraw()

    def drive_all(self) -> None:
        """Drive every manoeuvre in the background."""
        parts = parts_of(self.desk)
        if self._job is not None or not parts:
            return
        if self.driving.state != "ready":
            self.driving.prepare()
            self.desk.tell("The simulation is not ready yet; try again in a moment.", refused=True)
            return
        self._case = None
        self._job = self._jobs.start(
            "Driving all manoeuvres",
            _drive_all,
            self.driving,
            parts,
            [d.id for d in self.driving.manoeuvres],
            self.driving.vehicle,
            done=lambda driven: self._take_all(parts, driven),
            cancellable=True,
        )
        self.chooser.show_running(True)
        self._job.ended.connect(self._on_ended)

    def cancel(self) -> None:
        """Give up driving all."""
        if self._job is not None:
            self._job.cancel()

    def _on_ended(self) -> None:
        self._job = None
        self.chooser.show_running(False)

    def _take_all(self, parts: tuple[Part, ...], driven: Mapping[str, dict[str, DeskRun]]) -> None:
        for id, runs in driven.items():
            self._driven[id] = (parts, runs)
        self.chooser.show_states(self._states())
        self._redraw()
        done = sum(runs[NOW].completed for runs in driven.values())
        self.desk.tell(f"{done} of {len(driven)} manoeuvres were completed on the desk.")

    def wait(self) -> None:
        """Drive what is due and show it; for tests and measurements."""
        self.driving.wait()
        while self._timer.isActive():
            self._timer.stop()
            self._latest.wait()
            self._follow()
        self._latest.wait()

    # -- a run of a campaign ---------------------------------------------------------------------

    def show_case(self) -> None:
        """Drive a run of a campaign again and show it."""
        case = self.driving.case
        self.driving.case = None
        if case is None:
            return
        self.chooser.choose(case.manoeuvre)
        self._case, self._case_run = case, None
        self.driving.prepare()
        self._drive_case()
        self._redraw()

    def _drive_case(self) -> None:
        case, driving = self._case, self.driving
        if case is not None and self._case_run is None and driving.state == "ready":
            self._latest.ask(lambda: driving.case_told(case))

    def _take_case(self, run: DeskRun) -> None:
        if self._case is not None:
            self._case_run = run
            self._redraw()

    # -- showing ---------------------------------------------------------------------------------

    def _states(self) -> dict[str, str]:
        parts = {p.part: p.content for p in parts_of(self.desk)}
        states = {}
        for id, (of, runs) in self._driven.items():
            run = runs[NOW]
            if {p.part: p.content for p in of} != parts:
                states[id] = "… sets changed since"
            elif run.completed:
                states[id] = f"✓ completed, {number(_seconds(run), 's')}"
            else:
                states[id] = f"✗ {run.why}"
        return states

    def _current(self) -> tuple[tuple[Part, ...], dict[str, DeskRun]]:
        """Return what is shown: the case, else the chosen manoeuvre's runs."""
        if self._case is not None:
            run = self._case_run
            if run is None:
                return (), {}
            return (Part(NOW, case_words(self._case), _NOTHING),), {NOW: run}
        return self._driven.get(self.chooser.manoeuvre, ((), {}))

    def _redraw(self) -> None:
        chosen = self.manoeuvre
        parts, runs = self._current()
        bare = self.desk.current is None and self._case is None
        self._right.setCurrentWidget(self.empty if bare else self._down)
        (plain if bare else primary)(self.chooser.run)
        if chosen is None:
            self.traces.say("No manoeuvre is chosen.")
            return
        self.metrics.metrics.show_runs([(chosen, runs)])
        self.metrics.updateGeometry()
        self._show_all()
        self.drawn.show_runs(parts, runs, why_nothing(self.driving, runs.get(NOW)))
        self.path.show_runs(self.drawn.shown, planar=chosen.turns)
        self._say()
        self._share_height()

    def _show_all(self) -> None:
        rows = []
        for chosen in self.driving.manoeuvres:
            if chosen.id in self._driven:
                rows.append((chosen, self._driven[chosen.id][1]))
        self.all_metrics.metrics.show_runs(rows)

    def _say(self) -> None:
        now = self._current()[1].get(NOW)
        words = state_words(self.driving, self.manoeuvre, now, self._case)
        self.state.setText(warned(self._trouble) if self._trouble else words)
        self.state.setToolTip(plain_tip("\n".join(now.remarks) if now is not None else ""))

    # -- the play head ---------------------------------------------------------------------------

    def _on_head(self, seconds: float) -> None:
        self.path.set_head(seconds)
        if not self.drawn.shown or not self.isVisible():
            return
        run = self.drawn.shown[0].run
        tick = run.tick_at(seconds)
        first = run.tick_at(seconds - TRAIL_S)
        at = {q: float(v[tick]) for q, v in run.quantities.items() if np.isfinite(v[tick])}
        trail = {q: v[first : tick + 1] for q, v in run.quantities.items()}
        self.desk.driving.set_play_head(at, trail)

    def open_deciding_table(self) -> None:
        """Open the table that decided the torque at the play head, in Tune."""
        if not self.drawn.shown:
            return
        found = deciding_cell(self.desk, self.drawn.shown[0].run, self.traces.head)
        if found is None:
            self.desk.tell("No table decided the torque at this moment.", refused=True)
        else:
            self._open_cell(*found)

    def record_evidence(self) -> None:
        """Note in the set's record what the run that is shown visited, as desk evidence."""
        chosen, (parts, runs) = self.manoeuvre, self._current()
        if self._case is not None or chosen is None:
            self.desk.tell("A run of a campaign has other conditions; drive it here.", refused=True)
            return
        driven = next((p.content for p in parts if p.part == NOW), None)
        evidence.record(
            self.desk, self._jobs, self._memory.author, chosen.name, driven, runs.get(NOW)
        )

    def _open_cell(self, table_id: str, cell: tuple[int, ...]) -> None:
        self.desk.open_table(table_id, cell)
        self.jumped.emit()

    # -- room, keyboard --------------------------------------------------------------------------

    def panes(self) -> Sequence[Pane]:
        """Manoeuvres, estimates, the tab that is shown."""
        return (
            Pane(self.chooser, lambda: to_widget(self.chooser.list)),
            Pane(self.metrics, lambda: to_widget(self.metrics)),
            Pane(self.tabs, lambda: to_widget(self.tabs.currentWidget() or self.tabs)),
        )

    def show_tab(self, number: int) -> None:
        """Show a tab and give it the keyboard."""
        self.tabs.setCurrentIndex(number)
        page = self.tabs.currentWidget()
        (page.focusProxy() or page).setFocus(Qt.FocusReason.ShortcutFocusReason)

    def _share_height(self) -> None:
        """Give the table of estimates what it needs, and all else to the plots."""
        total = sum(self._down.sizes())
        if not total:
            return
        need = self.state.heightForWidth(max(self._down.width(), 100))
        need += self.metrics.sizeHint().height() + 4
        top = min(need, total * (2 if self.height() < LOW else 3) // 6)
        self._down.setSizes([top, total - top])

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share the room."""
        super().resizeEvent(event)
        self.chooser.set_brief(self.height() < LOW)
        if self.width() < NARROW:
            self._across.setSizes([200, max(self.width() - 200, 200)])
        self._share_height()

    def showEvent(self, event: QShowEvent) -> None:
        """Get the simulation ready when it is first seen, and drive what is due."""
        super().showEvent(event)
        self.driving.prepare()
        self._on_chosen_first()
        self._soon()

    def _on_chosen_first(self) -> None:
        self.sensitivity.show_manoeuvre(self.manoeuvre)
        self._show_set()
        self._say()

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on to the list."""
        super().focusInEvent(event)
        self.chooser.list.setFocus(Qt.FocusReason.ShortcutFocusReason)


def _holds(pane: QWidget, widget: QWidget) -> bool:
    return pane is widget or pane.isAncestorOf(widget)


def _seconds(run: DeskRun) -> float:
    return float(run.time[-1]) if run.time.size else float("nan")


def _drive_all(
    control: Control,
    driving: Driving,
    parts: tuple[Part, ...],
    manoeuvres: list[str],
    vehicle: Any,
) -> dict[str, dict[str, DeskRun]]:
    driven = {}
    for number_, id in enumerate(manoeuvres):
        chosen = driving.manoeuvre(id)
        name = chosen.name if chosen is not None else id
        control.progress(number_ / len(manoeuvres), f"Driving: {name}")
        runs = {}
        for part in parts:
            control.check()
            runs[part.part] = driving.drive_told(part.content, id, vehicle)
        driven[id] = runs
    return driven
