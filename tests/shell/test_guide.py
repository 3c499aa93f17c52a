"""The guide names real actions and shows real pictures; the first steps tick as they are done."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from PySide6.QtCore import Qt, QUrl

from app.guide.dialog import GuideDialog
from app.guide.first_steps import STEPS
from app.guide.pages import ASSETS, find_pages, pages
from app.guide.steps_panel import StepsPanel
from app.shell.actions import all_actions
from app.shell.guiding import Guiding
from app.shell.window import MainWindow
from calib_model.editing.change import values_change

IDS = {row.id for row in all_actions()}


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.title)
def test_a_page_names_actions_that_exist_and_a_picture_that_is_there(page) -> None:
    assert page.actions
    assert set(page.actions) <= IDS
    assert "{" not in page.markdown(lambda id: (id, ""))
    assert page.picture.is_file()
    assert page.picture.parent == ASSETS
    assert page.words


def test_every_menu_has_a_page() -> None:
    named = {id.partition(".")[0] for page in pages() for id in page.actions}
    groups = {id.partition(".")[0] for id in IDS} - {"sets", "help"}
    assert groups <= named


@pytest.mark.parametrize(
    ("typed", "title"),
    [
        ("find a table", "Find a table"),
        ("hysteresis sweep", "Fit a curve to a bench sweep"),
        ("crash", "Find edits that were not saved"),
        ("mf4", "See where a drive used the tables"),
    ],
)
def test_a_page_is_found_by_its_title_first_then_by_its_words(typed: str, title: str) -> None:
    assert find_pages(pages(), typed)[0].title == title


def test_what_no_page_holds_is_said(opened: MainWindow, qtbot) -> None:
    opened.book.actions["help.guide"].trigger()
    guide = opened.guiding.guide
    assert isinstance(guide, GuideDialog)
    qtbot.keyClicks(guide.line, "zebra")
    assert guide.list.count() == 0
    assert "Try fewer" in guide.told.text()
    guide.line.clear()
    assert guide.list.count() == len(pages())
    qtbot.keyClick(guide.line, Qt.Key.Key_Down)
    assert guide.list.currentRow() == 1
    guide.close()


def test_a_link_in_the_guide_runs_its_action_and_shows_its_keys(opened: MainWindow, qtbot) -> None:
    opened.guiding.show_guide()
    guide = opened.guiding.guide
    assert guide is not None
    qtbot.keyClicks(guide.line, "compare two sets")
    text = guide.view.toPlainText()
    assert opened.book.keys_of("view.compare") in text
    guide.view.anchorClicked.emit(QUrl("act:view.compare"))
    assert opened.area == "compare"
    guide.view.anchorClicked.emit(QUrl("act:edit.undo"))
    assert guide.told.text()  # there is nothing to undo, and it says so
    guide.close()


def test_the_first_steps_are_ticked_as_they_are_done(opened: MainWindow, qtbot) -> None:
    opened.guiding.show_steps()
    steps = opened.guiding.steps
    assert isinstance(steps, StepsPanel)
    assert len(STEPS) == 10
    assert steps.ticked == set()
    opened.desk.open_table("slip_target")
    assert steps.ticked == {"find"}
    table = opened.desk.table
    assert table is not None
    assert opened.desk.do(values_change(table, table.values + 0.1, "Raise"))
    assert steps.ticked == {"find", "change"}
    opened.book.refresh()
    opened.book.actions["edit.undo"].trigger()
    assert steps.ticked == {"find", "change", "undo"}
    assert steps.head.text() == "3 of 10 done"
    steps.close()
    again = Guiding(opened, opened.book)  # kept from one start to the next
    again.show_steps()
    assert again.steps is not None
    assert again.steps.ticked == {"find", "change", "undo"}
    again.steps.close()


def test_an_undo_is_no_edit_of_ones_own(opened: MainWindow) -> None:
    table = opened.desk.table
    assert table is not None
    assert opened.desk.do(values_change(table, table.values + 0.5, "Raise"))
    opened.guiding.show_steps()
    steps = opened.guiding.steps
    assert steps is not None
    opened.book.refresh()
    opened.book.actions["edit.undo"].trigger()
    assert steps.ticked == {"undo"}
    steps.close()


def test_a_step_says_the_keys_of_its_action() -> None:
    asked = {row.id: row for row in all_actions()}
    for step in STEPS:
        assert step.action in asked
        if "{keys}" in step.text:
            assert asked[step.action].keys


def test_no_page_writes_a_key_out_that_an_action_has() -> None:
    """Keys come from the actions, so that they are true after a change of keys."""
    keys = {key for row in all_actions() for key in row.keys if "+" in key}
    for page in pages():
        written = set(re.findall(r"\b(?:Ctrl|Alt|Shift)\+[A-Za-z0-9+]+", page.text))
        assert not written & keys, page.title


def test_the_pictures_lie_in_the_project() -> None:
    assert all(Path(page.picture).resolve().is_relative_to(ASSETS) for page in pages())
