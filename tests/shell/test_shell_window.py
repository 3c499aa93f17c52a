"""The window's own parts: status line, notices, history, crash dialog, name, undo."""

from __future__ import annotations

import sys
import threading

import numpy as np
import pytest
from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication, QLabel

from app.shell.crash import CrashDialog, CrashGuard
from app.shell.history_dialog import HistoryDialog
from app.shell.settings import Settings
from app.shell.window import MainWindow
from calib_model.editing.change import values_change


def edit(window: MainWindow, add: float, title: str) -> None:
    table = window.desk.current.content["reconnect_speed"]  # type: ignore[union-attr]
    values = np.array(table.values)
    values.reshape(-1)[0] += add
    assert window.desk.do(values_change(table, values, title))


# -- undo ------------------------------------------------------------------------------------------


def test_undo_is_named_and_survives_switching_tables(opened: MainWindow, qtbot) -> None:
    edit(opened, 1, "Add 1 to 1 cell")
    edit(opened, 2, "Add 2 & more to 1 cell")
    opened.refresh()
    undo, redo = opened.book.actions["edit.undo"], opened.book.actions["edit.redo"]
    assert undo.text() == "&Undo Add 2 && more to 1 cell"
    assert not redo.isEnabled()
    opened.desk.open_table("pre_engage_torque")
    undo.trigger()
    assert opened.status.currentMessage() == "Undo Add 2 & more to 1 cell"
    opened.refresh()
    assert undo.text() == "&Undo Add 1 to 1 cell"
    assert redo.text() == "&Redo Add 2 && more to 1 cell"
    redo.trigger()
    undo.trigger()
    undo.trigger()
    opened.refresh()
    assert undo.text() == "&Undo"
    assert not undo.isEnabled()
    assert not opened.isWindowModified()


def test_each_set_has_its_own_undo(opened: MainWindow) -> None:
    edit(opened, 1, "In the first")
    opened.editing.step_set(+1)
    opened.refresh()
    assert not opened.book.actions["edit.undo"].isEnabled()
    edit(opened, 1, "In the second")
    opened.editing.step_set(-1)
    opened.editing.undo()
    assert not opened.desk.documents[0].is_modified
    assert opened.desk.documents[1].is_modified


# -- findings and status line ----------------------------------------------------------------------


def test_findings_follow_an_edit_without_a_whole_check(opened: MainWindow, wait) -> None:
    from calib_model.rules.check import check

    wait(lambda: opened.desk.report is not None)
    desk = opened.desk
    against = (desk.reference.content,)
    assert desk.report.findings == check(desk.current.content, against).findings
    counts = desk.report.counts()
    assert opened.status.findings.text().startswith(f"{counts[0]} errors")
    table = desk.current.content["pre_engage_torque"]
    values = np.array(table.values)
    values[3, 6] = 215.0  # the decimal slip of the scenario, put right
    desk.do(values_change(table, values, "Set 1 cell"))
    assert opened.jobs.running == []
    assert desk.report.of("pre_engage_torque") == ()
    assert set(desk.report.findings) == set(check(desk.current.content, against).findings)
    opened.editing.undo()
    assert desk.report.counts() == counts


def test_an_edit_made_while_the_set_is_checked_is_not_missed(opened: MainWindow, wait) -> None:
    from calib_model.rules.check import check

    opened.findings_service.refresh()
    assert opened.desk.report is None
    assert opened.status.findings.text() == "Checking…"
    table = opened.desk.current.content["pre_engage_torque"]
    values = np.array(table.values)
    values[3, 6] = 215.0
    opened.desk.do(values_change(table, values, "Set 1 cell"))
    wait(lambda: opened.desk.report is not None)
    fresh = check(opened.desk.current.content, (opened.desk.reference.content,))
    assert set(opened.desk.report.findings) == set(fresh.findings)
    assert opened.desk.report.of("pre_engage_torque") == ()


def test_the_reference_decides_which_relations_are_checked(
    opened: MainWindow, samples, wait
) -> None:
    opened.files.open([samples["low_grip"]])
    wait(lambda: len(opened.desk.documents) == 3)
    opened.desk.set_current(opened.desk.documents[2])
    opened.desk.set_reference(opened.desk.documents[1])
    wait(lambda: opened.desk.report is not None)
    # The two deliberate breaches of the scenario.
    assert {f.table for f in opened.desk.report.findings} == {"pre_engage_torque", "slip_target"}
    assert opened.desk.report.not_checked == ()
    opened.desk.set_reference(None)
    wait(lambda: opened.desk.report is not None)
    assert opened.desk.report.findings == ()
    assert len(opened.desk.report.not_checked) > 0
    assert "not checked" in opened.status.findings.text()


def test_a_cell_is_read_in_one_place_of_the_window(opened: MainWindow, wait) -> None:
    """Header, plots, status line and key of the slices said the same cell four times."""
    opened.desk.open_table("pre_engage_torque", (3, 6))
    table = opened.desk.table
    assert table is not None
    reading = table.said(float(table.values[3, 6]))
    wait(lambda: opened.plots.legend.entries != ())
    shown = [label.text() for label in opened.findChildren(QLabel) if label.isVisibleTo(opened)]
    shown += [entry.words for entry in opened.plots.legend.entries]
    assert sum(reading in text for text in shown) == 1
    assert opened.status.cell.text() == ""


def test_a_selection_is_summed_up(opened: MainWindow) -> None:
    opened.desk.open_table("pre_engage_torque", (0, 0))
    chosen = np.zeros(opened.desk.table.shape, dtype=bool)
    chosen[0, :3] = True
    opened.desk.set_selection(chosen)
    values = opened.desk.table.values[0, :3]
    assert f"3 cells, {values.min():g} to {values.max():g} N·m" in opened.status.cell.text()


def test_long_work_shows_itself_and_can_be_cancelled(window: MainWindow, qtbot) -> None:
    import time

    def slow(control):  # type: ignore[no-untyped-def]
        for number in range(1000):
            control.progress(number / 1000, "Half way")
            time.sleep(0.005)

    job = window.jobs.start("Long work", slow, cancellable=True)
    assert not window.status.progress.isVisible()
    qtbot.waitUntil(window.status.progress.isVisible, timeout=3000)
    assert window.status.cancel.isVisible()
    window.status.cancel.click()
    job.wait()
    assert job.state == "cancelled"
    assert not window.status.progress.isVisible()


# -- history ---------------------------------------------------------------------------------------


def test_the_history_tells_restores_and_is_undoable(opened: MainWindow, qtbot) -> None:
    before = opened.desk.current.content
    edit(opened, 1, "First of mine")
    after_first = opened.desk.current.content
    edit(opened, 2, "Second of mine")
    opened.show_history()
    dialog = QApplication.activeModalWidget()
    assert isinstance(dialog, HistoryDialog)
    cells = [dialog.model.index(0, column).data() for column in range(5)]
    assert cells[1:] == ["Ada", "Second of mine", "", "not saved yet"]
    assert dialog.model.rowCount() == 11  # nine entries of the practice set, and these two
    assert "→" in dialog.details.toPlainText()
    qtbot.keyClicks(dialog.line, "first mine")
    assert dialog.model.rowCount() == 1
    qtbot.mouseClick(dialog.restore, Qt.MouseButton.LeftButton)
    assert opened.desk.current.content == after_first
    assert opened.desk.current.undo_title.startswith("Restore the set as it was after")
    opened.editing.undo()
    opened.editing.undo()
    opened.editing.undo()
    assert opened.desk.current.content == before


def test_the_history_of_the_planted_mistakes_can_be_walked_back(opened: MainWindow, qtbot) -> None:
    normal = opened.desk.documents[1].content
    opened.show_history()
    dialog = QApplication.activeModalWidget()
    last = dialog.model.rowCount() - 1
    dialog.list.setCurrentIndex(dialog.model.index(last, 0))
    dialog.restore.click()
    restored = opened.desk.current.content
    # Before the mistakes were planted the practice set had the base set's values.
    assert all(restored[t.id] == t for t in normal)


def test_the_history_model_keeps_qt_rules(opened: MainWindow, qtmodeltester) -> None:
    opened.show_history()
    dialog = QApplication.activeModalWidget()
    qtmodeltester.check(dialog.model)
    dialog.close()


# -- name ------------------------------------------------------------------------------------------


def test_the_name_is_asked_once_and_quietly(window: MainWindow, samples, wait, qtbot) -> None:
    window.files.open([samples["practice"]])
    wait(lambda: len(window.desk.documents) == 1)
    assert "author" not in window.banners.banners
    edit(window, 1, "Mine")
    banner = window.banners.banners["author"]
    assert window.settings.author in banner.label.text()
    banner.buttons["Change…"].click()
    assert window.note.isVisible()
    window.note.line.setText("Grace")
    qtbot.keyClick(window.note.line, Qt.Key.Key_Return)
    assert "author" not in window.banners.banners
    edit(window, 2, "Mine again")
    assert window.desk.current.pending[-1].author == "Grace"
    assert "author" not in window.banners.banners
    assert Settings(window.settings.path.parent).author == "Grace"


def test_escape_leaves_a_reason_as_it_was(opened: MainWindow, qtbot) -> None:
    edit(opened, 1, "Mine")
    opened.noting.ask_reason()
    qtbot.keyClicks(opened.note.line, "never mind")
    qtbot.keyClick(opened.note.line, Qt.Key.Key_Escape)
    assert not opened.note.isVisible()
    assert opened.desk.current.last_reason == ""


# -- crash -----------------------------------------------------------------------------------------


@pytest.fixture
def guard(window: MainWindow):  # type: ignore[no-untyped-def]
    made = CrashGuard(window, window.recovery.where)
    made.install()
    yield made
    made.remove()


def test_an_error_is_told_and_the_window_stays(
    window: MainWindow, guard: CrashGuard, qtbot
) -> None:
    hook = sys.excepthook

    def fail() -> None:
        raise RuntimeError("a part that broke")

    try:
        fail()
    except RuntimeError as error:
        hook(type(error), error, error.__traceback__)
    qtbot.waitUntil(lambda: guard.dialog is not None)
    dialog = guard.dialog
    assert isinstance(dialog, CrashDialog)
    assert "RuntimeError: a part that broke" in dialog.details.toPlainText()
    assert "Python 3" in dialog.details.toPlainText()
    dialog.copy.click()
    assert "a part that broke" in QGuiApplication.clipboard().text()
    try:
        fail()
    except RuntimeError as error:
        hook(type(error), error, error.__traceback__)
    qtbot.waitUntil(lambda: dialog.details.toPlainText().count("a part that broke") == 2)
    qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: guard.dialog is None)
    assert window.isVisible()


def test_an_error_in_a_thread_is_told(guard: CrashGuard, qtbot) -> None:
    def fail() -> None:
        raise KeyError("in a thread")

    thread = threading.Thread(target=fail)
    thread.start()
    thread.join()
    qtbot.waitUntil(lambda: guard.dialog is not None)
    assert "in a thread" in guard.dialog.details.toPlainText()
    guard.dialog.close()


def test_the_hooks_are_given_back(window: MainWindow) -> None:
    before = (sys.excepthook, threading.excepthook)
    guard = CrashGuard(window, window.recovery.where)
    guard.install()
    assert sys.excepthook is not before[0]
    guard.remove()
    assert (sys.excepthook, threading.excepthook) == before


# -- settings --------------------------------------------------------------------------------------


def test_settings_are_kept_and_odd_ones_ignored(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("USER", "somebody")
    monkeypatch.setenv("LOGNAME", "somebody")
    settings = Settings(tmp_path)
    assert (settings.theme, settings.font_size, settings.recent) == ("system", 10, [])
    assert settings.author == "somebody"
    assert not settings.author_is_given
    settings.theme, settings.font_size = "dark", 13
    for number in range(20):
        settings.add_recent(tmp_path / f"{number}.h5")
    settings.add_recent(tmp_path / "15.h5")
    again = Settings(tmp_path)
    assert (again.theme, again.font_size) == ("dark", 13)
    assert [p.name for p in again.recent[:3]] == ["15.h5", "19.h5", "18.h5"]
    assert len(again.recent) == 12
    (tmp_path / "settings.ini").write_text("[view]\ntheme=pink\nfont_size=9000\n")
    odd = Settings(tmp_path)
    assert (odd.theme, odd.font_size) == ("system", 24)


def test_one_recent_file_is_still_a_list(tmp_path) -> None:
    Settings(tmp_path).add_recent(tmp_path / "only.h5")
    assert [p.name for p in Settings(tmp_path).recent] == ["only.h5"]


def test_place_and_size_are_kept(qtbot) -> None:
    first = MainWindow(Settings())
    first.resize(700, 500)  # Qt shrinks what is larger than the screen, which is small offscreen
    first.show()
    first.close()
    second = MainWindow(Settings())
    qtbot.addWidget(second)
    assert (second.width(), second.height()) == (700, 500)
    first.deleteLater()


def test_full_screen_and_back(window: MainWindow) -> None:
    action = window.book.actions["view.full_screen"]
    action.trigger()
    assert window.isFullScreen()
    action.trigger()
    assert not window.isFullScreen()


def test_the_event_loop_is_not_needed_to_build(window: MainWindow) -> None:
    # Everything that is late must be late by a timer or a job, never by a nested loop.
    fired: list[int] = []
    QTimer.singleShot(0, lambda: fired.append(1))
    other = MainWindow(window.settings)
    other.build_tune()
    assert fired == []
    other.close()
    other.deleteLater()


# -- what else can happen ----------------------------------------------------------------------


def test_edits_that_cannot_be_recorded_are_said_to_be(
    opened: MainWindow, tmp_path, monkeypatch, wait
) -> None:
    blocked = tmp_path / "a file, no folder"
    blocked.write_text("")
    monkeypatch.setenv("BITEPOINT_STATE_DIR", str(blocked))
    edit(opened, 1, "Add 1")
    banner = next(b for key, b in opened.banners.banners.items() if key.endswith("journal"))
    assert "not being recorded for recovery" in banner.label.text()
    assert opened.desk.current.is_modified
    monkeypatch.setenv("BITEPOINT_STATE_DIR", str(tmp_path / "state"))
    edit(opened, 1, "Add 1 more")
    assert not any(key.endswith("journal") for key in opened.banners.banners)


def test_an_edit_of_the_reference_is_checked_against(opened: MainWindow, samples, wait) -> None:
    opened.files.open([samples["low_grip"]])
    wait(lambda: len(opened.desk.documents) == 3)
    base, mode = opened.desk.documents[1], opened.desk.documents[2]
    opened.desk.set_current(mode)
    opened.desk.set_reference(base)
    wait(lambda: opened.desk.report is not None)
    before = set(opened.desk.report.findings)
    table = base.content["cruise_base_torque"]
    base.do(values_change(table, np.array(table.values) + 5, "Raise the base"))
    wait(lambda: opened.desk.report is not None)
    new = set(opened.desk.report.findings) - before
    assert {f.table for f in new} == {"cruise_base_torque"}


def test_a_cancelled_opening_leaves_nothing(window: MainWindow, samples, wait) -> None:
    window.files.open([samples["normal"]])
    (job,) = [j for j in window.jobs.running if j.title.startswith("Opening")]
    job.cancel()
    wait()
    assert window.desk.documents == []
    assert window.banners.banners == {}
    assert window.files.opening == ()


def test_a_chosen_set_gives_the_keyboard_back_to_the_work(opened: MainWindow, qtbot) -> None:
    for box in (opened.document_bar.current, opened.document_bar.reference):
        box.setFocus()
        assert opened.focusWidget() is box
        qtbot.keyClick(box, Qt.Key.Key_Down)  # chooses, as Enter does in the open list
        box.activated.emit(box.currentIndex())
        assert opened.focusWidget() is not box
        box.setFocus()
        qtbot.keyClick(box, Qt.Key.Key_Escape)
        assert opened.focusWidget() is not box
