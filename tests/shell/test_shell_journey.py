"""The main job by keyboard alone, in a real window: open the practice set, find the eight planted
mistakes, mend each by its fitting remedy, save, reopen, read the history, export.

The mistakes and their remedies are those of the invented demo scenario (typed from it).
"""

from __future__ import annotations

import csv
from functools import partial
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from app.shell.history_dialog import HistoryDialog
from app.shell.window import MainWindow
from calib_model.session.files import open_document

MISTAKES = (
    ("pre_engage_torque", "outlier", "Re-interpolate Pre-engage torque"),
    ("current_for_clamp_release", "branch_order", "Exchange Motor current for clamp"),
    ("reconnect_speed", "hysteresis", "Lower 2 cells of Reconnect speed"),
    ("ambient_factor", "covers", "Move breakpoint of Ambient factor"),
    ("clamp_limit_plate", "zero_end", "Set and lock 0 N at the last"),
    ("inside_rear_brake", "zero_end", "Set and lock 0 N·m at the last"),
    ("expected_axle_difference", "covers", "Scale steering wheel angle"),
    ("sync_window", "relation", "Raise 2 cells of Synchronising speed window"),
)
CONTROL, ALT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.AltModifier
NONE = Qt.KeyboardModifier.NoModifier


class Keyboard:
    """Presses keys at whatever has the keyboard, as a person does."""

    def __init__(self, qtbot, window: MainWindow, wait) -> None:  # type: ignore[no-untyped-def]
        self.qtbot, self.window, self.wait = qtbot, window, wait

    def press(self, key: Qt.Key, modifiers: Qt.KeyboardModifier = NONE) -> None:
        top = QApplication.activeModalWidget() or self.window
        # Without a window manager a dialog may not be told that it has the keyboard.
        self.qtbot.keyClick(top.focusWidget() or top, key, modifiers)

    def type(self, text: str) -> None:
        self.qtbot.keyClicks(self.window.focusWidget(), text)


def is_offered(window: MainWindow, remedy: str) -> bool:
    return any(remedy in b.accessibleName() for b in window.tune.findings._buttons)


@pytest.mark.window
def test_the_practice_set_is_mended_by_keyboard(
    window: MainWindow, answers, samples: dict[str, Path], tmp_path: Path, qtbot, wait
) -> None:
    keys = Keyboard(qtbot, window, wait)
    desk = window.desk
    window.settings.author = "Ada"
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)

    answers.to_open = [samples["practice"], samples["normal"]]
    keys.press(Qt.Key.Key_O, CONTROL)
    wait(lambda: len(desk.documents) == 2 and desk.report is not None)
    assert desk.current.title == "larch_practice.h5"

    found = {(f.table, f.rule) for f in desk.report.findings}
    assert {(table, rule) for table, rule, _ in MISTAKES} <= found
    for table, rule, remedy in MISTAKES:
        for _ in range(2 * len(desk.report.findings)):
            keys.press(Qt.Key.Key_F8)
            chosen = window.tune.findings.finding
            if (chosen.table, chosen.rule) == (table, rule):
                break
        else:
            pytest.fail(f"F8 never came to {rule} of {table}")
        assert desk.table.id == table
        # The remedies are looked for beside the window; a person waits until they are listed.
        qtbot.waitUntil(partial(is_offered, window, remedy), timeout=10_000)
        buttons = window.tune.findings._buttons
        number = next(n for n, b in enumerate(buttons) if remedy in b.accessibleName())
        keys.press(Qt.Key(Qt.Key.Key_1 + number), ALT)
        assert chosen not in desk.report.findings, f"{table}: {buttons[number].accessibleName()}"
        keys.press(Qt.Key.Key_R, CONTROL | Qt.KeyboardModifier.ShiftModifier)
        keys.type(f"mended {rule}")
        keys.press(Qt.Key.Key_Return)
    assert desk.report.findings == ()
    assert len(desk.current.pending) == len(MISTAKES)

    keys.press(Qt.Key.Key_S, CONTROL)
    wait(lambda: not desk.current.is_modified)
    mended = desk.current.content
    keys.press(Qt.Key.Key_W, CONTROL)
    assert [d.title for d in desk.documents] == ["larch_normal.h5"]
    answers.to_open = [samples["practice"]]
    keys.press(Qt.Key.Key_O, CONTROL)
    wait(lambda: len(desk.documents) == 2 and desk.report is not None)
    assert desk.current.content == mended == open_document(samples["practice"]).content

    keys.press(Qt.Key.Key_H, CONTROL)
    qtbot.waitUntil(lambda: isinstance(QApplication.activeModalWidget(), HistoryDialog))
    dialog = QApplication.activeModalWidget()
    reasons = [dialog.model.index(row, 3).data() for row in range(len(MISTAKES))]
    assert reasons == [f"mended {rule}" for _, rule, _ in reversed(MISTAKES)]
    keys.press(Qt.Key.Key_Down)
    assert "Expected axle speed difference" in dialog.details.toPlainText()
    assert "Why: mended covers" in dialog.details.toPlainText()
    keys.press(Qt.Key.Key_Escape)

    answers.export_to = tmp_path / "mended.csv"
    keys.press(Qt.Key.Key_E, CONTROL)
    written = tmp_path / "mended_UNSIGNED.csv"
    wait(written.exists)
    with written.open(newline="", encoding="utf-8") as file:
        assert sum(1 for _ in csv.reader(file)) - 1 == sum(t.values.size for t in mended)
