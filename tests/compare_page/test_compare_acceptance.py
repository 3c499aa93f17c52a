"""By keyboard alone in a real window: normal against low grip, reviewed, one table taken over."""

from __future__ import annotations

import gc
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from app.shell.settings import Settings
from app.shell.window import MainWindow

ROOT = Path(__file__).resolve().parents[2]
_Key, _Ctrl, _Shift = Qt.Key, Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier


@pytest.fixture
def larch_window(qtbot, tmp_path: Path) -> Iterator[MainWindow]:  # type: ignore[no-untyped-def]
    """The whole window on copies of the two sets."""
    settings = Settings()
    settings.author = "Ada"
    window = MainWindow(settings)
    qtbot.addWidget(window)
    window.build_tune()
    window.resize(1366, 768)
    window.show()
    qtbot.waitExposed(window)
    paths = [
        Path(shutil.copy(ROOT / "sample_sets" / f"larch_{name}.h5", tmp_path))
        for name in ("normal", "low_grip")
    ]
    window.files.open(paths)
    _settle(qtbot, window)
    window.activateWindow()
    yield window
    window.jobs.finish()
    window.files.let_go()
    window.recovery.leave()
    for document in list(window.desk.documents):
        window.desk.remove(document)
    window.close()
    window.jobs.finish()
    gc.collect()


def _settle(qtbot, window: MainWindow) -> None:  # type: ignore[no-untyped-def]
    qtbot.waitUntil(lambda: not window.jobs.running, timeout=15_000)
    qtbot.wait(20)


@pytest.mark.window
def test_the_reviewers_job_by_keyboard(qtbot, larch_window: MainWindow) -> None:
    window = larch_window
    began = time.monotonic()

    def press(key: Qt.Key, modifiers: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        target = QApplication.focusWidget() or window
        qtbot.keyClick(target, key, modifiers)
        qtbot.wait(5)

    press(_Key.Key_2, _Ctrl)
    page = window.areas.page("compare")
    qtbot.waitUntil(lambda: page.comparing.prepared is not None)
    _settle(qtbot, window)
    result = page.comparing.prepared.comparison
    normal, low = (document.content for document in window.desk.documents)

    # Every difference is seen: the list goes through each table that differs, F3 through its cells.
    differing = {id for id in normal.tables if not (normal[id].values == low[id].values).all()}
    page.summary.order.setCurrentIndex(page.summary.order.findText("order of the set"))
    page.summary.step(-10_000)
    rows = page.summary.rows
    assert set(rows.ids()) == differing == {t.id for t in result.differing}
    seen: set[tuple[str, tuple[int, ...]]] = set()
    page.summary.show_table(rows.ids()[0])
    if page.detail.pair.counted()[page.detail.pair.cursor]:
        seen.add((page.summary.shown, page.detail.pair.cursor))
    while True:
        press(_Key.Key_F3)
        place = (page.summary.shown, page.detail.pair.cursor)
        if place in seen:
            break
        seen.add(place)
    wanted = {
        (id, tuple(cell))
        for id in differing
        for cell in np.argwhere(normal[id].values != low[id].values).tolist()
    }
    assert seen == wanted

    # Both deliberate breaches (scenario): pre_engage_torque at -20 degC, 70-100 %, and
    # slip_target at 0-10 km/h, 100 %.
    press(_Key.Key_F, _Ctrl)
    press(_Key.Key_Down)
    press(_Key.Key_Home, _Ctrl)
    qtbot.wait(200)
    found: dict[str, set[tuple[int, ...]]] = {}
    page.summary.show_table(rows.ids()[0])
    for _ in range(30):
        before = (page.summary.shown, page.detail.pair.cursor)
        press(_Key.Key_F8)
        cell = page.detail.pair.cursor
        if (page.summary.shown, cell) == before:
            break
        found.setdefault(page.summary.shown, set()).add(cell)
    places = {id: {low[id].coordinates(cell) for cell in cells} for id, cells in found.items()}
    assert places["pre_engage_torque"] == {(-20, 70), (-20, 85), (-20, 100)}
    assert places["slip_target"] == {(0, 100), (10, 100)}
    assert set(places) == {"pre_engage_torque", "slip_target"}
    assert time.monotonic() - began < 60

    # One of them is taken over into the low-grip set, with a reason, and undone.
    press(_Key.Key_F, _Ctrl)
    qtbot.keyClicks(QApplication.focusWidget(), "pre-engage torque")
    press(_Key.Key_Return)
    assert page.summary.shown == "pre_engage_torque"
    press(_Key.Key_Y, _Ctrl | _Shift)
    assert QApplication.focusWidget() is page.strip.reason
    qtbot.keyClicks(page.strip.reason, "normal was raised on the trip")
    press(_Key.Key_Return)
    document = window.desk.documents[1]
    assert document.content["pre_engage_torque"] == normal["pre_engage_torque"]
    assert window.desk.current is document
    assert "into larch_low_grip.h5" in window.status.currentMessage()
    assert document.pending[-1].reason == "normal was raised on the trip"
    # The low-grip set is edited now, so that undo reaches it, and is compared anew.
    qtbot.waitUntil(lambda: page.comparing.second.document is document)
    qtbot.waitUntil(lambda: page.comparing.prepared is not None)
    remaining = page.comparing.prepared.comparison.breaches
    assert [b.table for b in remaining] == ["slip_target"]
    _settle(qtbot, window)
    report = window.findings_service.report
    assert "mode_relation" not in {f.rule for f in report.of("pre_engage_torque")}
    press(_Key.Key_Z, _Ctrl)
    assert document.content["pre_engage_torque"] == low["pre_engage_torque"]
    assert len(page.comparing.prepared.comparison.breaches) == 2
    assert not document.is_modified


@pytest.mark.window
def test_f6_reaches_every_pane_and_the_menus_leave_hidden_tables_alone(
    qtbot, larch_window: MainWindow
) -> None:
    window = larch_window
    qtbot.keyClick(window, _Key.Key_2, _Ctrl)
    page = window.areas.page("compare")
    qtbot.waitUntil(lambda: page.comparing.prepared is not None)
    assert QApplication.focusWidget() is page.summary.view
    page.summary.show_table("slip_target")
    reached = []
    for _ in range(6):
        reached.append(QApplication.focusWidget())
        qtbot.keyClick(QApplication.focusWidget(), _Key.Key_F6)
    assert QApplication.focusWidget() is page.summary.view, reached
    assert len(set(map(id, reached))) == 6
    # What the menus act on is what is seen: nothing is filled or emptied in Tune meanwhile.
    for row in ("values.fill_down", "edit.empty", "table.remedy_1"):
        window.book.actions[row].trigger()
    assert not any(d.is_modified for d in window.desk.documents)
