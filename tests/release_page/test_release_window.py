"""Release in the main window: made when first shown, the menus, a trial in two key strokes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from app.release.lines import View
from app.shell.window import MainWindow
from calib_model.editing.change import values_change
from calib_model.rules.waivers import today

K = Qt.Key
CONTROL, SHIFT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier


def press(qtbot, window: MainWindow, key: Qt.Key, modifiers=Qt.KeyboardModifier.NoModifier) -> None:  # type: ignore[no-untyped-def]
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    qtbot.keyClick(window.focusWidget() or window, key, modifiers)


def test_the_page_is_made_when_it_is_first_shown(window: MainWindow, qtbot, wait) -> None:
    assert window.areas.made("release") is None
    window.activateWindow()
    press(qtbot, window, K.Key_4, CONTROL)
    wait()
    assert window.areas.made("release") is not None
    assert "No set is open" in window.areas.page("release").words.text()
    assert "Ctrl+O" in window.areas.page("release").list.nothing.text()


def test_the_keyboard_goes_to_the_list_and_comes_back_from_the_cell(
    window: MainWindow, opened, qtbot, wait
) -> None:
    window.activateWindow()  # in a real window only an active one hands the keyboard on
    qtbot.waitUntil(window.isActiveWindow)
    page = opened("practice")
    assert window.focusWidget() is page.list.view
    line = page.list.line
    press(qtbot, window, K.Key_Return)
    assert window.area == "tune"
    assert window.desk.table.id == line.table
    assert window.desk.cursor == line.cells[0]
    press(qtbot, window, K.Key_4, CONTROL)
    wait()
    assert window.focusWidget() is page.list.view
    assert page.list.line.key == line.key
    press(qtbot, window, K.Key_F8)
    assert page.list.line.key != line.key
    press(qtbot, window, K.Key_F, CONTROL)
    assert window.focusWidget() is page.list.filter
    press(qtbot, window, K.Key_F6)
    assert page.tabs.isAncestorOf(window.focusWidget())


def test_keys_of_the_list_never_touch_the_cells(window: MainWindow, opened, qtbot, wait) -> None:
    page = opened("practice")
    before = dict(window.desk.current.content.tables)
    press(qtbot, window, K.Key_A, CONTROL)  # select all, here of the list
    assert len(page.list.lines) == len(page.list.rows.found)
    press(qtbot, window, K.Key_Delete)
    press(qtbot, window, K.Key_C, CONTROL)
    assert "Pre-engage torque" in QApplication.clipboard().text()
    wait()
    assert dict(window.desk.current.content.tables) == before


def test_a_trial_is_two_key_strokes_from_an_edit(
    window: MainWindow, opened, samples: dict[str, Path], qtbot, wait
) -> None:
    page = opened("practice")
    window.settings.remember("trial/vehicle", "Larch 07")
    page.trial.vehicle.setText("Larch 07")
    page.trial.trip.setText("winter trip 2")
    window.show_area("tune")
    table = window.desk.table
    values = np.array(table.values)
    values.reshape(-1)[0] += 1
    window.desk.do(values_change(table, values, "Raise one cell"))
    press(qtbot, window, K.Key_H, CONTROL | SHIFT)
    assert window.focusWidget() is page.trial.write
    press(qtbot, window, K.Key_Return)
    wait()
    folder = samples["practice"].parent
    names = sorted(p.name for p in folder.glob("*TRIAL*"))
    assert [name.rsplit(".", 1)[1] for name in names] == ["csv", "h5", "nc", "txt", "xlsx"]
    assert all(f"until-{today().year}" in n or "until-" in n for n in names)
    assert window.area == "tune"  # back where the edit was made
    assert str(folder) in window.status.currentMessage()
    assert window.desk.current.undo_title.startswith("Trial for Larch 07")


def test_menus_reach_every_list_and_panel(window: MainWindow, opened, wait) -> None:
    page = opened("practice")
    for id, view in (
        ("release.tables", View.TABLES),
        ("release.waivers", View.WAIVERS),
        ("release.remarks", View.REMARKS),
        ("release.since", View.SINCE),
        ("release.to_do", View.TO_DO),
    ):
        window.book.actions[id].trigger()
        assert page.list.shown is view
    for id, form in (
        ("release.sign", page.sign),
        ("release.trust", page.trust),
        ("release.keys", page.keys),
        ("release.hand_over", page.hand_over),
    ):
        window.show_area("tune")
        window.book.actions[id].trigger()
        wait()
        assert window.area == "release"
        assert form.isVisible()
        assert form.isAncestorOf(window.focusWidget())
    window.show_area("tune")
    window.book.actions["release.accept"].trigger()  # not on lines that are not seen
    assert not window.desk.current.content.record.decisions


@pytest.mark.usefixtures("reading_process")
def test_signing_saves_the_file(window: MainWindow, opened, samples, people, wait) -> None:
    from calib_model import open_set
    from tests.release_page.conftest import AUTHOR, PASSPHRASE

    page = opened("normal")
    page.sign.key.show_path(people.author)
    page.sign.name.setText(AUTHOR)
    page.sign.secret.setText(PASSPHRASE)
    page.sign.submit()
    wait(lambda: not window.desk.current.is_modified)
    assert len(open_set(samples["normal"]).record.sign_offs) == 1


def test_list_and_panels_take_turns_in_a_small_window(window: MainWindow, opened, wait) -> None:
    page = opened("practice")
    window.resize(683, 360)
    wait()
    assert page.list.isVisible()
    assert not page.tabs.isVisible()
    page.acts.order("waive")
    assert page.tabs.isVisible()
    assert not page.list.isVisible()
    page.act.waive.left.emit()
    assert page.list.isVisible()
    assert window.focusWidget() is page.list.view
