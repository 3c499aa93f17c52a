"""From a complaint to a trial export by keyboard alone, in a real window, against the clock.

The drive is the snowy round that ships with the sample sets; a minute is what the job allows.
"""

from __future__ import annotations

import shutil
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from app.road.ready import get_ready
from app.shell.window import MainWindow
from tests.road.test_recordings_panel import Quiet

K = Qt.Key
NONE = Qt.KeyboardModifier.NoModifier
CONTROL, ALT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.AltModifier
SHIFT = Qt.KeyboardModifier.ShiftModifier
SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
LIMIT_S = 60.0


@pytest.mark.window
def test_from_a_complaint_to_a_trial_export(
    window: MainWindow, answers, tmp_path: Path, qtbot, wait
) -> None:
    get_ready(Quiet())
    desk = window.desk

    def press(key: Qt.Key, modifiers: Qt.KeyboardModifier = NONE) -> None:
        top = QApplication.activeModalWidget() or window
        qtbot.keyClick(top.focusWidget() or top, key, modifiers)

    # What was settled before the trip: who, which vehicle, which folder.
    window.settings.author = "Ada"
    out = tmp_path / "out"
    out.mkdir()
    last_day = (datetime.now(UTC).date() + timedelta(days=7)).isoformat()
    for name, text in (
        ("vehicle", "Larch 07"),
        ("trip", "winter trip 2"),
        ("expires", last_day),
        ("folder", str(out)),
    ):
        window.settings.remember(f"trial/{name}", text)
    set_file = Path(shutil.copy(SAMPLES / "larch_normal.h5", tmp_path))
    run = Path(shutil.copy(SAMPLES / "larch_snow_round.csv", tmp_path))
    answers.to_open = [set_file]
    window.resize(1366, 740)
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    press(K.Key_O, CONTROL)
    wait(lambda: desk.current is not None and desk.report is not None)

    # The drive is opened, and trusted before anything is made of it.
    press(K.Key_3, CONTROL)
    panel = window.areas.page("road").recordings
    panel.ask_files = lambda _folder: [run]
    press(K.Key_F3, CONTROL)
    wait(lambda: panel.service.chosen is not None and panel.service.chosen.outcome is not None)
    assert panel.service.chosen.outcome.counts, panel.bar.verdict.text()
    assert panel.plot.hasFocus()

    # A complaint at the highest slip of the round.
    outcome = panel.service.chosen.outcome
    slip = outcome.a.output("slip")
    worst = float(outcome.ticks.time[int(np.nanargmax(slip))])
    panel.player.go_to(worst)
    press(K.Key_C)
    assert window.areas.page("road").part == "complaints"
    qtbot.keyClicks(window.focusWidget(), "front spins when setting off")
    press(K.Key_Return)
    wait()
    (complaint,) = desk.current.content.record.complaints
    assert complaint.moment == pytest.approx(worst, abs=0.011)
    panel.player.go_to(5.0)
    window.show_area("tune")
    wait()

    # From here on the clock runs.
    begun = time.monotonic()
    press(K.Key_6, CONTROL)
    press(K.Key_Return)  # the complaint's moment
    assert window.areas.page("road").part == "recordings"
    assert panel.player.moment == pytest.approx(worst, abs=0.011)
    press(K.Key_Return)  # the deciding cell
    assert window.area == "tune"
    decider = outcome.a.governing_at(panel.player.tick)
    assert desk.table.id == decider.id
    heaviest = outcome.a.cells_at(decider.id, panel.player.tick)[0].cell
    assert desk.cursor == heaviest
    before = desk.table.values.copy()
    press(K.Key_Up, ALT)
    press(K.Key_Right)
    press(K.Key_Up, ALT)
    assert int((desk.table.values != before).sum()) == 2
    wait(lambda: panel.service.chosen.outcome.a.content is desk.current.content)
    assert panel.service.chosen.outcome.counts, "the state before the edits was in the vehicle"
    press(K.Key_H, CONTROL | SHIFT)
    wait()
    press(K.Key_Return)
    wait(lambda: any(out.iterdir()))
    took = time.monotonic() - begun
    assert took < LIMIT_S
    names = [path.name for path in out.iterdir()]
    assert all("TRIAL_Larch-07_winter-trip-2" in name for name in names), names
    (trial,) = desk.current.content.record.trials
    assert trial.vehicle == "Larch 07"
