"""In a real window, by keyboard: a rule is added after its preview, a table bound, all undone."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QLineEdit

from app.shell.window import MainWindow
from app.tune.area import page_of
from app.tune.roles_dialog import RolesDialog
from calib_model.roles.changes import unbind
from calib_model.rules.limits import Bounds

KEY = Qt.Key
CTRL_SHIFT = Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier


@pytest.mark.window
def test_a_rule_is_added_and_a_table_bound_by_keyboard(opened: MainWindow, qtbot, wait) -> None:  # type: ignore[no-untyped-def]
    window, desk = opened, opened.desk
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    window.show_area("tune")
    desk.open_table("cruise_base_torque")
    document = desk.current
    assert document is not None
    start = document.content

    def press(key: Qt.Key, modifiers: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        qtbot.keyClick(QApplication.focusWidget() or window, key, modifiers)

    press(KEY.Key_Q, CTRL_SHIFT)
    form = page_of(window).rules.form
    qtbot.waitUntil(form.kind.hasFocus)
    qtbot.keyClicks(form.kind, "bounds")  # a list finds what is typed
    assert form.kind.currentText() == "bounds"
    for _ in range(12):
        focused = QApplication.focusWidget()
        if isinstance(focused, QLineEdit) and focused.accessibleName() == "Upper":
            break
        press(KEY.Key_Tab)
    qtbot.keyClicks(QApplication.focusWidget(), "50")
    qtbot.waitUntil(lambda: "names 2 places in 1" in form.outcome.text())
    assert document.content is start
    press(KEY.Key_Return)
    qtbot.waitUntil(lambda: not form.isVisible())
    assert Bounds(upper=50.0) in document.content["cruise_base_torque"].rules
    assert page_of(window).rules.list.hasFocus()

    desk.do(unbind(document.content, ["slip_target"]))
    press(KEY.Key_F3, CTRL_SHIFT)
    qtbot.waitUntil(lambda: bool(window.findChildren(RolesDialog)))
    (dialog,) = window.findChildren(RolesDialog)
    qtbot.waitUntil(dialog.isActiveWindow)
    dialog.suggested.setFocus()
    press(KEY.Key_Space)
    qtbot.keyClick(dialog, KEY.Key_B, Qt.KeyboardModifier.AltModifier)
    qtbot.waitUntil(lambda: document.content["slip_target"].role == "slip_target")
    press(KEY.Key_Escape)
    qtbot.waitUntil(lambda: not dialog.isVisible())
    for _ in range(3):
        document.undo()
    assert document.content == start
    wait()
