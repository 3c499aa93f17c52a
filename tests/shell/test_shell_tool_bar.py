"""The tool bar: ten acts from the table of actions, each with name, key and the reason why not."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QPalette
from PySide6.QtWidgets import QApplication

from app.look.icons import ICONS, icon
from app.look.palettes import palette
from app.look.tokens import DARK, LIGHT
from app.shell.actions import all_actions
from app.shell.tool_bar import FEW, TOOLS
from app.shell.window import MainWindow
from tests.waiting import settled


def test_the_ten_acts_are_there_and_do_what_their_rows_do(opened: MainWindow, qtbot) -> None:  # type: ignore[no-untyped-def]
    bar = opened.document_bar.tools
    settled(qtbot, opened)
    assert list(bar.buttons) == [id for id in TOOLS if id]
    for id, button in bar.buttons.items():
        assert button.defaultAction() is opened.book.actions[id]
        assert not button.icon().isNull()
        assert button.accessibleName()
    opened.desk.open_table("pre_engage_torque")
    values = opened.desk.table.values  # type: ignore[union-attr]
    opened.book.actions["values.step_up"].trigger()
    qtbot.waitUntil(lambda: bar.buttons["edit.undo"].isEnabled())
    qtbot.mouseClick(bar.buttons["edit.undo"], Qt.MouseButton.LeftButton)
    assert (opened.desk.table.values == values).all()  # type: ignore[union-attr]


def test_an_act_that_cannot_be_done_says_why_on_hover(window: MainWindow) -> None:
    window.book.refresh()
    buttons = window.document_bar.tools.buttons
    for id, reason in (
        ("file.save", "Open a set first."),
        ("edit.undo", "Open a set first."),
        ("edit.paste", "Open a set first."),
        ("plots.result", "Open a set first."),
    ):
        assert not buttons[id].isEnabled()
        assert reason in buttons[id].toolTip()
    assert "Save (Ctrl+S)" in buttons["file.save"].toolTip()
    assert "first" not in buttons["file.open"].toolTip()


def test_the_reasons_follow_what_happens(opened: MainWindow, qtbot) -> None:  # type: ignore[no-untyped-def]
    settled(qtbot, opened)
    buttons = opened.document_bar.tools.buttons
    assert "Everything is saved." in buttons["file.save"].toolTip()
    assert "There is no edit to take back." in buttons["edit.undo"].toolTip()
    opened.desk.open_table("pre_engage_torque")
    opened.book.actions["values.step_up"].trigger()
    qtbot.waitUntil(lambda: buttons["file.save"].isEnabled())
    assert "Everything is saved." not in buttons["file.save"].toolTip()
    assert "Save (Ctrl+S)" in buttons["file.save"].toolTip()


def test_a_narrow_window_keeps_the_first_tools(opened: MainWindow, qtbot) -> None:  # type: ignore[no-untyped-def]
    opened.resize(1366, 768)
    opened.show()
    settled(qtbot, opened)
    buttons = list(opened.document_bar.tools.buttons.values())
    assert all(b.isVisible() for b in buttons)
    opened.resize(700, 500)
    assert [b.isVisible() for b in buttons] == [n < FEW for n in range(len(buttons))]


def test_every_icon_that_is_named_is_there() -> None:
    for row in all_actions():
        assert not row.icon or not icon(row.icon).isNull()
    with pytest.raises(FileNotFoundError, match="copy its file there"):
        icon("no-such-icon")
    assert (ICONS / "LICENSE-Lucide.txt").is_file()


@pytest.mark.parametrize(("name", "own"), [("light", LIGHT), ("dark", DARK)])
@pytest.mark.parametrize("scale", [1, 2])
def test_icons_take_the_colours_of_the_theme_and_are_crisp(
    qapp: QApplication, name: str, own: object, scale: int
) -> None:
    before = QPalette(qapp.palette())
    try:
        qapp.setPalette(palette(name))
        picture: QImage = icon("save").pixmap(icon_size(), float(scale)).toImage()
    finally:
        qapp.setPalette(before)
    assert picture.width() == 16 * scale
    solid = [
        picture.pixelColor(x, y)
        for x in range(picture.width())
        for y in range(picture.height())
        if picture.pixelColor(x, y).alpha() > 200
    ]
    assert solid
    wanted = own.text  # type: ignore[attr-defined]
    assert {c.name() for c in solid if c.alpha() == 255} <= {wanted}


def icon_size():  # type: ignore[no-untyped-def]
    from PySide6.QtCore import QSize

    return QSize(16, 16)
