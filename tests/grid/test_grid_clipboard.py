"""Copy and paste: what a spreadsheet gets, whole or not at all, decimal commas, axes."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from PySide6.QtCore import QLocale, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtTest import QTest

from app.desk import Desk
from app.grid import clipboard, edits
from app.grid.clipboard import pasted
from app.grid.panel import GridPanel
from app.grid.plane import Plane
from calib_model.core.table import Table
from calib_model.editing.change import apply, table_change
from calib_model.editing.lock_changes import set_locks
from calib_model.errors import EditRefused

CTRL = Qt.KeyboardModifier.ControlModifier
CTRL_SHIFT = CTRL | Qt.KeyboardModifier.ShiftModifier


@pytest.fixture(autouse=True)
def point_locale():  # type: ignore[no-untyped-def]
    before = QLocale()
    QLocale.setDefault(QLocale.c())
    yield
    QLocale.setDefault(before)


def table(desk: Desk) -> Table:
    assert desk.table is not None
    return desk.table


def select(desk: Desk, rows: slice, columns: slice) -> None:
    marks = np.zeros(table(desk).shape, dtype=bool)
    marks[rows, columns] = True
    desk.set_cursor((rows.start, columns.start), keep_selection=True)
    desk.set_selection(marks)


def put(text: str) -> None:
    QGuiApplication.clipboard().setText(text)


def taken() -> str:
    return QGuiApplication.clipboard().text()


def paste(panel: GridPanel) -> None:
    QTest.keyClick(panel.view, Qt.Key.Key_V, CTRL)


def test_a_copied_block_is_read_by_pandas(panel: GridPanel, desk: Desk) -> None:
    select(desk, slice(1, 4), slice(2, 6))
    QTest.keyClick(panel.view, Qt.Key.Key_C, CTRL)
    read = pd.read_csv(io.StringIO(taken()), sep="\t", header=None).to_numpy()
    assert np.array_equal(read, table(desk).values[1:4, 2:6])


def test_a_copy_with_axes_carries_breakpoints(panel: GridPanel, desk: Desk) -> None:
    select(desk, slice(1, 4), slice(2, 6))
    QTest.keyClick(panel.view, Qt.Key.Key_C, CTRL_SHIFT)
    read = pd.read_csv(io.StringIO(taken()), sep="\t", index_col=0)
    assert read.index.name == "Ambient temperature (°C) \\ Pedal (%)"
    assert read.index.tolist() == [-30, -20, -10]
    assert [float(c) for c in read.columns] == [10, 15, 20, 30]
    assert np.array_equal(read.to_numpy(), table(desk).values[1:4, 2:6])


@pytest.mark.parametrize("with_axes", [False, True])
def test_copy_and_paste_give_the_same_values_to_the_last_bit(
    panel: GridPanel, desk: Desk, with_axes: bool
) -> None:
    desk.open_table("wiper_factor")
    noise = np.random.default_rng(5).normal(size=table(desk).shape)
    change, _ = pasted(
        table(desk), Plane(table(desk).shape), np.ones_like(noise, dtype=bool), _text(noise)
    )
    desk.do(change)
    assert np.array_equal(table(desk).values, noise)
    panel.view.selectAll()
    clipboard.copy(panel.view, with_axes=with_axes)
    panel.view.apply(edits.empty)
    assert np.isnan(table(desk).values).all()
    paste(panel)
    assert np.array_equal(table(desk).values, noise)


def _text(values: np.ndarray) -> str:
    return "\n".join("\t".join(repr(float(v)) for v in row) for row in values)


def test_one_value_fills_the_selection(panel: GridPanel, desk: Desk) -> None:
    select(desk, slice(2, 5), slice(1, 3))
    put("77,5\r\n")
    paste(panel)
    assert (table(desk).values[2:5, 1:3] == 77.5).all()
    assert desk.selection.sum() == 6


def test_a_block_starts_at_the_cell_and_is_one_undo_step(panel: GridPanel, desk: Desk) -> None:
    before = table(desk)
    desk.set_cursor((3, 4))
    put("1\t2\t3\n4\t5\t6\n")
    paste(panel)
    assert table(desk).values[3:5, 4:7].tolist() == [[1, 2, 3], [4, 5, 6]]
    assert desk.selection.sum() == 6
    assert desk.current.undo_title == "Paste into 6 cells of Pre-engage torque"  # type: ignore[union-attr]
    desk.current.undo()  # type: ignore[union-attr]
    assert table(desk) == before


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1\tabc\nx\t4", ["line 1, column 2", "'abc'", "line 2, column 1", "'x'"]),
        ("1\t2\n3", ["line 2, column 2", "missing"]),
        ("1\t\n3\t4", ["line 1, column 2", "empty"]),
        ("1\t2\n1.234,5\t4", ["thousands"]),
        ("", ["nothing to paste"]),
    ],
)
def test_one_bad_cell_refuses_the_whole_paste(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]], text: str, words: list[str]
) -> None:
    before = table(desk)
    put(text)
    paste(panel)
    assert table(desk) is before
    assert told[-1][1]
    said = told[-1][0]
    if panel.strip.isVisible():  # the cells are listed where there is room for the list
        said += panel.strip.details.text()
    for word in words:
        assert word in said


def test_the_list_of_refused_cells_is_wrapped_and_closed_by_enter(
    panel: GridPanel, desk: Desk
) -> None:
    put("1\tabc\nx\t4")
    paste(panel)
    assert panel.strip.details.wordWrap()
    assert len(panel.strip.details.text().splitlines()) == 2
    assert panel.strip.apply_button.isHidden()
    QTest.keyClick(panel.strip.close_button, Qt.Key.Key_Return)
    assert not panel.strip.isVisible()
    assert panel.view.hasFocus()


def test_commas_are_not_asked_about_where_the_answer_would_not_help(
    panel: GridPanel, desk: Desk
) -> None:
    put("1,234\tx\n3,5\t\n")
    paste(panel)
    assert panel.strip.question is None
    assert "'x'" in panel.strip.details.text()


def test_a_block_of_another_shape_or_beyond_the_edge_is_refused(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    before = table(desk)
    select(desk, slice(0, 2), slice(0, 2))
    put("1\t2\t3\n4\t5\t6")
    paste(panel)
    assert "2 × 3" in told[-1][0]
    assert "2 × 2" in told[-1][0]
    desk.set_cursor((9, 11))
    paste(panel)
    assert "does not fit" in told[-1][0]
    assert table(desk) is before


def test_commas_in_doubt_are_asked_about_and_never_guessed(
    panel: GridPanel,
    desk: Desk,
    qtbot,  # type: ignore[no-untyped-def]
) -> None:
    before = table(desk)
    put("1,234\t2,500\n")
    paste(panel)
    assert table(desk) is before
    assert panel.strip.isVisible()
    assert "decimal" in panel.strip.title.text()
    QTest.keyClick(panel.strip, Qt.Key.Key_Escape)
    assert not panel.strip.isVisible()
    assert table(desk) is before
    paste(panel)
    QTest.keyClick(panel.strip.apply_button, Qt.Key.Key_Return)
    assert table(desk).values[0, :2].tolist() == [1.234, 2.5]
    assert panel.view.hasFocus()


def test_a_comma_system_gets_commas_and_reads_its_own_copy(panel: GridPanel, desk: Desk) -> None:
    QLocale.setDefault(QLocale(QLocale.Language.German))
    desk.open_table("pre_engage_fade")
    panel.view.selectAll()
    clipboard.copy(panel.view)
    assert taken().startswith("1\t0,992\t0,972")
    before = table(desk).values
    panel.view.apply(edits.empty)
    paste(panel)
    assert np.array_equal(table(desk).values, before)


def test_a_block_with_axes_lands_on_its_breakpoints(panel: GridPanel, desk: Desk) -> None:
    put("\t15\t20\n-10\t1\t2\n0\t3\t4\n")
    desk.set_cursor((0, 0))
    paste(panel)
    assert table(desk).values[3:5, 3:5].tolist() == [[1, 2], [3, 4]]
    assert np.argwhere(desk.selection).tolist() == [[3, 3], [3, 4], [4, 3], [4, 4]]


def test_a_block_for_other_breakpoints_is_refused(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    before = table(desk)
    put("\t15\t25\n-10\t1\t2\n0\t3\t4\n")
    paste(panel)
    assert table(desk) is before
    assert "25" in told[-1][0]
    assert "Pedal" in told[-1][0]


def test_a_column_is_laid_along_a_curve(panel: GridPanel, desk: Desk) -> None:
    desk.open_table("pre_engage_fade")
    desk.set_cursor((2,))
    put("0.5\n0.4\n0.3\n")
    paste(panel)
    assert table(desk).values[2:5].tolist() == [0.5, 0.4, 0.3]


def test_a_paste_goes_into_the_plane_that_is_shown(panel: GridPanel, desk: Desk) -> None:
    desk.open_table("hill_torque", (1, 1, 2))
    before = table(desk).values
    put("1\t2\n3\t4")
    paste(panel)
    after = table(desk).values
    assert after[1:3, 1:3, 2].tolist() == [[1, 2], [3, 4]]
    assert int((after != before).sum()) == 4


def test_locked_cells_are_left_and_told(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    desk.do(lambda: set_locks(table(desk), desk.selection, True))
    held = table(desk).values[0, 0]
    put("1\t2")
    paste(panel)
    assert table(desk).values[0, :2].tolist() == [held, 2]
    assert "1 locked cell was left" in told[-1][0]


def test_a_pasted_empty_cell_is_said(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    put("1\tnan")
    paste(panel)
    assert np.isnan(table(desk).values[0, 1])
    assert "1 of them is empty now, which is not zero" in told[-1][0]


def test_cutting_leaves_empty_cells(panel: GridPanel, desk: Desk) -> None:
    before = table(desk).values[0, 0]
    QTest.keyClick(panel.view, Qt.Key.Key_X, CTRL)
    assert np.isnan(table(desk).values[0, 0])
    assert float(taken()) == before


def test_a_selection_with_holes_is_not_copied(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    marks = np.zeros(table(desk).shape, dtype=bool)
    marks[0, 0] = marks[2, 2] = True
    desk.set_selection(marks)
    put("before")
    clipboard.copy(panel.view)
    assert taken() == "before"
    assert "not one rectangle" in told[-1][0]


def test_a_block_is_added(panel: GridPanel, desk: Desk) -> None:
    before = table(desk).values[0, :2].tolist()
    put("1\t2.5")
    clipboard.paste(panel.view, add=True)
    assert table(desk).values[0, :2].tolist() == [before[0] + 1, before[1] + 2.5]
    select(desk, slice(4, 6), slice(0, 1))
    before = table(desk).values[4:6, 0].tolist()
    put("10")
    clipboard.paste(panel.view, add=True)
    assert table(desk).values[4:6, 0].tolist() == [v + 10 for v in before]


def test_a_read_only_grid_pastes_nothing(desk: Desk) -> None:
    with pytest.raises(EditRefused, match="nothing to paste"):
        pasted(table(desk), Plane.at(table(desk), (0, 0)), desk.selection, "\n\n")


def test_the_change_is_applied_by_the_model_alone(desk: Desk) -> None:
    content = desk.current.content  # type: ignore[union-attr]
    change, where = pasted(table(desk), Plane.at(table(desk), (0, 0)), desk.selection, "5")
    assert apply(content, change)["pre_engage_torque"].values[0, 0] == 5
    assert where.sum() == 1


def test_labels_are_pasted_for_the_numbers_they_stand_for(desk: Desk) -> None:
    named = replace(table(desk), values=np.zeros(table(desk).shape), labels="0 no, 1 yes")
    desk.do(table_change(table(desk), named, "Name"))
    chosen = np.zeros(named.shape, dtype=bool)
    chosen[0, 0] = True
    change, where = pasted(named, Plane.at(named, (0, 0)), chosen, "Yes\tno\n1\tyes\n")
    assert int(where.sum()) == 4
    desk.do(change)
    assert table(desk).values[:2, :2].tolist() == [[1, 0], [1, 1]]
    with pytest.raises(EditRefused, match="'maybe' is not a number"):
        pasted(named, Plane.at(named, (0, 0)), chosen, "maybe")
