"""The part Recordings: what was driven, replayed through the tables of the open sets."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QDragEnterEvent, QDropEvent, QFocusEvent, QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QFileDialog,
    QSplitter,
    QStackedWidget,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.look.empty import EmptyPage, Way, act
from app.needs import Memory
from app.plain import PlainLabel
from app.plots.frame import OneLine
from app.proving import RunFile
from app.road.needs import ShownMoment
from app.road.part import RoadPart
from app.road.recordings import evidence
from app.road.recordings.bar import RecordingsBar
from app.road.recordings.channels_tab import ChannelsTab
from app.road.recordings.drawing import raw_scene, scene_of
from app.road.recordings.full_screen import FullScreen
from app.road.recordings.layout_form import LayoutForm
from app.road.recordings.moment import deciding_table, uses_at
from app.road.recordings.notice import Notice
from app.road.recordings.player import Player
from app.road.recordings.plot import DrivePlot
from app.road.recordings.service import OpenDrive, Recordings
from app.road.recordings.tabs import AgreementTab, CellTab, FaultsTab, MomentTab, TotalsTab
from app.road.recordings.watching import Watching
from app.road.rows import RowsView
from app.things import belongs
from app.turns import Turns
from app.work.jobs import Jobs
from app.work_area import Pane, to_widget
from calib_model.session.document import Event

NARROW = 860
"""Below this width plots and lists take turns."""
LOW = 400
"""Below this height lines that can be missed are left out."""
FILTER = "Recordings (*.csv *.tsv *.txt *.mf4 *.mdf *.parquet *.h5 *.hdf5);;All files (*)"
HINT = (
    "←→ tick  ·  Shift 1 s  ·  Page 10 s  ·  Home End  ·  F fault  ·  G governing  ·  + − 0 zoom  "
    "·  Z whole screen  ·  Enter cell  ·  E evidence  ·  C complaint  ·  F6 lists"
)
EMPTY = (
    "A recording of driving is replayed through the set being edited and its reference: where it "
    "drove, which table decided, and what would change. CSV, MDF 4, Parquet or HDF5; several can "
    "be dropped here at once."
)
OPENS = "Open one or several recordings of driving."
WATCHES = (
    "Choose a folder whose newest run is offered as soon as it is complete; Ctrl+Shift+J loads it."
)
SAMPLES = "Open two invented drives of the programme Larch."


class RecordingsPanel(RoadPart):
    """Open recordings, one of them over time, and lists beside it."""

    def __init__(
        self, desk: Desk, jobs: Jobs, memory: Memory, parent: QWidget | None = None
    ) -> None:
        super().__init__(desk, parent)
        self.jobs, self.memory = jobs, memory
        self.service = Recordings(desk, jobs, memory, self)
        self.bar = RecordingsBar(self.service)
        self.notice = Notice()
        self.layout_form = LayoutForm()
        self.plot = DrivePlot()
        self.player = Player(desk, self.plot, self)
        self.moment = MomentTab()
        self.agreement = AgreementTab()
        self.cell = CellTab()
        self.faults = FaultsTab()
        self.channels = ChannelsTab(self.service)
        self.totals = TotalsTab()
        self.watching = Watching(self.service, memory, self.notice, self)
        self.ask_files: Any = self._ask_files
        self._pending: tuple[str, float] | None = None
        self.setAcceptDrops(True)
        self._build()
        self._connect()
        self._show_all()

    # -- building --------------------------------------------------------------------------------

    def _build(self) -> None:
        self.empty = EmptyPage()
        self.empty.setAccessibleName("How to begin")
        self.tabs = QTabWidget()
        self.tabs.setDocumentMode(True)
        self.tabs.setUsesScrollButtons(True)
        self.tabs.setMinimumSize(160, 110)  # its pages scroll where they need more
        self.plot.setMinimumSize(200, 110)
        self.tabs.setAccessibleName("Moment, agreement, cell, faults, channels, totals")
        # Letters that no menu has.
        for title, page in (
            ("This mo&ment", self.moment),
            ("A&greement", self.agreement),
            ("Ce&ll", self.cell),
            ("Fa&ults", self.faults),
            ("Cha&nnels", self.channels),
            ("Tot&als", self.totals),
        ):
            self.tabs.addTab(page, title)
        belongs(self.plot, "recording", self.plot.take_point)
        belongs(self.bar.drives, "recording")
        for page, thing in (
            (self.moment, "used cell"),
            (self.agreement, "signal"),
            (self.cell, "moment"),
            (self.faults, "moment"),
            (self.channels, "channel"),
            (self.totals, "used cell"),
        ):
            belongs(page.list, thing)
        self._turns = Turns(self, NARROW, self.plot, self.tabs)
        self.across = QSplitter(Qt.Orientation.Horizontal)
        self.across.setChildrenCollapsible(False)
        self.across.addWidget(self.plot)
        self.across.addWidget(self.tabs)
        self.across.setStretchFactor(0, 3)
        self.across.setStretchFactor(1, 2)
        self.across.setSizes([780, 500])
        self.full = FullScreen(self.across, self.plot)
        self.stack = QStackedWidget()
        self.stack.addWidget(self.empty)
        self.stack.addWidget(self.across)
        self.hint = OneLine()
        self.hint.setContentsMargins(6, 0, 6, 0)
        self.hint.show_text(HINT)
        self.busy = PlainLabel()
        self.busy.setContentsMargins(6, 0, 6, 0)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        for widget in (self.notice, self.bar, self.layout_form, self.busy):
            column.addWidget(widget)
        column.addWidget(self.stack, 1)
        column.addWidget(self.hint)

    def _connect(self) -> None:
        service = self.service
        service.listed.connect(self._on_listed)
        service.chosen_changed.connect(self._show_all)
        service.replayed.connect(self._on_replayed)
        service.layout_wanted.connect(self.layout_form.ask)
        service.refused.connect(self._refuse)
        self.desk.documents_changed.connect(self.bar.refresh)
        self.desk.current_changed.connect(self._show_empty)
        self.desk.current_changed.connect(self._show_coverage)
        self.desk.edited.connect(self._on_edited)
        self.layout_form.answered.connect(lambda path, answers: service.open([path], answers))
        self.layout_form.left.connect(self.take_keyboard)
        self.channels.layout_shown.connect(self._show_layout)
        self.player.rested.connect(self._on_rested)
        self.plot.ordered.connect(self.order)
        self.faults.moment_wanted.connect(self._go)
        self.cell.moment_wanted.connect(self._go)
        self.agreement.moment_wanted.connect(self._go)
        self.moment.cell_wanted.connect(self._jump)
        self.totals.cell_wanted.connect(self._jump)
        self.tabs.currentChanged.connect(lambda _number: self._show_tab())

    # -- opening ---------------------------------------------------------------------------------

    def _ask_files(self, folder: Path) -> list[Path]:
        names, _ = QFileDialog.getOpenFileNames(self, "Open recordings", str(folder), FILTER)
        return [Path(name) for name in names]

    def ask_open(self) -> None:
        """Let the user choose recordings."""
        text = self.memory.remembered("road/folder")
        folder = Path(text) if text and Path(text).is_dir() else Path.home()
        paths = self.ask_files(folder)
        if paths:
            self.open(paths)

    def open(self, paths: Iterable[Path]) -> None:
        """Open recordings in the background."""
        self.service.open(paths)

    def close_recording(self) -> None:
        """Let the recording that is looked at go."""
        if self.service.chosen is not None:
            self.service.close(self.service.chosen)

    def _refuse(self, path: Path, words: str) -> None:
        self.notice.add_line(f"{path.name} could not be read. {words}")
        self.desk.tell(f"{path.name} could not be read.", refused=True)

    def _show_layout(self) -> None:
        drive = self.service.chosen
        if drive is None or drive.layout is None:
            self.desk.tell("This format says itself how it is laid out.")
            return
        self.layout_form.ask(drive.path, {}, None, drive.layout)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take files."""
        if any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Open the files that were dropped, as recordings."""
        paths = [Path(u.toLocalFile()) for u in event.mimeData().urls() if u.isLocalFile()]
        if paths:
            event.acceptProposedAction()
            self.open(paths)

    # -- showing ---------------------------------------------------------------------------------

    def _on_listed(self) -> None:
        reading = ", ".join(path.name for path in self.service.reading)
        self.busy.setText(f"Reading {reading}… (Cancel in the status line)" if reading else "")
        self.busy.setVisible(bool(reading))
        self.bar.refresh()
        self._show_empty()
        self._show_coverage()

    def _show_empty(self) -> None:
        there = bool(self.service.drives)
        if not there:
            self.empty.show_ways(
                "No recording is open",
                " ".join(filter(None, (EMPTY, self.watching.words()))),
                [
                    Way("Open recordings…", self.ask_open, OPENS, "Ctrl+F3"),
                    Way("Watch a folder…", self.watching.ask, WATCHES),
                    Way("Open the sample recordings", act(self, "road.samples"), SAMPLES),
                ],
            )
        # The button that opened a recording has done its work.
        focus = self.window().focusWidget()
        had_focus = focus in (self.plot, self) or (
            focus is not None and self.empty.isAncestorOf(focus)
        )
        changes = there != (self.stack.currentWidget() is self.across)
        self.stack.setCurrentWidget(self.across if there else self.empty)
        self.bar.setVisible(there)  # nothing to choose from yet
        self.hint.setVisible(there and self.height() >= LOW)
        if changes and had_focus and self.isVisible():
            self.take_keyboard()

    def _show_all(self) -> None:
        """Show another recording."""
        drive = self.service.chosen
        self.player.look_at(drive)
        self.busy.setVisible(bool(self.service.reading))
        self.bar.refresh()
        self._show_empty()
        if drive is None:
            self.player.forget()
        self.faults.show_recording(drive.recording if drive is not None else None)
        self.channels.show_drive(drive)
        self._draw(keep_view=False)
        self.player.place()

    def _draw(self, *, keep_view: bool) -> None:
        drive = self.service.chosen
        if drive is None:
            return
        if drive.outcome is not None:
            scene = scene_of(drive.outcome, drive.recording)
        else:
            scene = raw_scene(drive.recording)
        self.plot.show_scene(scene, keep_view=keep_view)

    def _on_replayed(self, drive: OpenDrive) -> None:
        self._show_coverage()
        if drive is not self.service.chosen:
            return
        self.bar.refresh()
        if drive.running:
            return
        moment = self.player.moment
        before = len(self.plot.scene.bands)
        self._draw(keep_view=before > 0)
        self.channels.show_drive(drive)
        self._show_tab()
        if moment == moment:
            self.player.go_to(moment)
        self._go_to_pending()

    def _on_edited(self, event: Event) -> None:
        whole = any(cells is None for cells in event.cells.values())
        if whole or event.tables_changed:  # axes may be others
            self._show_coverage()

    def _show_coverage(self) -> None:
        self.desk.driving.set_coverage(self.service.coverage() or None)

    def _on_rested(self, tick: int) -> None:
        if self.tabs.currentWidget() is self.moment:
            self._show_moment(tick)

    def _show_moment(self, tick: int) -> None:
        outcome = self.service.chosen.outcome if self.service.chosen is not None else None
        self.moment.show_moment(outcome, tick)

    def _show_tab(self) -> None:
        page = self.tabs.currentWidget()
        drive = self.service.chosen
        if page is self.moment:
            self._show_moment(self.player.tick)
        elif page is self.totals:
            self.totals.show_outcome(drive.outcome if drive is not None else None)
        elif page is self.agreement:
            self.agreement.show_outcome(drive.outcome if drive is not None else None)
        elif page is self.cell:
            self._show_cell()

    def _show_cell(self) -> None:
        drive, table = self.service.chosen, self.desk.table
        outcome = drive.outcome if drive is not None else None
        stays, why = evidence.stays(outcome, table, self.desk.cursor)
        self.cell.show_cell(table, self.desk.cursor, stays, why)

    # -- what the keys order -----------------------------------------------------------------------

    def order(self, what: str) -> None:
        """Do what a key of the plots orders; what lies elsewhere ends the whole screen."""
        if what in ("cell", "complaint"):
            self.full.close()
        player, plot = self.player, self.plot
        {
            "right": lambda: player.step(1),
            "left": lambda: player.step(-1),
            "second": lambda: player.step_seconds(1.0),
            "second back": lambda: player.step_seconds(-1.0),
            "ten": lambda: player.step_seconds(10.0),
            "ten back": lambda: player.step_seconds(-10.0),
            "first": lambda: player.to_end(-1),
            "last": lambda: player.to_end(+1),
            "fault": lambda: self.step_fault(+1),
            "fault back": lambda: self.step_fault(-1),
            "change": lambda: player.step_change(+1),
            "change back": lambda: player.step_change(-1),
            "in": lambda: plot.zoom(0.5),
            "out": lambda: plot.zoom(2.0),
            "whole": lambda: plot.show_view(*plot.whole()),
            "cell": self.jump_to_decider,
            "full": self.toggle_full_plot,
            "evidence": self.record_evidence,
            "complaint": self.raise_complaint,
        }[what]()

    def toggle_full_plot(self) -> None:
        """Show the plot on the whole screen, or give it back its place."""
        drive = self.service.chosen
        if self.full.on:
            self.full.close()
        elif drive is None:
            self.desk.tell("Open a recording first (Ctrl+F3).", refused=True)
        else:
            self.full.open(drive.name)

    def list_shown(self) -> RowsView | None:
        """Return the list of the tab that is shown."""
        found = getattr(self.tabs.currentWidget(), "list", None)
        return found if isinstance(found, RowsView) and self.service.drives else None

    def step_fault(self, by: int) -> None:
        """Go to the next (or last) fault."""
        self.player.step_fault(by)
        self.faults.choose_near(self.player.moment)

    def step_change(self, by: int) -> None:
        """Go to where another table begins to govern."""
        self.player.step_change(by)

    def _go(self, moment: float) -> None:
        self.player.go_to(moment)
        self._turns.show(self.plot)
        self.plot.setFocus(Qt.FocusReason.OtherFocusReason)

    def go_to(self, sha256: str, moment: float) -> None:
        """Show a moment of a recording that is open; said if it is not."""
        drive = self.service.with_digest(sha256)
        if drive is None:
            self._pending = (sha256, moment)
            self.desk.tell(
                "The recording of this moment is not open. Open it with Ctrl+F3; the moment is "
                "shown then.",
                refused=True,
            )
            return
        self.service.choose(drive)
        self.player.go_to(moment)
        self.tabs.setCurrentWidget(self.moment)
        self.take_keyboard()

    def _go_to_pending(self) -> None:
        drive = self.service.chosen
        if self._pending is not None and drive is not None:
            sha256, moment = self._pending
            if drive.recording.sha256 == sha256:
                self._pending = None
                self.go_to(sha256, moment)

    def _jump(self, table: str, cell: tuple[int, ...]) -> None:
        if self.desk.current is None or table not in self.desk.current.content.tables:
            self.desk.tell("The set being edited has no such table.", refused=True)
            return
        self.desk.open_table(table, cell or None)
        self.jumped.emit()

    def jump_to_decider(self) -> None:
        """Show the heaviest cell of the table that decided at this moment in Tune."""
        drive = self.service.chosen
        if drive is None or drive.outcome is None:
            self.desk.tell("Nothing is replayed yet.")
            return
        uses = uses_at(drive.outcome.a, self.player.tick)
        decider = deciding_table(drive.outcome.a, self.player.tick)
        cell = next((u.cell for u in uses if u.table == decider), None)
        if cell is None:
            self.desk.tell(f"No table decided the torque at {self.player.moment:.2f} s.")
        else:
            self._jump(decider, cell)

    def show_moments_of_cell(self) -> None:
        """List the moments that used the cell under the cursor of Tune."""
        self._turns.show(self.tabs)
        self.tabs.setCurrentWidget(self.cell)
        self._show_cell()
        self.cell.setFocus(Qt.FocusReason.OtherFocusReason)

    def show_tab(self, name: str) -> None:
        """Show a list by its name (``moment``, ``agreement``, ``cell``, ``faults``, ...)."""
        page = getattr(self, name)
        self._turns.show(self.tabs)
        self.tabs.setCurrentWidget(page)
        self._show_tab()
        page.setFocus(Qt.FocusReason.OtherFocusReason)

    def record_evidence(self) -> None:
        """Note in the set's record what this drive visited, and with which values."""
        evidence.record(self.service.chosen, self.desk, self.jobs, self.memory)

    def raise_complaint(self) -> None:
        """Begin a complaint about this moment."""
        shown = self.moment_shown
        if shown is None:
            self.desk.tell("Open the recording first (Ctrl+F3).", refused=True)
        else:
            self.complaint_wanted.emit(*shown)

    @property
    def moment_shown(self) -> ShownMoment | None:
        """The moment of the play head, and the tables that decided; None without a recording."""
        drive = self.service.chosen
        if drive is None:
            return None
        tables: tuple[str, ...] = ()
        if drive.outcome is not None:
            tables = drive.outcome.a.deciding_at(self.player.tick)
        recording = drive.recording
        return ShownMoment(recording.name, recording.sha256, self.player.moment, tables)

    def run_of(self, sha256: str) -> RunFile | None:
        """Return the file of an open recording by its digest, and how it is read."""
        for drive in self.service.drives:
            if drive.recording.sha256 == sha256:
                return RunFile(drive.path, drive.chosen, drive.layout)
        return None

    def load_newest(self) -> None:
        """Open the newest run of the watched folder."""
        self.watching.load()

    # -- sizes, keyboard ---------------------------------------------------------------------------

    def panes(self) -> Sequence[Pane]:
        """Plots, lists and bar."""

        def enter(target: QWidget, turn: QWidget) -> bool:
            self._turns.show(turn)
            return to_widget(target)

        lists = self.tabs.currentWidget()
        if not self.service.drives or lists is None:
            return (Pane(self, self._enter),)
        return (
            Pane(self.plot, lambda: enter(self.plot, self.plot)),
            Pane(lists, lambda: enter(lists, self.tabs)),
            Pane(self.bar.drives, lambda: enter(self.bar.drives, self.plot)),
        )

    def _enter(self) -> bool:
        self.take_keyboard()
        return True

    def take_keyboard(self) -> None:
        """Give the keyboard to what is most likely wanted."""
        if not self.layout_form.isHidden():
            self.layout_form.fields["separator"].setFocus()
        elif not self.service.drives:
            self.empty.setFocus(Qt.FocusReason.OtherFocusReason)
        elif self._turns.shows(self.plot):
            self.plot.setFocus(Qt.FocusReason.OtherFocusReason)
        else:
            self.tabs.currentWidget().setFocus(Qt.FocusReason.OtherFocusReason)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on."""
        super().focusInEvent(event)
        self.take_keyboard()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc in a list goes back to the plots."""
        if event.key() == Qt.Key.Key_Escape and self.service.drives:
            self._turns.show(self.plot)
            self.plot.setFocus(Qt.FocusReason.OtherFocusReason)
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Make room where there is little."""
        super().resizeEvent(event)
        self._turns.arrange()
        self.bar.make_room(narrow=self.width() < NARROW, low=self.height() < LOW)
        self.hint.setVisible(bool(self.service.drives) and self.height() >= LOW)
