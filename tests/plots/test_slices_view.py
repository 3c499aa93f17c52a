"""A map as slices in a real widget."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPointF, Qt

from app.desk import Desk
from app.plots.slices import SlicesView
from calib_model.editing.change import values_change
from tests.plots import demo_set as demo
from tests.plots import mouse


@pytest.fixture
def desk() -> Desk:
    return demo.demo_desk()


def shown(qtbot, desk: Desk) -> SlicesView:
    view = SlicesView(desk)
    qtbot.addWidget(view)
    view.resize(400, 330)
    view.show()
    qtbot.waitUntil(lambda: view.canvas is not None)
    view.refresh()
    return view


def spot(view: SlicesView, cell: tuple[int, int]) -> QPointF:
    table = view.desk.table
    x = table.axes[view.along()].values[cell[view.along()]]
    return view.canvas.to_viewport(float(x), float(table.values[cell]))


def test_the_slice_in_work_and_the_others_are_rows_of_the_map(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    desk.set_cursor((3, 6))
    view.refresh()
    table = desk.table
    x, y = view._items.inner.getData()
    assert x.tolist() == demo.PEDAL
    assert y.tolist() == table.values[3].tolist()
    quiet = view._items.others.getData()[1].reshape(9, 13)
    assert np.isnan(quiet[:, -1]).all()
    assert quiet[:, :-1].tolist() == np.delete(table.values, 3, axis=0).tolist()
    assert view.legend.entries[0].words == "now, Ambient temperature −10 °C"


def test_x_turns_the_slices(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    desk.set_cursor((3, 6))
    turned = []
    view.along_changed.connect(turned.append)
    qtbot.keyClick(view, Qt.Key.Key_X)
    view.refresh()
    table = desk.table
    assert turned == [0]
    x, y = view._items.inner.getData()
    assert x.tolist() == demo.TEMPERATURE
    assert y.tolist() == table.values[:, 6].tolist()
    quiet = view._items.others.getData()[1].reshape(11, 11)
    assert quiet[:, :-1].tolist() == np.delete(table.values, 6, axis=1).T.tolist()
    qtbot.keyClick(view, Qt.Key.Key_Right)
    assert desk.cursor == (4, 6)


@pytest.mark.parametrize("along", [0, 1])
def test_drag_changes_the_cell_under_the_pointer_only(qtbot, desk, along: int) -> None:
    view = shown(qtbot, desk)
    view.set_along(along)
    desk.set_cursor((3, 6))
    view.refresh()
    before = desk.table.values.copy()
    cell = (3, 9) if along else (7, 6)
    start = spot(view, cell)
    grain = view.canvas.pixel()[1]
    mouse.drag(view.canvas, start, start + QPointF(0, -20))
    after = desk.table.values
    assert [tuple(c) for c in np.argwhere(before != after)] == [cell]
    assert after[cell] == pytest.approx(before[cell] + 20 * grain, abs=0.25 + 1e-9)
    desk.current.undo()
    assert desk.table.values.tolist() == before.tolist()


def test_a_press_on_another_slice_takes_it_into_work(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    desk.set_cursor((0, 6))
    view.refresh()
    before = desk.table.values.copy()
    mouse.click(view.canvas, spot(view, (9, 11)))
    assert desk.cursor == (9, 11)
    assert desk.table.values.tolist() == before.tolist()
    view.refresh()
    assert view._items.inner.getData()[1].tolist() == before[9].tolist()


def test_the_next_slice_by_key(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    desk.set_cursor((3, 6))
    qtbot.keyClick(view, Qt.Key.Key_PageDown, Qt.KeyboardModifier.ControlModifier)
    assert desk.cursor == (4, 6)
    qtbot.keyClick(view, Qt.Key.Key_PageUp, Qt.KeyboardModifier.ControlModifier)
    qtbot.keyClick(view, Qt.Key.Key_PageUp, Qt.KeyboardModifier.ControlModifier)
    assert desk.cursor == (2, 6)


def test_further_axes_are_cut_at_the_cursor(qtbot) -> None:
    desk = demo.demo_desk("hill_torque")
    desk.set_cursor((2, 1, 2))
    view = shown(qtbot, desk)
    table = desk.table
    assert view._items.inner.getData()[1].tolist() == table.values[2, :, 2].tolist()
    assert "at Gradient 20 %" in view.legend.entries[0].words
    desk.set_cursor((2, 1, 0))
    view.refresh()
    quiet = view._items.others.getData()[1].reshape(3, 6)[:, :-1]
    assert quiet.tolist() == np.delete(table.values[:, :, 0], 2, axis=0).tolist()
    start = spot_of(view, (2, 1, 0))
    before = table.values.copy()
    mouse.drag(view.canvas, start, start + QPointF(0, -30))
    changed = np.argwhere(before != desk.table.values)
    assert [tuple(c) for c in changed] == [(2, 1, 0)]


def spot_of(view: SlicesView, cell: tuple[int, ...]) -> QPointF:
    table = view.desk.table
    x = table.axes[1].values[cell[1]]
    return view.canvas.to_viewport(float(x), float(table.values[cell]))


def test_the_saved_slice_is_the_one_at_the_cursor(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    values = desk.table.values.copy()
    values[3, 6] = 21.5
    desk.do(values_change(desk.table, values, "Edit"))
    desk.set_cursor((3, 0))
    view.refresh()
    assert view._items.saved.getData()[1].tolist() == demo.pre_engage().values[3].tolist()
    desk.set_cursor((4, 0))
    view.refresh()
    assert not view._items.saved.isVisible()  # nothing differs there


def test_a_curve_has_no_slices(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    desk.open_table("pre_engage_fade")
    view.refresh()
    assert view.sentence.text() == "Pre-engage fade with speed has no slices (curve)."
    qtbot.keyClick(view, Qt.Key.Key_Right)  # not ours to answer
    assert desk.cursor == (0,)
