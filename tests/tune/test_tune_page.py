"""The page as a whole: findings reach grid, list and plots; dialogs make one change."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QRect
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.tune.details_dialog import DetailsDialog
from app.tune.header import TableHeader, cell_words
from app.tune.page import TunePage
from app.tune.rules_dialog import RulesDialog
from calib_model.core.table import Table
from calib_model.editing.change import values_change


@pytest.fixture
def page(practice_desk: Desk, qtbot: QtBot) -> TunePage:
    """Held by the test until its last events are through: its plots are built a little later."""
    made = TunePage(practice_desk)
    qtbot.addWidget(made)
    return made


def test_findings_reach_every_part(page: TunePage, practice_desk: Desk) -> None:
    page.resize(1300, 700)
    page.show()
    assert page.findings._heading.text().startswith("<b>3 errors, 1 warning</b> in this table.")
    assert "in the set" not in page.findings._heading.text()  # the status line counts those
    assert page.grid.grid.look(3, 6).severity == "error"
    assert page.grid.grid.look(0, 0).severity == ""
    practice_desk.open_table("controller_tick")
    assert page.side.tabText(0) == "Findings"


def test_panes_take_the_keyboard_in_turn(page: TunePage, practice_desk: Desk) -> None:
    page.show()
    page.grid.setFocus()
    seen = []
    for _ in range(4):
        page.next_pane(+1)
        focused = page.focusWidget()
        assert focused is not None
        seen.append(
            next(
                name
                for name in ("table_list", "grid_panel", "plots", "side")
                if getattr(page, name).isAncestorOf(focused) or getattr(page, name) is focused
            )
        )
    assert seen == ["plots", "side", "table_list", "grid_panel"]


def test_header_tells_the_cell(practice_desk: Desk, qtbot: QtBot) -> None:
    header = TableHeader(practice_desk)
    qtbot.addWidget(header)
    practice_desk.set_cursor((3, 6))
    text = " ".join(label.text() for label in header.findChildren(QLabel))
    assert "−10 °C, 40 %: 21.5 N·m  ·  raw 43  ·  next 21 and 22" in text
    table = practice_desk.table
    assert table is not None
    values = table.values.copy()
    values[3, 6] = 212.75
    practice_desk.do(values_change(table, values, "Set"))
    text = " ".join(label.text() for label in header.findChildren(QLabel))
    assert "212.75 N·m  ·  stored as 213  ·  next 212.5 and 213  ·  saved 21.5 N·m" in text


def test_cell_words_of_an_empty_scalar() -> None:
    assert cell_words(Table("a", np.nan, unit="s"), ()) == "empty"


def test_details_make_one_change_or_say_what_is_wrong(practice_desk: Desk, qtbot: QtBot) -> None:
    dialog = DetailsDialog(practice_desk)
    qtbot.addWidget(dialog)
    dialog.name.setText("Other name")
    dialog.largest.setText("1.234,5")
    dialog.accept()
    assert practice_desk.table is not None
    assert practice_desk.table.name == "Pre-engage torque"
    assert "largest value" in dialog._problem.text()
    dialog.largest.setText("460")
    dialog.step.setText("0.25")
    dialog.accept()
    table = practice_desk.table
    assert (table.name, table.upper, table.storage.resolution) == ("Other name", 460, 0.25)
    document = practice_desk.current
    assert document is not None
    document.undo()
    assert practice_desk.table.name == "Pre-engage torque"


def test_rules_are_written_as_text(practice_desk: Desk, qtbot: QtBot) -> None:
    practice_desk.open_table("ambient_factor")
    dialog = RulesDialog(practice_desk)
    qtbot.addWidget(dialog)
    text = dialog.text.toPlainText()
    assert "covers" in text
    dialog.text.setPlainText(text.replace("covers", "smothers"))
    dialog.accept()
    assert "smothers" in dialog._problem.text()
    dialog.text.setPlainText(text.replace("low = -40", "low = -20"))
    dialog.accept()
    table = practice_desk.table
    assert table is not None
    assert any(getattr(rule, "low", None) == -20 for rule in table.rules)


def test_a_proposal_stands_beside_the_numbers(page: TunePage, practice_desk: Desk) -> None:
    page.resize(1300, 700)
    page.show()
    practice_desk.open_table("plate_cooling")
    model = page.grid.grid
    cells = [
        (row, column) for row in range(model.rowCount()) for column in range(model.columnCount())
    ]
    held = [model.text(*cell) for cell in cells]
    top = page.grid.mapTo(page, page.grid.rect().topLeft())
    page.show_side(2)  # opening Shape is enough to have something proposed
    page.shape.wait()
    assert practice_desk.proposed_table is not None
    assert [model.text(*cell) for cell in cells] == held
    banner = page.shape.banner
    assert banner.take.isVisible()
    assert banner.text.text().startswith("Proposed: ")
    assert page.grid.mapTo(page, page.grid.rect().topLeft()) == top  # nothing gave way for it
    banner.see.click()
    assert [model.text(*cell) for cell in cells] != held
    banner.leave.click()
    assert [model.text(*cell) for cell in cells] == held
    assert not banner.take.isVisible()
    assert not banner.see.isChecked()


def test_wide_pages_stand_grid_and_plots_side_by_side(page: TunePage, practice_desk: Desk) -> None:
    page.resize(1280, 700)
    page.show()
    practice_desk.open_table("pre_engage_torque")

    def places() -> tuple[QRect, QRect]:
        return tuple(
            QRect(w.mapTo(page, QPoint()), w.size()) for w in (page.grid_panel, page.plots)
        )  # type: ignore[return-value]

    grid, plots = places()
    assert grid.bottom() < plots.top()
    narrow = page.table_list.width()
    page.resize(1854, 980)
    grid, plots = places()
    assert grid.right() < plots.left()
    assert grid.top() == plots.top()
    assert not page.grid.horizontalScrollBar().isVisible()
    assert plots.width() >= 450
    assert page.table_list.width() > narrow
    page.resize(1280, 700)
    grid, plots = places()
    assert grid.bottom() < plots.top()


def test_the_tabs_of_the_plots_stay_as_the_result_takes_height(
    page: TunePage, practice_desk: Desk
) -> None:
    page.resize(1280, 700)
    page.show()
    practice_desk.open_table("pre_engage_torque")
    tabs = page.plots.tabs
    before, height = tabs.mapTo(page, QPoint()), page.plots.height()
    page.show_result()
    assert page.plots.height() > height
    assert tabs.mapTo(page, QPoint()) == before
