"""The grid by keyboard, with real key events: moving, selecting, editing."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QKeyEvent, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QVBoxLayout, QWidget

from app.desk import Desk
from app.grid.panel import GridPanel
from calib_model.core.table import Table
from calib_model.editing.change import values_change
from calib_model.editing.lock_changes import set_locks

Key, Held = Qt.Key, Qt.KeyboardModifier
CTRL, SHIFT, ALT = Held.ControlModifier, Held.ShiftModifier, Held.AltModifier
CTRL_SHIFT = CTRL | SHIFT


def press(panel: GridPanel, key: Qt.Key, held: Held = Held.NoModifier) -> None:
    """Press a key where the focus is."""
    target = panel.view.editor or panel.view
    QTest.keyClick(target, key, held)


def type_text(panel: GridPanel, text: str) -> None:
    """Type text where the focus is."""
    for letter in text:
        QTest.keyClicks(panel.view.editor or panel.view, letter)


def table(desk: Desk) -> Table:
    """The table in work."""
    assert desk.table is not None
    return desk.table


def chosen(desk: Desk) -> list[list[int]]:
    """The selected cells."""
    return np.argwhere(desk.selection).tolist()


# -- moving and selecting ------------------------------------------------------------------------


def test_arrows_move_the_shared_cursor(panel: GridPanel, desk: Desk) -> None:
    for key in (Key.Key_Down, Key.Key_Down, Key.Key_Right, Key.Key_Up, Key.Key_Left, Key.Key_Left):
        press(panel, key)
    assert desk.cursor == (1, 0)
    assert chosen(desk) == [[1, 0]]


def test_the_grid_follows_the_desk(panel: GridPanel, desk: Desk) -> None:
    marks = np.zeros(table(desk).shape, dtype=bool)
    marks[2:4, 5:7] = True
    desk.set_cursor((3, 6), keep_selection=True)
    desk.set_selection(marks)
    assert (panel.view.currentIndex().row(), panel.view.currentIndex().column()) == (3, 6)
    assert np.array_equal(panel.view.selected_marks(), marks)
    assert len(panel.view.selectionModel().selection()) == 1


def test_enter_and_tab_move_and_stop_at_edges(panel: GridPanel, desk: Desk) -> None:
    press(panel, Key.Key_Return)
    press(panel, Key.Key_Tab)
    press(panel, Key.Key_Return)
    assert desk.cursor == (2, 1)
    press(panel, Key.Key_Return, SHIFT)
    press(panel, Key.Key_Backtab)
    assert desk.cursor == (1, 0)
    press(panel, Key.Key_End, CTRL)
    press(panel, Key.Key_Return)
    assert desk.cursor == (9, 11)


def test_tab_leaves_the_grid_at_its_edge(desk: Desk, qtbot) -> None:  # type: ignore[no-untyped-def]
    window = QWidget()
    column = QVBoxLayout(window)
    before, after = QLineEdit(), QLineEdit()
    panel = GridPanel(desk)
    for widget in (before, panel, after):
        column.addWidget(widget)
    qtbot.addWidget(window)
    window.show()
    qtbot.waitExposed(window)
    window.activateWindow()
    panel.view.setFocus()
    qtbot.waitUntil(panel.view.hasFocus)
    press(panel, Key.Key_End)
    assert desk.cursor == (0, 11)
    press(panel, Key.Key_Tab)
    assert after.hasFocus()
    panel.view.setFocus()
    press(panel, Key.Key_Home)
    press(panel, Key.Key_Backtab)
    assert before.hasFocus()


def test_enter_walks_along_a_curve(panel: GridPanel, desk: Desk) -> None:
    desk.open_table("pre_engage_fade")
    press(panel, Key.Key_Return)
    press(panel, Key.Key_Return)
    assert desk.cursor == (2,)
    press(panel, Key.Key_Return, SHIFT)
    assert desk.cursor == (1,)


def test_control_jumps_and_shift_extends(panel: GridPanel, desk: Desk) -> None:
    desk.set_cursor((4, 4))
    press(panel, Key.Key_Down, CTRL)
    assert desk.cursor == (9, 4)
    press(panel, Key.Key_Up, SHIFT)
    press(panel, Key.Key_Right, SHIFT)
    assert chosen(desk) == [[8, 4], [8, 5], [9, 4], [9, 5]]
    assert desk.cursor == (8, 5)
    press(panel, Key.Key_Left, CTRL_SHIFT)
    assert desk.cursor == (8, 0)
    assert desk.selection.sum() == 10
    press(panel, Key.Key_Home, CTRL)
    press(panel, Key.Key_End, CTRL_SHIFT)
    assert desk.selection.all()


def test_control_a_selects_all(panel: GridPanel, desk: Desk) -> None:
    press(panel, Key.Key_A, CTRL)
    assert desk.selection.all()
    press(panel, Key.Key_Down)
    assert chosen(desk) == [[1, 0]]


def test_shift_click_extends_from_the_cursor(panel: GridPanel, desk: Desk) -> None:
    view = panel.view
    view.go(1, 1)
    place = view.visualRect(view.grid.index(3, 2)).center()
    QTest.mouseClick(view.viewport(), Qt.MouseButton.LeftButton, SHIFT, place)
    assert desk.selection.sum() == 6
    QTest.mouseClick(view.viewport(), Qt.MouseButton.LeftButton, Held.NoModifier, place)
    assert chosen(desk) == [[3, 2]]


def test_selecting_a_column_by_its_header(panel: GridPanel, desk: Desk) -> None:
    header = panel.view.horizontalHeader()
    at = QPoint(header.sectionViewportPosition(3) + 8, header.height() - 6)
    QTest.mouseClick(header.viewport(), Qt.MouseButton.LeftButton, Held.NoModifier, at)
    assert desk.selection[:, 3].all()
    assert desk.selection.sum() == 10


def test_planes_are_changed_by_keys_and_follow_the_cursor(panel: GridPanel, desk: Desk) -> None:
    desk.open_table("hill_torque_by_load")
    press(panel, Key.Key_Right)
    press(panel, Key.Key_PageDown, ALT)
    press(panel, Key.Key_PageDown, ALT)
    press(panel, Key.Key_PageDown, ALT | SHIFT)
    assert desk.cursor == (0, 1, 2, 1)
    assert [choice.currentIndex() for choice in panel.bar.choices] == [2, 1]
    assert panel.view.currentIndex().data() == "13"
    press(panel, Key.Key_PageUp, ALT)
    assert desk.cursor == (0, 1, 1, 1)
    panel.bar.choices[0].setCurrentIndex(3)
    assert desk.cursor == (0, 1, 3, 1)
    assert chosen(desk) == [[0, 1, 3, 1]]


# -- editing -------------------------------------------------------------------------------------


def test_typing_replaces_and_enter_goes_down(panel: GridPanel, desk: Desk) -> None:
    type_text(panel, "215")
    press(panel, Key.Key_Return)
    assert table(desk).values[0, 0] == 215
    assert desk.cursor == (1, 0)
    assert desk.current.undo_title == "Set 215 N·m at −40 °C, 0 %"  # type: ignore[union-attr]
    assert panel.view.hasFocus()


def test_a_negative_number_can_be_typed(panel: GridPanel, desk: Desk) -> None:
    desk.open_table("wiper_factor")
    type_text(panel, "-1,5")
    press(panel, Key.Key_Tab)
    assert table(desk).values[0, 0] == -1.5
    assert desk.cursor == (0, 1)


def test_f2_edits_the_exact_text_and_escape_leaves_it(panel: GridPanel, desk: Desk) -> None:
    desk.open_table("wiper_factor")
    values = table(desk).values.copy()
    values[0, 0] = 0.123456789
    desk.do(values_change(table(desk), values, "Set"))
    before = table(desk)
    press(panel, Key.Key_F2)
    assert panel.view.editor is not None
    assert panel.view.editor.text() == "0.123456789"
    press(panel, Key.Key_Return)
    assert table(desk) is before
    press(panel, Key.Key_Up)
    press(panel, Key.Key_F2)
    type_text(panel, "7")
    press(panel, Key.Key_Escape)
    assert table(desk) is before
    assert panel.view.editor is None
    assert panel.view.hasFocus()


def test_a_refused_text_stays_in_its_editor(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    before = table(desk)
    type_text(panel, "1,234")
    press(panel, Key.Key_Return)
    assert panel.view.editor is not None
    assert panel.view.editor.text() == "1,234"
    assert table(desk) is before
    assert "thousands" in told[-1][0]
    assert told[-1][1]
    type_text(panel, "1.234")  # it was selected: typing replaces it
    press(panel, Key.Key_Return)
    assert table(desk).values[0, 0] == 1.234


def test_control_enter_fills_the_selection(panel: GridPanel, desk: Desk) -> None:
    desk.set_cursor((2, 2))
    press(panel, Key.Key_Down, SHIFT)
    press(panel, Key.Key_Right, SHIFT)
    type_text(panel, "60")
    press(panel, Key.Key_Return, CTRL)
    assert (table(desk).values[2:4, 2:4] == 60).all()
    assert desk.selection.sum() == 4
    assert (
        desk.current.undo_title == "Set 4 cells of Pre-engage torque to 60 N·m"  # type: ignore[union-attr]
    )
    desk.current.undo()  # type: ignore[union-attr]
    assert not (table(desk).values[2:4, 2:4] == 60).any()


def test_leaving_the_editor_takes_what_was_typed(
    panel: GridPanel,
    desk: Desk,
    told: list[tuple[str, bool]],
    qtbot,  # type: ignore[no-untyped-def]
) -> None:
    type_text(panel, "33")
    panel.view.go(4, 4)
    panel.view.setFocus()
    qtbot.waitUntil(lambda: panel.view.editor is None)
    assert table(desk).values[0, 0] == 33  # and not at the cell where the cursor is by now
    type_text(panel, "abc")
    QApplication.sendEvent(panel.view.editor, _focus_out())
    assert panel.view.editor is None
    assert told[-1][1]
    assert table(desk).values[4, 4] != 33


def _focus_out() -> QEvent:
    from PySide6.QtGui import QFocusEvent

    return QFocusEvent(QEvent.Type.FocusOut, Qt.FocusReason.OtherFocusReason)


def test_delete_empties_and_says_that_this_is_not_zero(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    press(panel, Key.Key_Right, SHIFT)
    press(panel, Key.Key_Delete)
    assert np.isnan(table(desk).values[0, :2]).all()
    assert np.isfinite(table(desk).values[0, 2:]).all()
    assert "Empty 2 cells of Pre-engage torque" in told[-1][0]
    assert "not zero" in told[-1][0]
    desk.current.undo()  # type: ignore[union-attr]
    assert np.isfinite(table(desk).values).all()


def test_fill_down_and_right(panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]) -> None:
    desk.set_cursor((1, 1))
    press(panel, Key.Key_Down, SHIFT)
    press(panel, Key.Key_Down, SHIFT)
    press(panel, Key.Key_D, CTRL)
    assert len(set(table(desk).values[1:4, 1].tolist())) == 1
    desk.set_cursor((5, 1))
    press(panel, Key.Key_Right, SHIFT)
    press(panel, Key.Key_R, CTRL)
    assert table(desk).values[5, 1] == table(desk).values[5, 2]
    desk.set_cursor((6, 6))
    press(panel, Key.Key_D, CTRL)
    assert told[-1][1]
    assert told[-1][0].startswith("One cell is selected, so there is nothing to fill.")


def test_steps_are_storage_steps_and_a_held_key_is_one_undo(panel: GridPanel, desk: Desk) -> None:
    desk.set_cursor((3, 6))
    start = table(desk).values[3, 6]
    for repeated in (False, True, True, True):
        event = QKeyEvent(QEvent.Type.KeyPress, Key.Key_Up, ALT, "", repeated)
        QApplication.sendEvent(panel.view, event)
    assert table(desk).values[3, 6] == start + 4 * 0.5
    press(panel, Key.Key_Down, ALT)
    press(panel, Key.Key_Down, ALT | SHIFT)
    assert table(desk).values[3, 6] == start + 2.0 - 0.5 - 5.0
    document = desk.current
    assert document is not None
    for expected in (start + 1.5, start + 2.0, start):
        document.undo()
        assert table(desk).values[3, 6] == expected


def test_values_beyond_limits_or_off_the_raster_are_taken_and_told(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    type_text(panel, "460")
    press(panel, Key.Key_Return)
    assert table(desk).values[0, 0] == 460
    assert "outside the limits 0 to 450 N·m" in told[-1][0]
    type_text(panel, "215.3")
    press(panel, Key.Key_Return)
    assert table(desk).values[1, 0] == 215.3
    assert "nearest are 215 and 215.5 N·m" in told[-1][0]


def test_a_locked_cell_says_so_before_one_types(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    desk.do(lambda: set_locks(table(desk), desk.selection, True))
    type_text(panel, "5")
    assert panel.view.editor is None
    assert "locked" in told[-1][0]
    press(panel, Key.Key_Delete)
    assert np.isfinite(table(desk).values[0, 0])


def test_the_wheel_changes_nothing(panel: GridPanel, desk: Desk) -> None:
    desk.open_table("hill_torque")
    before, cursor = table(desk), desk.cursor
    press(panel, Key.Key_F2)
    for target in (panel.view.editor, panel.view.viewport(), panel.bar.choices[0]):
        assert target is not None
        event = QWheelEvent(
            QPointF(5, 5), QPointF(5, 5), QPoint(0, 0), QPoint(0, 120), Qt.MouseButton.NoButton,
            Held.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
        )  # fmt: skip
        QApplication.sendEvent(target, event)
    press(panel, Key.Key_Escape)
    assert table(desk) is before
    assert desk.cursor == cursor


def test_control_enter_without_typing_explains_itself(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    before = table(desk)
    press(panel, Key.Key_Return, CTRL)
    assert table(desk) is before
    assert told[-1][0].startswith("Type a value first")


@pytest.mark.parametrize(
    ("key", "held"),
    [(Key.Key_C, CTRL), (Key.Key_D, CTRL), (Key.Key_F2, Held.NoModifier), (Key.Key_Up, ALT),
     (Key.Key_Delete, Held.NoModifier), (Key.Key_5, Held.NoModifier)],
)  # fmt: skip
def test_own_keys_do_not_trigger_menus_while_the_grid_has_the_focus(
    panel: GridPanel, key: Qt.Key, held: Held
) -> None:
    text = "5" if key == Key.Key_5 else ""
    event = QKeyEvent(QEvent.Type.ShortcutOverride, key, held, text)
    event.ignore()
    QApplication.sendEvent(panel.view, event)
    assert event.isAccepted()


@pytest.mark.parametrize(
    ("key", "held"), [(Key.Key_Z, CTRL), (Key.Key_S, CTRL), (Key.Key_F, CTRL), (Key.Key_K, CTRL),
                      (Key.Key_PageDown, CTRL), (Key.Key_F6, Held.NoModifier)]
)  # fmt: skip
def test_other_keys_are_left_to_the_menus(panel: GridPanel, key: Qt.Key, held: Held) -> None:
    event = QKeyEvent(QEvent.Type.ShortcutOverride, key, held)
    event.ignore()
    QApplication.sendEvent(panel.view, event)
    assert not event.isAccepted()


def test_backspace_starts_an_empty_entry_and_empty_entries_are_not_taken(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    before = table(desk)
    press(panel, Key.Key_Backspace)
    assert panel.view.editor is not None
    assert panel.view.editor.text() == ""
    press(panel, Key.Key_Return)
    assert told[-1][1]
    assert "Type a number" in told[-1][0]
    assert table(desk) is before


def test_an_entry_lost_to_another_table_is_said(
    panel: GridPanel, desk: Desk, told: list[tuple[str, bool]]
) -> None:
    type_text(panel, "77")
    desk.open_table("pre_engage_fade")
    assert panel.view.editor is None
    assert told == [("'77' was not taken: the table changed meanwhile.", True)]
    assert desk.current.undo_title == ""  # type: ignore[union-attr]


def test_the_whole_map_fits_where_it_can(panel: GridPanel, desk: Desk) -> None:
    view = panel.view
    for width in (1000, 760):
        panel.resize(width, 330)
        assert not view.horizontalScrollBar().isVisible(), width
    panel.resize(400, 150)
    QApplication.processEvents()  # Qt shows a scroll bar only then
    assert view.horizontalScrollBar().isVisible()
    desk.set_cursor((9, 11))
    seen = view.viewport().rect().intersects(view.visualRect(view.currentIndex()))
    assert seen


def test_without_a_table_the_grid_takes_keys_and_shows_words(qtbot) -> None:  # type: ignore[no-untyped-def]
    panel = GridPanel(Desk())
    qtbot.addWidget(panel)
    panel.show()
    for key, held in ((Key.Key_Delete, Held.NoModifier), (Key.Key_5, Held.NoModifier),
                      (Key.Key_V, CTRL), (Key.Key_Down, CTRL), (Key.Key_Up, ALT)):  # fmt: skip
        QTest.keyClick(panel.view, key, held)
    panel.grab()
    assert panel.view.editor is None
    assert panel.view.accessibleName() == "No table"


# -- room ----------------------------------------------------------------------------------------


def test_longer_texts_keep_the_cursor_in_sight_and_give_the_room_back(
    panel: GridPanel,
    desk: Desk,
    qtbot,  # type: ignore[no-untyped-def]
) -> None:
    view = panel.view
    panel.resize(view.verticalHeader().width() + 12 * 50, 400)
    QApplication.processEvents()
    narrow = view.columnWidth(0)
    type_text(panel, "1.2345678901234")
    press(panel, Key.Key_Return)
    assert view.columnWidth(0) > narrow
    press(panel, Key.Key_End, CTRL)
    assert view.viewport().rect().contains(view.visualRect(view.currentIndex()))
    desk.current.undo()  # type: ignore[union-attr]
    qtbot.waitUntil(lambda: view.columnWidth(0) == narrow)


def test_esc_takes_the_refusal_of_the_typed_text_away(
    panel: GridPanel, told: list[tuple[str, bool]]
) -> None:
    type_text(panel, "abc")
    press(panel, Key.Key_Return)
    assert told[-1][1]
    press(panel, Key.Key_Escape)
    assert told[-1] == ("", False)


def test_cursor_and_selection_outlive_a_change_of_axes_or_rules(
    panel: GridPanel, desk: Desk
) -> None:
    desk.set_cursor((3, 4))
    desk.table_changed.emit()
    assert panel.view.place == (3, 4)
    assert panel.view.currentIndex().isValid()
    assert panel.view.selected_marks().sum() == 1
    press(panel, Key.Key_F2)
    assert panel.view.editor is not None
