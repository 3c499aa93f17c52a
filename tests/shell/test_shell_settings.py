"""The settings: each change is shown and kept at once, and taken back by its button."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QAccessible
from PySide6.QtWidgets import QApplication, QLabel, QPushButton, QScrollArea, QToolButton

from app.colours import value_map
from app.desk import Desk
from app.grid.texts import cell_text, decimals
from app.look.choices import FIRST, Choices, choose
from app.look.style import LookStyle
from app.look.tokens import CONTROL, GLOVES
from app.shell.looks import Looks
from app.shell.settings import Settings
from app.shell.settings_dialog import KEY, SettingsDialog
from app.shell.theme import Theme
from app.shell.window import MainWindow
from app.tune.thumbnails import Thumbnails
from calib_model.core.storage import Storage
from tests.shell.test_shell_looks import theme, unnamed

__all__ = ["theme"]


@pytest.fixture(autouse=True)
def as_at_first() -> Iterator[None]:
    yield
    choose(FIRST)


@pytest.fixture
def dialog(opened: MainWindow, qtbot) -> SettingsDialog:  # type: ignore[no-untyped-def]
    opened.book.actions["file.settings"].trigger()
    made = QApplication.activeModalWidget()
    assert isinstance(made, SettingsDialog)
    return made


def way_back(dialog: SettingsDialog, name: str) -> QToolButton:
    found = [b for b in dialog.findChildren(QToolButton)
             if b.accessibleName() == f"{name}: as before"]  # fmt: skip
    assert len(found) == 1
    return found[0]


def kept(window: MainWindow) -> Settings:
    return Settings(window.settings.path.parent)


def test_every_setting_has_a_name_and_a_way_back(dialog: SettingsDialog) -> None:
    assert unnamed(dialog) == []
    for name in ("Your name in the history", "Signing key", "Colours for values",
                 "Decimals in the grid", "Colours of the window", "Text size",
                 "Large controls for gloves", "Usual reference"):  # fmt: skip
        assert not way_back(dialog, name).isEnabled()


def test_screen_readers_hear_what_each_setting_is(dialog: SettingsDialog) -> None:
    role = QAccessible.Role
    for widget, expected in (
        (dialog.name, role.EditableText),
        (dialog.map, role.ComboBox),
        (dialog.decimals, role.SpinBox),
        (dialog.gloves, role.CheckBox),
        (way_back(dialog, "Text size"), role.Button),
    ):
        told = QAccessible.queryAccessibleInterface(widget)
        assert told.role() == expected
        assert told.text(QAccessible.Text.Name)


def test_tab_goes_through_the_settings_in_their_order(dialog: SettingsDialog) -> None:
    dialog.name.setFocus()
    seen = [QApplication.focusWidget()]
    while dialog.focusNextChild() and QApplication.focusWidget() not in seen:
        seen.append(QApplication.focusWidget())
        assert len(seen) < 60
    order = [dialog.name, dialog.key.line, dialog.map, dialog.decimals, dialog.theme,
             dialog.text_size, dialog.gloves, dialog.reference]  # fmt: skip
    assert [w for w in seen if w in order] == order


def test_the_name_counts_at_once_and_goes_back(
    opened: MainWindow, dialog: SettingsDialog, qtbot
) -> None:  # type: ignore[no-untyped-def]
    dialog.name.setText("  Grace ")
    dialog.name.editingFinished.emit()
    assert kept(opened).author == "Grace"
    assert {d.author for d in opened.desk.documents} == {"Grace"}
    qtbot.mouseClick(way_back(dialog, "Your name in the history"), Qt.MouseButton.LeftButton)
    assert kept(opened).author == "Ada"
    assert not way_back(dialog, "Your name in the history").isEnabled()


def test_of_the_key_only_the_path_is_kept(opened: MainWindow, dialog: SettingsDialog) -> None:
    dialog.key.show_path("/keys/ada.pem")
    dialog.key.changed.emit()
    assert kept(opened).remembered(KEY) == "/keys/ada.pem"
    way_back(dialog, "Signing key").click()
    assert kept(opened).remembered(KEY) == ""


def test_values_are_shown_with_other_colours_and_decimals(
    opened: MainWindow, theme: Theme, dialog: SettingsDialog
) -> None:
    opened.looks._theme = theme
    model = opened.grid.grid
    before, text = model.heat, model.text(0, 0)
    dialog.map.setCurrentIndex(dialog.map.findData("grey"))
    assert kept(opened).values_map == "grey"
    assert model.heat != before
    dialog.decimals.setValue(3)
    assert kept(opened).decimals == 3
    assert model.text(0, 0).partition(".")[2] != text.partition(".")[2]
    assert len(model.text(0, 0).partition(".")[2]) == 3
    way_back(dialog, "Colours for values").click()
    way_back(dialog, "Decimals in the grid").click()
    assert (model.heat, model.text(0, 0)) == (before, text)
    assert kept(opened).choices == FIRST


def test_chosen_decimals_hide_no_digit() -> None:
    choose(Choices(decimals=1))
    places = decimals(Storage())
    assert places == 1
    assert cell_text(0.5, places) == "0.5"
    assert cell_text(0.25, places) == "0.25"
    assert cell_text(2.0, places) == "2.0"


def test_the_map_of_the_application_is_the_chosen_one() -> None:
    first = value_map(dark=False)
    choose(Choices(values="grey"))
    grey = value_map(dark=False)
    assert (grey != first).any()
    assert (grey[:, 0] == grey[:, 1]).all()


def test_gloves_make_every_control_tall_at_once(
    opened: MainWindow, theme: Theme, dialog: SettingsDialog, qapp: QApplication
) -> None:
    opened.looks._theme = theme
    button = dialog.findChild(QPushButton)
    qapp.processEvents()
    assert button.height() == CONTROL
    dialog.gloves.click()
    qapp.processEvents()
    for control in (button, dialog.name, dialog.map, dialog.text_size, dialog.gloves):
        assert control.height() >= GLOVES, control
    assert kept(opened).gloves
    way_back(dialog, "Large controls for gloves").click()
    qapp.processEvents()
    assert button.height() == CONTROL


def test_text_size_and_theme_are_kept(
    opened: MainWindow, theme: Theme, dialog: SettingsDialog, qapp: QApplication
) -> None:
    opened.looks._theme = theme
    dialog.text_size.setValue(14)
    dialog.theme.setCurrentIndex(dialog.theme.findData("dark"))
    assert qapp.font().pointSize() == 14
    assert theme.name == "dark"
    assert (kept(opened).font_size, kept(opened).theme) == (14, "dark")


def test_the_usual_reference_is_followed(opened: MainWindow, dialog: SettingsDialog) -> None:
    desk: Desk = opened.desk
    dialog.reference.setCurrentIndex(dialog.reference.findData("none"))
    assert desk.reference is None
    assert kept(opened).usual_reference == "none"
    dialog.reference.setCurrentIndex(dialog.reference.findData("newest"))
    assert desk.reference is desk.documents[1]
    way_back(dialog, "Usual reference").click()
    assert desk.usual_reference == "base"


def test_a_settings_file_that_somebody_wrote_into_is_read(tmp_path) -> None:  # type: ignore[no-untyped-def]
    settings = Settings(tmp_path)
    for key in ("view/values_map", "view/decimals", "sets/usual_reference", "view/gloves"):
        settings.remember(key, "-99 bananas")
    assert settings.choices == FIRST
    assert settings.usual_reference == "base"
    assert not settings.gloves
    settings.remember("view/decimals", "400")
    assert settings.decimals == 6


def test_a_restart_shows_the_choices(opened: MainWindow, theme: Theme) -> None:
    opened.settings.values_map = "red"
    Looks(opened, theme).apply()
    assert isinstance(QApplication.style(), LookStyle)
    red = value_map(dark=False)
    choose(FIRST)
    theme.show_values(kept(opened).choices)
    assert (value_map(dark=False) == red).all()


@pytest.mark.parametrize("points", [10, 16, 20])
def test_nothing_is_cut_at_any_size_of_text(
    opened: MainWindow, theme: Theme, qapp: QApplication, points: int
) -> None:
    # 683 wide is what a screen of 1366 leaves at 200 %.
    opened.resize(683, 384)
    opened.looks._theme = theme
    opened.settings.font_size = points
    opened.settings.gloves = True
    opened.looks.apply()
    opened.show_settings()
    dialog = QApplication.activeModalWidget()
    assert isinstance(dialog, SettingsDialog)
    qapp.processEvents()
    area = dialog.findChild(QScrollArea)
    assert area.widget().width() <= area.viewport().width()
    for label in area.findChildren(QLabel):
        assert label.height() >= label.heightForWidth(label.width()) or not label.wordWrap()
        wanted = label.fontMetrics().horizontalAdvance(label.text())
        assert label.wordWrap() or label.width() >= wanted, label.text()


def test_pictures_of_the_list_take_the_map(opened: MainWindow) -> None:
    table = opened.desk.current.content.tables["pre_engage_torque"]
    pictures = Thumbnails(QSize(60, 34))
    before = pictures.of(table, opened.palette()).toImage()
    choose(Choices(values="grey"))
    assert pictures.of(table, opened.palette()).toImage() != before
    choose(FIRST)
    assert pictures.of(table, opened.palette()).toImage() == before
