"""Breakpoints edited in the headers, by key and by pointer."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

from app.desk import Desk
from app.grid.headers import edit_breakpoint
from app.grid.panel import GridPanel
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.lookup import lookup
from calib_model.session.document import Document

Key = Qt.Key
CTRL, SHIFT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier
ACROSS, DOWN = Qt.Orientation.Horizontal, Qt.Orientation.Vertical


def table(desk: Desk) -> Table:
    assert desk.table is not None
    return desk.table


def editor(panel: GridPanel, *, across: bool):  # type: ignore[no-untyped-def]
    header = panel.view.horizontalHeader() if across else panel.view.verticalHeader()
    return header.editor


def test_shift_f2_moves_the_columns_breakpoint_and_keeps_what_is_read(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    before = table(desk)
    desk.set_cursor((3, 6))
    QTest.keyClick(panel.view, Key.Key_F2, SHIFT)
    open_editor = editor(panel, across=True)
    assert open_editor.text() == "40"
    assert open_editor.accessibleName() == "New breakpoint for Pedal 40 %"
    QTest.keyClicks(open_editor, "45")
    QTest.keyClick(open_editor, Key.Key_Return)
    after = table(desk)
    assert after.axes[1].values[6] == 45
    assert editor(panel, across=True) is None
    assert panel.view.hasFocus()
    at = ([-10.0], [45.0])
    # Half a storage step is what rounding to the raster may move it.
    assert abs(lookup(after, at) - lookup(before, at))[0] <= 0.25
    assert "reads up to" in told[-1][0]
    assert panel.view.grid.headerData(6, ACROSS) == "45"


def test_control_f2_and_shift_enter_move_a_row_with_its_values(
    panel: GridPanel, desk: Desk
) -> None:
    before = table(desk).values
    QTest.keyClick(panel.view, Key.Key_F2, CTRL)
    open_editor = editor(panel, across=False)
    assert open_editor.text() == "-40"
    QTest.keyClicks(open_editor, "-38")
    QTest.keyClick(open_editor, Key.Key_Return, SHIFT)
    assert table(desk).axes[0].values[0] == -38
    assert np.array_equal(table(desk).values, before)


def test_escape_leaves_the_breakpoint(panel: GridPanel, desk: Desk) -> None:
    before = table(desk)
    QTest.keyClick(panel.view, Key.Key_F2, SHIFT)
    open_editor = editor(panel, across=True)
    QTest.keyClicks(open_editor, "3")
    QTest.keyClick(open_editor, Key.Key_Escape)
    assert table(desk) is before
    assert panel.view.hasFocus()


@pytest.mark.parametrize(("text", "word"), [("12", "rise"), ("1,234", "thousands"), ("x", "'x'")])
def test_a_refused_breakpoint_stays_in_its_editor(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]], text: str, word: str
) -> None:
    before = table(desk)
    QTest.keyClick(panel.view, Key.Key_F2, SHIFT)
    open_editor = editor(panel, across=True)
    QTest.keyClicks(open_editor, text)
    QTest.keyClick(open_editor, Key.Key_Return)
    assert editor(panel, across=True) is open_editor
    assert table(desk) is before
    assert told[-1][1]
    assert word in told[-1][0]


def test_escape_after_a_refusal_leaves_the_cursor_where_it_was(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    desk.set_cursor((3, 6))
    QTest.keyClick(panel.view, Key.Key_F2, SHIFT)
    open_editor = editor(panel, across=True)
    QTest.keyClicks(open_editor, "-15")
    QTest.keyClick(open_editor, Key.Key_Return)
    assert told[-1][1]
    QTest.keyClick(open_editor, Key.Key_Escape)
    assert panel.view.hasFocus()
    assert desk.cursor == (3, 6)
    assert told[-1] == ("", False)


def test_a_double_click_on_a_breakpoint_edits_it(panel: GridPanel) -> None:
    header = panel.view.horizontalHeader()
    at = QPoint(header.sectionViewportPosition(2) + 9, header.height() - 8)
    QTest.mouseDClick(header.viewport(), Qt.MouseButton.LeftButton, pos=at)
    assert editor(panel, across=True).text() == "10"


def test_a_table_without_that_axis_says_so(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    desk.open_table("pre_engage_fade")
    QTest.keyClick(panel.view, Key.Key_F2, CTRL)
    assert told[-1] == ("This table has no axis that runs down.", True)


def test_a_shared_axis_is_said_to_be_shared(qtbot) -> None:  # type: ignore[no-untyped-def]
    shared = Axis([0.0, 50.0, 100.0], "Vehicle speed", "km/h", shared="speed")
    desk = Desk()
    desk.add(
        Document(
            CalibrationSet(
                [Table("a", [1.0, 2, 3], (shared,)), Table("b", [4.0, 5, 6], (shared,))], [shared]
            )
        )
    )
    heard: list[str] = []
    desk.told.connect(lambda text, _refused: heard.append(text))
    panel = GridPanel(desk)
    qtbot.addWidget(panel)
    panel.show()
    edit_breakpoint(panel.view, ACROSS)
    assert "all its 2 tables follow" in heard[-1]
    assert panel.view.horizontalHeader().move_breakpoint(1, "60")
    content = desk.current.content  # type: ignore[union-attr]
    assert [content[id].axes[0].values[1] for id in ("a", "b")] == [60, 60]


def test_the_corner_names_the_axis_and_selects_all(panel: GridPanel, desk: Desk) -> None:
    corner = panel.view._corner
    assert corner.toolTip().startswith("Ambient temperature (°C)")
    QTest.mouseClick(corner, Qt.MouseButton.LeftButton)
    assert desk.selection.all()
