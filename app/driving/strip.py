"""The live strip: what the last edit does to the chosen manoeuvre, before and after.

Edits never wait for it.  It drives beside the window, and only the latest set counts.
"""

from __future__ import annotations

import math
import time
from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, Qt, QTimer, Signal
from PySide6.QtGui import QFontMetrics, QResizeEvent
from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QVBoxLayout, QWidget

from app.desk import Desk
from app.driving.channels import rows_in_short
from app.driving.looks import NOW, SAVED, Shown
from app.driving.manoeuvre_words import metrics_of, vehicle_words
from app.driving.parts import Part, drive_parts
from app.driving.service import Driving, driving_of
from app.driving.shapes import DeskRun
from app.driving.verdict import judge, limit_words, number, signed, within
from app.look.parts import switch
from app.needs import Memory
from app.plots.frame import OneLine
from app.quiet import QuietCombo
from app.work.latest import Latest
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError

if TYPE_CHECKING:
    from app.driving.traces import TraceRow
    from calib_model.vehicle.manoeuvres import Manoeuvre

PAUSE_MS = 12
"""How often it is looked whether the run under way has ended, so that the latest set follows."""
ONE_GESTURE_S = 1.5
"""Edits that follow each other this closely are one, for what "before the last edit" means."""
HEIGHT = 84
ROOMY = 900
"""From this width on there is room for three plots beside the estimates."""
_KEY = "driving/strip"
SLOW = (
    "The compiler (numba) is not installed here: a run after every edit would take too long. "
    "Road can drive single manoeuvres, slowly."
)


class Lines(QWidget):
    """Lines of text from above, each elided rather than wrapped."""

    def __init__(self) -> None:
        super().__init__()
        self._lines: list[OneLine] = []
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(0)
        self._column.addStretch(1)

    def text(self) -> str:
        """Return the lines."""
        return "\n".join(line.whole for line in self._lines if not line.isHidden())

    def show_lines(self, texts: list[str]) -> None:
        """Show other lines."""
        while len(self._lines) < len(texts):
            line = OneLine()
            self._column.insertWidget(len(self._lines), line)
            self._lines.append(line)
        for number_, line in enumerate(self._lines):
            line.setVisible(number_ < len(texts))
            if number_ < len(texts):
                line.show_text(texts[number_])


class LiveStrip(QWidget):
    """A thin line with a switch; with it on, small traces and the measures of one manoeuvre.

    Signals
    -------
    refreshed
        Traces and measures are those of the set as it is now.

    Parameters
    ----------
    desk : Desk
    """

    refreshed = Signal()

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk
        self.on = False
        self._memory: Memory | None = None
        self._driving: Driving | None = None
        self._latest_run = Latest(self, self._take, self._take_failure)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(PAUSE_MS)
        self._timer.timeout.connect(self._drive)
        self._rows: list[TraceRow] = []
        self._drawn_for: tuple[object, ...] = ()
        self._before: CalibrationSet | None = None
        self._latest: CalibrationSet | None = None
        self._edited_at = -math.inf
        self._manoeuvre = ""
        self._thin = False
        self._build()
        self.show_on(False)
        desk.edited.connect(lambda _event: self._on_edit())
        for signal in (desk.current_changed, desk.documents_changed):
            signal.connect(self._on_set)

    def _build(self) -> None:
        self.switch = switch(QCheckBox("Live manoeuvre"))
        self.switch.setToolTip("Drives a manoeuvre on the desk after every edit (Shift+F11).")
        self.switch.setAccessibleName("Live manoeuvre on or off")
        self.switch.clicked.connect(lambda checked=False: self.switch_to(checked))
        self.choice = QuietCombo()
        self.choice.setAccessibleName("Manoeuvre of the live strip")
        self.choice.setToolTip("The manoeuvre that is driven after every edit.")
        self.choice.setSizeAdjustPolicy(
            QuietCombo.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.choice.setMinimumContentsLength(16)
        self.choice.activated.connect(self._on_choice)
        self.against = QuietCombo()
        self.against.addItems(["as saved", "last edit"])
        self.against.setAccessibleName("What the live strip holds the set against")
        self.against.setToolTip("Holds the set against its saved state, or against the last edit.")
        self.against.setSizeAdjustPolicy(
            QuietCombo.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.against.setMinimumContentsLength(8)
        self.against.activated.connect(self._on_against)
        self.state = OneLine()
        head = QHBoxLayout()
        head.setContentsMargins(4, 1, 4, 1)
        head.setSpacing(8)
        head.addWidget(self.switch)
        head.addWidget(self.choice)
        head.addWidget(self.against)
        head.addWidget(self.state, 1)
        self.body = QWidget()
        self._across = QHBoxLayout(self.body)
        self._across.setContentsMargins(4, 0, 4, 2)
        self._across.setSpacing(6)
        self.measures = Lines()
        self._across.addWidget(self.measures, 5)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(0)
        whole.addLayout(head)
        whole.addWidget(self.body)

    # -- on and off ------------------------------------------------------------------------------

    def remember_in(self, memory: Memory) -> None:
        """Keep the switch and the manoeuvre in settings, and take over what they hold."""
        self._memory = memory
        kept = memory.remembered(_KEY).split("|")
        self._manoeuvre = kept[1] if len(kept) > 1 else ""
        if len(kept) > 2 and kept[2] == "edit":
            self.against.setCurrentIndex(1)
        if kept[0] == "on":
            # Once the window stands: a start must not wait for the simulation.
            QTimer.singleShot(0, self, lambda: self.switch_to(True))

    def switch_to(self, on: bool) -> None:
        """Switch the strip on or off."""
        if on == self.on:
            self.switch.setChecked(on)
            return
        self.show_on(on)
        self._keep()
        if on:
            self._start()
        else:
            self._timer.stop()
            self._latest_run.forget()

    def toggle(self) -> None:
        """Switch to the other state."""
        self.switch_to(not self.on)

    def show_on(self, on: bool) -> None:
        """Show or hide what belongs to a strip that is on."""
        self.on = on
        self.switch.setChecked(on)
        self.choice.setVisible(on)
        self.against.setVisible(on and not self._thin)
        self.body.setVisible(on and not self._thin)
        self.setVisible(on or not self._thin)  # the menu and the key still switch it on
        if not on:
            self.state.show_text("Off. Switched on, a manoeuvre runs on the desk after every edit.")

    def set_thin(self, thin: bool) -> None:
        """Show one line only, where the page is too low for plots: the estimates in words."""
        if thin != self._thin:
            self._thin = thin
            self.show_on(self.on)
            self._soon()

    def _on_against(self) -> None:
        self._keep()
        self._soon()

    def _keep(self) -> None:
        if self._memory is not None:
            state = "on" if self.on else "off"
            against = "edit" if self.against.currentIndex() else "saved"
            self._memory.remember(_KEY, f"{state}|{self._manoeuvre}|{against}")

    def _start(self) -> None:
        if self._driving is None:
            self._driving = driving_of(self.desk, self._memory)
            self._driving.state_changed.connect(self._on_state)
            self._driving.choice_changed.connect(self._on_choice_changed)
            self._driving.limits_changed.connect(self._soon)
        self._fill_choice()
        self._driving.prepare()
        self._on_state()

    @property
    def driving(self) -> Driving | None:
        """What drives; None until the strip was switched on."""
        return self._driving

    def _fill_choice(self) -> None:
        driving = self._driving
        assert driving is not None
        listed = driving.manoeuvres
        self.choice.clear()
        for chosen in listed:
            self.choice.addItem(chosen.name, chosen.id)
        ids = [d.id for d in listed]
        if self._manoeuvre not in ids:
            self._manoeuvre = ids[0] if ids else ""
        self.choice.setCurrentIndex(ids.index(self._manoeuvre) if self._manoeuvre else -1)

    def _on_choice(self, _index: int) -> None:
        self._manoeuvre = self.choice.currentData() or ""
        self._keep()
        self._soon()

    def _on_choice_changed(self) -> None:
        if self.on:
            self._fill_choice()
            self._soon()

    def _on_state(self) -> None:
        driving = self._driving
        if driving is None or not self.on:
            return
        words = {
            "preparing": "Preparing the simulation… (once after an update; editing goes on)",
            "failed": driving.trouble,
        }.get(driving.state)
        if words is None and not driving.model.compiled:
            words = SLOW
        if words is not None:
            self.state.show_text(words)
        elif driving.state == "ready":
            self._soon()

    # -- driving ---------------------------------------------------------------------------------

    def _on_edit(self) -> None:
        document = self.desk.current
        if document is None:
            return
        now = time.monotonic()
        if now - self._edited_at > ONE_GESTURE_S:
            self._before = self._latest
        self._edited_at = now
        self._latest = document.content
        if self.on and not self._timer.isActive() and not self._latest_run.busy:
            # At once: the run goes on beside the repainting that the edit causes.  What comes
            # while it runs waits for its end, and then only the latest set is driven.
            self._drive()
        else:
            self._soon()

    def _on_set(self) -> None:
        document = self.desk.current
        content = document.content if document is not None else None
        if content is not self._latest:
            self._before, self._latest = content, content
        self._soon()

    def _soon(self) -> None:
        # Not started again: while somebody drags, the strip follows instead of waiting.
        if self.on and not self._timer.isActive():
            self._timer.start()

    def _drive(self) -> None:
        driving, document = self._driving, self.desk.current
        if driving is None or driving.state != "ready" or not self.on or not self._manoeuvre:
            return
        if not driving.model.compiled:
            return
        if document is None:
            self.state.show_text("No set is open.")
            return
        if self._latest_run.busy:
            self._timer.start()  # what runs is nearly done; then the latest set is driven
            return
        by_edit = self.against.currentIndex() == 1
        before = (self._before if by_edit else None) or document.saved_content
        words = "before the last edit" if by_edit and self._before is not None else "as saved"
        parts = (Part(NOW, "now", document.content), Part(SAVED, words, before))
        manoeuvre, vehicle = self._manoeuvre, driving.vehicle
        self._latest_run.ask(
            lambda: (manoeuvre, parts, drive_parts(driving, parts, manoeuvre, vehicle))
        )

    def wait(self) -> None:
        """Drive at once and show it; for tests and measurements."""
        if self._driving is not None:
            self._driving.wait()
        while self._timer.isActive():
            self._timer.stop()
            self._latest_run.wait()
            self._drive()
        self._latest_run.wait()

    # -- showing ---------------------------------------------------------------------------------

    def _take(self, answer: tuple[str, tuple[Part, ...], dict[str, DeskRun]]) -> None:
        manoeuvre, parts, runs = answer
        driving = self._driving
        chosen = driving.manoeuvre(manoeuvre) if driving is not None else None
        if chosen is None or not self.on:
            return
        self._draw(chosen, parts, runs)
        self.refreshed.emit()

    def _take_failure(self, error: BitepointError) -> None:
        self.state.show_text(f"\N{WARNING SIGN} {error}")

    def _draw(self, chosen: Manoeuvre, parts: tuple[Part, ...], runs: dict[str, DeskRun]) -> None:
        now = runs[NOW]
        words = {p.part: p.words for p in parts}
        self._show_measures(chosen, runs, words[SAVED])
        state = _state_words(now, words[SAVED], same=runs[SAVED] is now)
        if self._thin and now.completed:
            state = self.measures.text().replace("\n", "; ")
        self.state.show_text(state)
        shown = [
            Shown(part, words[part], runs[part])
            for part in (NOW, SAVED)
            if runs[part].completed and runs[part].time.size
        ]
        if len(shown) == 2 and shown[0].run is shown[1].run:
            shown.pop()
        self._show_traces(chosen.id, shown)

    def _show_traces(self, manoeuvre: str, shown: list[Shown]) -> None:
        # Late: it brings the plots' library, which this widget's first showing must not wait for.
        from app.driving.traces import TraceRow

        rows = [r for row in rows_in_short(manoeuvre) if (r := row.of(s.run for s in shown))]
        # The first channel only: there is no room to tell several apart.
        wanted = tuple(replace(row, channels=row.channels[:1]) for row in rows if not row.is_band)
        if self.width() < ROOMY:
            wanted = wanted[:2]
        if wanted and wanted != self._drawn_for:
            for old in self._rows:
                self._across.removeWidget(old)
                old.hide()
                old.deleteLater()
            self._rows = []
            for place, row in enumerate(wanted):
                made = TraceRow(row, HEIGHT)
                made.show_numbers_of_time(True)
                made.canvas.bottom.set_text("", "")
                made.canvas.box.setMouseEnabled(x=False, y=False)
                made.head.hide()
                made.set_inks()
                self._across.insertWidget(place, made, 3, Qt.AlignmentFlag.AlignTop)
                self._rows.append(made)
            self._drawn_for = wanted
        for row_ in self._rows:
            row_.setVisible(bool(shown))
            if shown:
                row_.show_runs(shown)
                end = max(float(s.run.time[-1]) for s in shown)
                row_.canvas.box.setXRange(0.0, max(end, 0.1), padding=0.0)
                row_.show_titles()

    def _show_measures(self, chosen: Manoeuvre, runs: dict[str, DeskRun], before: str) -> None:
        driving = self._driving
        assert driving is not None
        lines = []
        for measure in metrics_of(chosen):
            old, new = (
                runs[p].value(measure.name) if runs[p].completed else math.nan for p in (SAVED, NOW)
            )
            verdict = judge(measure, old, new)
            text = f"{measure.label}: {number(new, measure.unit)}"
            if verdict.kind not in ("unknown", "same"):
                text += f", {signed(verdict.change)} {verdict.words}"
            limit = driving.limit(chosen, measure.name)
            if within(measure, new, limit) is False:
                text += f" ✗ limit {limit_words(measure, limit)}"
            lines.append(text)
        self.measures.show_lines(lines)
        self.measures.setAccessibleName(f"Desk estimates against the set {before}")

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Give up a plot where the estimates need the room."""
        super().resizeEvent(event)
        if (event.size().width() < ROOMY) != (event.oldSize().width() < ROOMY):
            self._soon()

    def changeEvent(self, event: QEvent) -> None:
        """Follow the font: the body is as tall as its plots and a line of text."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange:
            self.body.setMinimumHeight(HEIGHT + QFontMetrics(self.font()).height() + 6)


def _state_words(now: DeskRun, before: str, *, same: bool) -> str:
    if not now.completed:
        return f"\N{WARNING SIGN} Not completed: {now.why}"
    told = "Desk estimates"
    told += f"; nothing changed against {before}" if same else f"; dashed: {before}"
    if now.vehicle is not None:
        told += f"; {vehicle_words(now.vehicle)}"
    if now.remarks:
        told += f".  \N{WARNING SIGN} {now.remarks[0]}"
        if len(now.remarks) > 1:
            told += f" (and {len(now.remarks) - 1} more, see Road)"
    return told
