"""The work area Road in a real window: four parts, each reached by one key."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt

from app.shell.window import MainWindow

CONTROL = Qt.KeyboardModifier.ControlModifier


@pytest.mark.parametrize(
    ("key", "name"),
    [
        (Qt.Key.Key_5, "recordings"),
        (Qt.Key.Key_6, "complaints"),
        (Qt.Key.Key_7, "manoeuvres"),
        (Qt.Key.Key_8, "campaign"),
    ],
)
def test_one_key_shows_a_part_from_anywhere(
    opened: MainWindow,
    qtbot,
    key: Qt.Key,
    name: str,  # type: ignore[no-untyped-def]
) -> None:
    opened.activateWindow()
    qtbot.keyClick(opened, key, CONTROL)
    assert opened.area == "road"
    assert opened.areas.page("road").part == name
    assert opened.areas.page("road").stack.currentWidget() is opened.areas.page("road").part_named(
        name
    )
    opened.refresh()
    assert opened.areas.page("road").buttons[name].isChecked()
    assert opened.book.actions[f"road.{name}"].isChecked()


def test_a_part_sends_the_window_to_tune(opened: MainWindow) -> None:
    opened.show_area("road")
    opened.desk.open_table("pre_engage_torque", (1, 2))
    opened.areas.page("road").recordings.jumped.emit()
    assert opened.area == "tune"
    assert opened.desk.cursor == (1, 2)


def test_cautions_are_in_sight(opened: MainWindow) -> None:
    opened.resize(1366, 768)
    opened.show_area("road")
    assert opened.areas.page("road").caution.isVisible()
    assert "ISO 26262" in opened.areas.page("road").caution.text()


def test_a_part_that_is_hidden_asks_for_no_room(opened: MainWindow) -> None:
    opened.show_area("road")
    road = opened.areas.page("road")
    for name in ("complaints", "manoeuvres", "campaign", "recordings"):
        road.show_part(name)
    part = road.part_named("recordings")
    needed = part.minimumSizeHint().height() + road.buttons["recordings"].minimumHeight()
    assert road.minimumSizeHint().height() <= needed + 60
    # A laptop's screen at 200 %: 683 logical pixels, less the switcher and a scroll bar.
    for name in ("recordings", "complaints", "manoeuvres", "campaign"):
        assert road.part_named(name).minimumSizeHint().width() <= 637, name
    # Every tab of the manoeuvres has been laid out: it scrolled sideways by 79 pixels.
    road.show_part("manoeuvres")
    panel = road.part_named("manoeuvres")
    for number in range(panel.tabs.count()):
        panel.show_tab(number)
    assert panel.minimumSizeHint().width() <= 580
