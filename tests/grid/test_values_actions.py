"""Rows of the menus Edit and Values on a real grid, and the strip that asks for numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence
from PySide6.QtTest import QTest

from app.desk import Desk
from app.grid import edits
from app.grid.panel import GridPanel
from app.grid.source import GridSource
from app.shell.actions import all_actions, clashes
from app.tune import values_actions
from app.tune.values_actions import ACTIONS
from app.work_area import WorkArea
from calib_model.core.table import Table
from calib_model.editing.locks import locked_cells

Key = Qt.Key
ROWS = {row.id: row for row in ACTIONS}


@dataclass
class Window:
    """What the rows need of the main window."""

    desk: Desk
    grid: object
    work: WorkArea


@pytest.fixture
def window(desk: Desk, panel: GridPanel) -> Window:
    return Window(desk, panel.view, WorkArea(desk, panel))


def table(desk: Desk) -> Table:
    assert desk.table is not None
    return desk.table


def select(desk: Desk, rows: slice, columns: slice) -> None:
    marks = np.zeros(table(desk).shape, dtype=bool)
    marks[rows, columns] = True
    desk.set_cursor((rows.start, columns.start), keep_selection=True)
    desk.set_selection(marks)


def answer(panel: GridPanel, *texts: str) -> None:
    """Type into the strip's fields and press Enter."""
    assert panel.strip.isVisible()
    assert panel.strip.entries[0].hasFocus()
    for entry, text in zip(panel.strip.entries, texts, strict=True):
        entry.selectAll()
        QTest.keyClicks(entry, text)
    QTest.keyClick(panel.strip.entries[-1], Key.Key_Return)


def test_rows_have_their_own_ids_keys_and_mnemonics() -> None:
    assert len(ROWS) == len(ACTIONS)
    keys = [QKeySequence(k).toString() for row in ACTIONS for k in row.keys]
    assert len(keys) == len(set(keys))
    assert all(keys)
    assert all(row.tip.endswith(".") for row in ACTIONS)
    for menu in {row.menu.lstrip("-") for row in ACTIONS}:
        texts = [row.text for row in ACTIONS if row.menu.lstrip("-") == menu]
        marks = [t[t.index("&") + 1].lower() for t in texts if "&" in t]
        assert len(marks) == len(set(marks)) == len(texts), menu


@pytest.mark.parametrize("row", ACTIONS, ids=lambda row: row.id)
def test_no_row_fails_without_a_grid_or_a_set(row, qapp) -> None:  # type: ignore[no-untyped-def]
    desk = Desk()
    row.run(Window(desk, None, WorkArea(desk)))
    assert not row.enabled(desk)


@pytest.mark.parametrize("table_id", ["plate_heat_capacity", "pre_engage_fade", "hill_torque"])
def test_no_row_fails_on_any_shape(
    table_id: str, window: Window, desk: Desk, panel: GridPanel
) -> None:
    for row in ACTIONS:
        desk.open_table(table_id)
        while desk.current is not None and desk.current.undo_title:
            desk.current.undo()
        if row.enabled(desk):
            row.run(window)
            panel.strip.apply()
        assert desk.table is not None, row.id


def test_scale_asks_shows_and_applies(window: Window, desk: Desk, panel: GridPanel) -> None:
    select(desk, slice(0, 2), slice(4, 7))
    before = table(desk).values.copy()
    ROWS["values.scale"].run(window)
    assert "Scale 6 cells" in panel.strip.title.text()
    assert panel.strip.preview.text() == "Nothing changes."
    panel.strip.entries[0].setText("1,1")
    assert panel.strip.preview.text().startswith("98.5 … 161.5 → 108.35 … 177.65 N·m")
    answer(panel, "1.1")
    assert not panel.strip.isVisible()
    assert panel.view.hasFocus()
    assert np.allclose(table(desk).values[0:2, 4:7], before[0:2, 4:7] * 1.1, rtol=1e-12)
    assert desk.current.undo_title == "Scale 6 cells of Pre-engage torque by 1.1"  # type: ignore[union-attr]


def test_the_strip_refuses_in_words_and_stays(window: Window, desk: Desk, panel: GridPanel) -> None:
    before = table(desk)
    ROWS["values.set"].run(window)
    answer(panel, "1,234")
    assert panel.strip.isVisible()
    assert "thousands" in panel.strip.preview.text()
    assert table(desk) is before
    QTest.keyClick(panel.strip.entries[0], Key.Key_Escape)
    assert not panel.strip.isVisible()
    assert panel.view.hasFocus()


def test_the_strip_acts_on_what_is_selected_when_it_is_applied(
    window: Window, desk: Desk, panel: GridPanel
) -> None:
    ROWS["values.set"].run(window)
    select(desk, slice(8, 10), slice(0, 2))
    assert "4 cells" in panel.strip.title.text()
    answer(panel, "3")
    assert (table(desk).values[8:10, 0:2] == 3).all()
    assert table(desk).values[0, 0] != 3


def test_another_table_closes_the_strip(window: Window, desk: Desk, panel: GridPanel) -> None:
    ROWS["values.set"].run(window)
    desk.open_table("plate_heat_capacity")
    assert not panel.strip.isVisible()


def test_fields_name_their_unit(window: Window, desk: Desk, panel: GridPanel) -> None:
    ROWS["values.clip"].run(window)
    names = [entry.accessibleName() for entry in panel.strip.entries]
    assert names[0].endswith("from in N·m")
    assert names[1].endswith("to in N·m")
    assert [entry.text() for entry in panel.strip.entries] == ["0", "450"]


def test_offset_clip_and_ramp(window: Window, desk: Desk, panel: GridPanel) -> None:
    select(desk, slice(3, 4), slice(0, 12))
    ROWS["values.ramp"].run(window)
    answer(panel, "0", "100")
    # Pedal runs from 0 to 100 %, so that a straight line over it is the pedal itself.
    assert table(desk).values[3].tolist() == table(desk).axes[1].values.tolist()
    ROWS["values.offset"].run(window)
    answer(panel, "-5")
    assert table(desk).values[3, 0] == -5
    assert desk.current.undo_title == "Lower 12 cells of Pre-engage torque by 5 N·m"  # type: ignore[union-attr]
    ROWS["values.clip"].run(window)
    answer(panel, "0", "60")
    assert table(desk).values[3].min() == 0
    assert table(desk).values[3].max() == 60


def test_interpolations_by_hand(window: Window, desk: Desk) -> None:
    desk.open_table("hill_torque")
    # Plane 0 holds 0 20 40 / 60 80 100 / 120 140 160 / ... at pedal 0, 20, 60, ...
    desk.set_cursor((1, 1, 0))
    assert window.grid.apply(edits.empty)  # type: ignore[attr-defined]
    marks = np.zeros(table(desk).shape, dtype=bool)
    marks[1, :, 0] = True
    desk.set_selection(marks)
    ROWS["values.rows"].run(window)
    assert table(desk).values[1, :, 0].tolist() == [60, 80, 100]
    desk.set_cursor((1, 1, 0))
    window.grid.apply(edits.empty)  # type: ignore[attr-defined]
    ROWS["values.from_neighbours"].run(window)
    # Along the grade half way from 60 to 100, which is 80; along the pedal a third of the way
    # (20 of 60 %) from 20 to 140, which is 60; the mean of both is 70.
    assert table(desk).values[1, 1, 0] == 70


def test_mirror_round_and_average(window: Window, desk: Desk) -> None:
    desk.open_table("pre_engage_fade")
    before = table(desk).values.copy()
    window.grid.selectAll()  # type: ignore[attr-defined]
    ROWS["values.mirror"].run(window)
    assert np.array_equal(table(desk).values, before[::-1])
    ROWS["values.mirror_negated"].run(window)
    assert np.array_equal(table(desk).values, -before)
    desk.current.undo()  # type: ignore[union-attr]
    ROWS["values.average"].run(window)
    off = int((~table(desk).storage.representable(table(desk).values)).sum())
    assert off > 0
    ROWS["values.round"].run(window)
    assert table(desk).storage.representable(table(desk).values).all()


def test_lock_and_unlock(window: Window, desk: Desk) -> None:
    select(desk, slice(0, 2), slice(0, 2))
    ROWS["values.lock"].run(window)
    assert locked_cells(table(desk)).sum() == 4
    select(desk, slice(0, 1), slice(0, 1))
    ROWS["values.unlock"].run(window)
    assert locked_cells(table(desk)).sum() == 3


def test_breakpoints_are_inserted_and_deleted(window: Window, desk: Desk, panel: GridPanel) -> None:
    desk.set_cursor((0, 6))
    before = table(desk).values
    ROWS["axes.insert_column"].run(window)
    assert panel.strip.entries[0].text() == "45"
    assert "reads" in panel.strip.preview.text()
    answer(panel, "45")
    assert table(desk).axes[1].values[7] == 45
    desk.set_cursor((0, 7))
    ROWS["axes.delete_column"].run(window)
    assert np.array_equal(table(desk).values, before)
    ROWS["axes.insert_row"].run(window)
    answer(panel, "-35")
    assert table(desk).axes[0].values[1] == -35


def test_the_cursor_stands_on_an_inserted_breakpoint_and_stays_when_it_is_deleted(
    window: Window, desk: Desk, panel: GridPanel
) -> None:
    desk.set_cursor((3, 6))
    ROWS["axes.insert_column"].run(window)
    answer(panel, "45")
    assert desk.cursor == (3, 7)
    assert panel.view.place == (3, 7)
    assert panel.view.hasFocus()
    assert np.argwhere(desk.selection).tolist() == [[3, 7]]
    ROWS["axes.delete_column"].run(window)
    assert desk.cursor == (3, 7)
    assert 45 not in table(desk).axes[1].values


def test_what_an_operation_does_is_shown_whole(
    window: Window, desk: Desk, panel: GridPanel
) -> None:
    panel.resize(panel.width() * 9 // 10, panel.height())
    ROWS["axes.insert_column"].run(window)
    strip = panel.strip
    assert strip.preview.blank
    assert strip.details.text() == strip.preview.text()
    assert strip.details.isVisible()
    strip.close_strip()
    ROWS["values.scale"].run(window)
    assert not strip.preview.blank
    assert strip.details.isHidden()


def test_repeated_steps_through_the_menu_are_single_steps(window: Window, desk: Desk) -> None:
    start = table(desk).values[0, 0]
    ROWS["values.step_up"].run(window)
    ROWS["values.step_up"].run(window)
    desk.current.undo()  # type: ignore[union-attr]
    assert table(desk).values[0, 0] == start + 0.5


def test_a_grid_that_is_only_looked_at_says_so(desk: Desk, qtbot) -> None:  # type: ignore[no-untyped-def]
    source = GridSource(table(desk))
    panel = GridPanel(source)
    qtbot.addWidget(panel)
    heard: list[tuple[str, bool]] = []
    source.told.connect(lambda text, refused: heard.append((text, refused)))
    number = count(1)
    for row in ("values.set", "values.fill_down", "edit.empty", "edit.paste", "axes.move_column"):
        ROWS[row].run(Window(desk, panel.view, WorkArea(desk)))
        assert len(heard) == next(number)
        assert heard[-1][1]
    panel.view.go(2, 3)
    assert source.cursor == (2, 3)
    assert source.selection.sum() == 1
    assert desk.cursor == (0, 0)


def test_the_action_that_the_document_shows_works(desk: Desk, window: Window) -> None:
    text = (Path(__file__).resolve().parents[2] / "DEVELOPERS.md").read_text("utf-8")
    found = re.search(
        r"```python\n# app/tune/values_actions\.py, in ACTIONS\n(.*?)```", text, re.DOTALL
    )
    assert found is not None
    row = eval(f"({found[1]})", vars(values_actions))[0]  # with the comma that a row ends with
    assert clashes((*all_actions(), row)) == []
    select(desk, slice(1, 3), slice(2, 4))
    before = table(desk).values.copy()
    row.run(window)
    before[1:3, 2:4] *= 0.5
    assert table(desk).values == pytest.approx(before, abs=0.26)  # to the storage's raster
