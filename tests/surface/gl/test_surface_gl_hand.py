"""The surface in a real window: picked, dragged, seen from other sides."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.plots.surface.camera import Look
from app.plots.surface.view import SurfaceView
from calib_model.editing.lock_changes import with_locks
from tests.surface.gl_hand import (
    LEFT,
    NONE,
    drag,
    grabbed,
    let_go,
    move,
    place,
    press,
    settle,
    shown,
)
from tests.surface.surface_maps import VALUES, desk_with, uneven

pytestmark = pytest.mark.gl


# -- pointer -----------------------------------------------------------------------------------


def test_a_click_picks_the_node(view: SurfaceView, desk: Desk) -> None:
    at = place(view, (2, 3))
    press(view, at)
    let_go(view, at)
    assert desk.cursor == (2, 3)
    assert desk.selection.sum() == 1
    assert "0 °C, 45 %" in view.read_out.whole
    assert "N·m" in view.read_out.whole


def test_shift_and_control_select_more(view: SurfaceView, desk: Desk) -> None:
    for cell, modifiers in (
        ((1, 1), NONE),
        ((2, 3), Qt.KeyboardModifier.ShiftModifier),
    ):
        press(view, place(view, cell), modifiers)
        QTest.mouseRelease(view.canvas, LEFT, modifiers, place(view, cell))
    assert desk.selection[1:3, 1:4].all()
    assert desk.selection.sum() == 6
    spot = place(view, (3, 5))
    press(view, spot, Qt.KeyboardModifier.ControlModifier)
    QTest.mouseRelease(view.canvas, LEFT, Qt.KeyboardModifier.ControlModifier, spot)
    assert desk.selection[3, 5]
    assert desk.selection.sum() == 7


def test_a_picked_node_is_dragged_in_one_undo_step(view: SurfaceView, desk: Desk) -> None:
    desk.set_cursor((2, 3))
    settle(view)
    start = place(view, (2, 3))
    frame = view.frame
    end = drag(view, start, -60)
    under = float(desk.table.values[2, 3])  # type: ignore[union-attr]
    # The node is under the pointer, to half a storage step and the pointer's own pixel.
    assert abs(place(view, (2, 3)).y() - end.y()) <= 2
    let_go(view, end)
    assert under > VALUES[2, 3]
    assert under % 0.5 == 0
    changed = desk.table.values != VALUES  # type: ignore[union-attr]
    assert changed.sum() == 1
    assert frame.columns == view.frame.columns
    document = desk.current
    assert document is not None
    assert document.undo_title == "Drag Pre-engage torque at 0 °C, 45 %"
    document.undo()
    np.testing.assert_array_equal(desk.table.values, VALUES)  # type: ignore[union-attr]
    assert not document.undo_title


def test_two_drags_are_two_undo_steps(view: SurfaceView, desk: Desk) -> None:
    desk.set_cursor((2, 3))
    settle(view)
    let_go(view, drag(view, place(view, (2, 3)), -30))
    first = float(desk.table.values[2, 3])  # type: ignore[union-attr]
    let_go(view, drag(view, place(view, (2, 3)), -30))
    assert desk.current is not None
    desk.current.undo()
    assert desk.table.values[2, 3] == first  # type: ignore[union-attr]


def test_a_patch_is_dragged_together(view: SurfaceView, desk: Desk) -> None:
    chosen = np.zeros((4, 6), dtype=bool)
    chosen[1:3, 2:4] = True
    desk.set_cursor((2, 3))
    desk.set_selection(chosen)
    settle(view)
    let_go(view, drag(view, place(view, (2, 3)), -40))
    moved = desk.table.values - VALUES  # type: ignore[union-attr]
    assert len(set(moved[chosen].tolist())) == 1
    assert moved[chosen][0] > 5
    assert not moved[~chosen].any()
    assert desk.selection.sum() == 4
    assert desk.current is not None
    assert desk.current.undo_title == "Drag 4 cells of Pre-engage torque"


def test_limits_stop_a_drag(view: SurfaceView, desk: Desk) -> None:
    desk.set_cursor((3, 5))
    settle(view)
    let_go(view, drag(view, place(view, (3, 5)), 900))
    assert desk.table.values[3, 5] == 0.0  # type: ignore[union-attr]


def test_a_locked_node_stays_and_says_so(qtbot: QtBot) -> None:
    locked = np.zeros((4, 6), dtype=bool)
    locked[2, 3] = True
    desk = desk_with(with_locks(uneven(), locked))
    view = shown(desk, qtbot)
    desk.set_cursor((2, 3))
    settle(view)
    told: list[tuple[str, bool]] = []
    desk.told.connect(lambda text, refused: told.append((text, refused)))
    let_go(view, drag(view, place(view, (2, 3)), -40))
    np.testing.assert_array_equal(desk.table.values, VALUES)  # type: ignore[union-attr]
    assert told
    assert told[0][1]
    assert "locked" in told[0][0]
    assert "locked" in {m.kind for m in view.painted().marks}


def test_escape_puts_a_dragged_node_back(view: SurfaceView, desk: Desk) -> None:
    desk.set_cursor((2, 3))
    settle(view)
    end = drag(view, place(view, (2, 3)), -40)
    assert desk.table.values[2, 3] != VALUES[2, 3]  # type: ignore[union-attr]
    QTest.keyClick(view, Qt.Key.Key_Escape)
    np.testing.assert_array_equal(desk.table.values, VALUES)  # type: ignore[union-attr]
    move(view, end - QPoint(0, 40))
    let_go(view, end)
    np.testing.assert_array_equal(desk.table.values, VALUES)  # type: ignore[union-attr]


def test_shift_drags_finely(view: SurfaceView, desk: Desk) -> None:
    desk.set_cursor((2, 3))
    settle(view)
    at = place(view, (2, 3))
    end = drag(view, at, -50)
    coarse = desk.table.values[2, 3] - VALUES[2, 3]  # type: ignore[union-attr]
    move(view, end - QPoint(0, 50), Qt.KeyboardModifier.ShiftModifier)
    finer = desk.table.values[2, 3] - VALUES[2, 3] - coarse  # type: ignore[union-attr]
    let_go(view, end)
    assert 0 < finer < coarse / 5


def test_from_above_nothing_is_dragged(view: SurfaceView, desk: Desk, qtbot: QtBot) -> None:
    view.look(Look.TOP)
    desk.set_cursor((2, 3))
    settle(view)
    with qtbot.waitSignal(desk.told) as told:
        let_go(view, drag(view, place(view, (2, 3)), -40))
    assert told.args[1] is True
    assert "Page Up" in told.args[0]
    np.testing.assert_array_equal(desk.table.values, VALUES)  # type: ignore[union-attr]


def test_dragging_elsewhere_turns_and_edits_nothing(view: SurfaceView, desk: Desk) -> None:
    desk.set_cursor((0, 0))
    settle(view)
    camera = view.camera
    let_go(view, drag(view, place(view, (2, 3)), 20, right=60))
    assert view.camera.azimuth == pytest.approx(camera.azimuth - 30, abs=3)
    assert view.camera.elevation == pytest.approx(camera.elevation + 10, abs=2)
    np.testing.assert_array_equal(desk.table.values, VALUES)  # type: ignore[union-attr]
    assert desk.cursor == (0, 0)


# -- keys --------------------------------------------------------------------------------------


def test_arrows_move_as_in_the_grid(view: SurfaceView, desk: Desk) -> None:
    desk.set_cursor((1, 1))
    for key, cell in (
        (Qt.Key.Key_Down, (2, 1)),
        (Qt.Key.Key_Right, (2, 2)),
        (Qt.Key.Key_Up, (1, 2)),
        (Qt.Key.Key_Left, (1, 1)),
    ):
        QTest.keyClick(view, key)
        assert desk.cursor == cell
    QTest.keyClick(view, Qt.Key.Key_Right, Qt.KeyboardModifier.ControlModifier)
    assert desk.cursor == (1, 5)
    QTest.keyClick(view, Qt.Key.Key_Down, Qt.KeyboardModifier.ShiftModifier)
    QTest.keyClick(view, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert desk.selection.sum() == 4
    assert desk.selection[1:3, 4:6].all()


def test_page_keys_step_by_storage_steps(view: SurfaceView, desk: Desk) -> None:
    desk.set_cursor((1, 1))
    QTest.keyClick(view, Qt.Key.Key_PageUp)
    assert desk.table.values[1, 1] == VALUES[1, 1] + 0.5  # type: ignore[union-attr]
    QTest.keyClick(view, Qt.Key.Key_PageDown, Qt.KeyboardModifier.ShiftModifier)
    assert desk.table.values[1, 1] == VALUES[1, 1] - 4.5  # type: ignore[union-attr]
    assert desk.current is not None
    desk.current.undo()
    assert desk.table.values[1, 1] == VALUES[1, 1] + 0.5  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("key", "look"),
    [(Qt.Key.Key_F, Look.FRONT), (Qt.Key.Key_S, Look.SIDE), (Qt.Key.Key_T, Look.TOP)],
)
def test_keys_look_from_standard_sides(view: SurfaceView, key: Qt.Key, look: Look) -> None:
    QTest.keyClick(view, key)
    settle(view)
    assert (view.camera.azimuth, view.camera.elevation) == look.value
    first = grabbed(view)
    QTest.keyClick(view, Qt.Key.Key_P)
    assert not view.camera.perspective
    assert not view.bar.lines.isChecked()
    assert np.abs(grabbed(view) - first).sum() > 0
    QTest.keyClick(view, Qt.Key.Key_C)
    assert (view.camera.azimuth, view.camera.elevation) == Look.CORNER.value


def test_keys_turn_zoom_and_show_everything(view: SurfaceView) -> None:
    start = view.camera
    QTest.keyClick(view, Qt.Key.Key_L)
    QTest.keyClick(view, Qt.Key.Key_I)
    assert view.camera.azimuth > start.azimuth
    assert view.camera.elevation > start.elevation
    QTest.keyClick(view, Qt.Key.Key_Plus)
    assert view.camera.zoom > 1
    QTest.keyClick(view, Qt.Key.Key_Home)
    assert view.camera.zoom == 1
    assert view.camera.pan == (0.0, 0.0)


def test_buttons_do_what_keys_do(view: SurfaceView) -> None:
    QTest.mouseClick(view.bar.buttons[Look.TOP], LEFT)
    assert view.camera.elevation == 90
    QTest.mouseClick(view.bar.lines, LEFT)
    assert not view.camera.perspective
