"""The curve in a real widget: what is drawn where, and what dragging and keys do."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPalette

from app.desk import Desk
from app.plots import words
from app.plots.canvas import ValueAxis
from app.plots.curve import CurveView
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import table_change, values_change
from calib_model.rules.limits import Locked
from calib_model.session.document import Document
from tests.plots import demo_set as demo
from tests.plots import mouse
from tests.waiting import settled


@pytest.fixture
def desk() -> Desk:
    return demo.demo_desk("pre_engage_fade")


def shown(qtbot, desk: Desk, width: int = 700, height: int = 330) -> CurveView:
    view = CurveView(desk)
    qtbot.addWidget(view)
    view.resize(width, height)
    view.show()
    qtbot.waitUntil(lambda: view.canvas is not None or desk.table is None or not desk.table.shape)
    view.refresh()
    return view


def spot(view: CurveView, point: int) -> QPointF:
    x, y = view.points(view.desk.table)
    return view.canvas.to_viewport(float(x[point]), float(y[point]))


def values_of(desk: Desk) -> np.ndarray:
    return desk.table.values.copy()


def test_points_lie_at_their_true_breakpoints(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    x = np.array([spot(view, i).x() for i in range(8)])
    axis = desk.table.axes[0].values
    # Equal ratios on the screen and on the axis, to a hundredth of a screen unit.
    expected = x[0] + (axis - axis[0]) / (axis[-1] - axis[0]) * (x[-1] - x[0])
    assert x == pytest.approx(expected, abs=0.01)
    assert spot(view, 0).y() < spot(view, 7).y()  # 1.0 stands above 0.04


def test_drawn_items_hold_the_tables_values(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    x, y = view._items.inner.getData()
    assert x.tolist() == desk.table.axes[0].values.tolist()
    assert y.tolist() == desk.table.values.tolist()
    outer_x, outer_y = view._items.outer.getData()
    assert outer_y[0] == outer_y[1] == 1.0  # held below
    assert outer_x[-1] > 130
    assert outer_y[-1] < 0.04  # goes on falling above


def test_drag_changes_one_cell_by_the_snapped_amount_in_one_undo_step(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    before = values_of(desk)
    start = spot(view, 3)
    grain = view.canvas.pixel()[1]
    mouse.drag(view.canvas, start, start + QPointF(25, 40))  # sideways as well
    after = values_of(desk)
    wanted = before[3] - 40 * grain
    step = 1 / 250
    assert np.flatnonzero(before != after).tolist() == [3]
    assert after[3] == pytest.approx(wanted, abs=step / 2 + 1e-9)
    assert desk.table.storage.representable(after[3])
    assert desk.table.axes[0] == demo.fade().axes[0]  # breakpoints never move
    assert desk.cursor == (3,)
    assert desk.current.undo_title == "Drag Pre-engage fade with speed at 20 km/h"
    desk.current.undo()
    assert values_of(desk).tolist() == before.tolist()
    assert desk.current.undo_title == ""


def test_two_drags_are_two_undo_steps(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    start = spot(view, 3)
    mouse.drag(view.canvas, start, start + QPointF(0, 30))
    first = values_of(desk)
    view.refresh()
    start = spot(view, 3)
    mouse.drag(view.canvas, start, start + QPointF(0, 30))
    desk.current.undo()
    assert values_of(desk).tolist() == first.tolist()


def test_a_point_dragged_away_and_back_leaves_nothing_to_undo(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    start = spot(view, 3)
    mouse.press(view.canvas, start)
    mouse.move(view.canvas, start + QPointF(0, 40))
    assert desk.current.undo_title
    mouse.move(view.canvas, start)
    mouse.release(view.canvas, start)
    assert desk.current.undo_title == ""
    assert not desk.current.pending
    assert not desk.current.is_modified


def test_shift_drags_finely(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    before, start = values_of(desk), spot(view, 3)
    grain = view.canvas.pixel()[1]
    mouse.drag(view.canvas, start, start + QPointF(0, 60), Qt.KeyboardModifier.ShiftModifier)
    moved = before[3] - values_of(desk)[3]
    assert moved == pytest.approx(6 * grain, abs=0.002 + 1e-9)


def test_taking_hold_off_centre_moves_nothing(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    before = values_of(desk)
    at = spot(view, 4) + QPointF(6, -7)
    mouse.press(view.canvas, at)
    mouse.move(view.canvas, at + QPointF(2, 1))
    mouse.release(view.canvas, at)
    assert desk.cursor == (4,)
    assert values_of(desk).tolist() == before.tolist()


def test_drag_stops_at_the_limits(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    start = spot(view, 4)
    mouse.drag(view.canvas, start, start - QPointF(0, 2000))
    assert values_of(desk)[4] == 1.0
    assert view.canvas.shown_range()[1][1] < 3  # the view did not run away


def test_drag_of_a_locked_point_is_refused_in_words(qtbot, desk) -> None:
    table = desk.table
    lock = Locked(points=((20.0,),), values=(0.8,))
    desk.do(table_change(table, replace(table, rules=(lock,)), "Lock"))
    view = shown(qtbot, desk)
    told = []
    desk.told.connect(lambda text, refused: told.append((text, refused)))
    before = values_of(desk)
    start = spot(view, 3)
    mouse.drag(view.canvas, start, start + QPointF(0, 50), steps=8)
    assert values_of(desk).tolist() == before.tolist()
    assert [refused for _, refused in told] == [True]  # once, not at every move
    assert "locked" in told[0][0]
    assert view._items.locked.isVisible()
    assert "locked" in [e.words for e in view.legend.entries]


def test_drag_in_a_read_only_set_is_refused(qtbot, desk) -> None:
    desk.current.read_only = True
    view = shown(qtbot, desk)
    told = []
    desk.told.connect(lambda text, refused: told.append(text))
    before, start = values_of(desk), spot(view, 3)
    mouse.drag(view.canvas, start, start + QPointF(0, 50))
    assert values_of(desk).tolist() == before.tolist()
    assert len(told) == 1
    assert "read-only" in told[0]


def test_escape_puts_the_dragged_point_back(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    before, start = values_of(desk), spot(view, 3)
    mouse.press(view.canvas, start)
    mouse.move(view.canvas, start + QPointF(0, 30))
    assert values_of(desk)[3] < before[3]
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    mouse.move(view.canvas, start + QPointF(0, 60))
    mouse.release(view.canvas, start + QPointF(0, 60))
    assert values_of(desk).tolist() == before.tolist()
    assert desk.current.undo_title == ""


def test_keys_move_step_and_select(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    before = values_of(desk)
    qtbot.keyClick(view, Qt.Key.Key_Right)
    qtbot.keyClick(view, Qt.Key.Key_Right)
    assert desk.cursor == (2,)
    qtbot.keyClick(view, Qt.Key.Key_Up)
    assert values_of(desk)[2] == pytest.approx(before[2] + 1 / 250)
    qtbot.keyClick(view, Qt.Key.Key_PageDown)
    assert values_of(desk)[2] == pytest.approx(before[2] - 9 / 250)
    qtbot.keyClick(view, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    qtbot.keyClick(view, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert np.flatnonzero(desk.selection).tolist() == [2, 3, 4]
    qtbot.keyClick(view, Qt.Key.Key_Left, Qt.KeyboardModifier.ControlModifier)
    assert desk.cursor == (0,)


def test_stepping_stops_at_a_limit_and_says_so(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    told = []
    desk.told.connect(lambda text, refused: told.append((text, refused)))
    qtbot.keyClick(view, Qt.Key.Key_Up)
    assert values_of(desk)[0] == 1.0
    assert told == [("The value is at its upper end (limits 0 to 1).", True)]
    desk.set_cursor((7,))  # 0.04 is ten steps above the lower limit
    qtbot.keyClick(view, Qt.Key.Key_Down)
    qtbot.keyClick(view, Qt.Key.Key_PageDown)
    assert values_of(desk)[7] == 0.0


def test_read_out_names_place_value_raw_step_and_neighbours(qtbot) -> None:
    table = Table(
        "t",
        [300.0, 215.0, 100.0],
        (Axis([-40, -10, 20], "Ambient temperature", "degC"),),
        unit="N.m",
        storage=demo.pre_engage().storage,
    )
    desk = demo.demo_desk("t", CalibrationSet((table,)))
    view = shown(qtbot, desk)
    qtbot.keyClick(view, Qt.Key.Key_Right)
    view.refresh()
    assert view.read_out.whole == "−10 °C: 215 N·m (raw 430, step 0.5), next 214.5 and 215.5"
    assert view.accessibleDescription() == view.read_out.whole


def test_overlays_follow_their_switches_and_vanish_when_nothing_differs(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    assert not view._items.saved.isVisible()
    values = values_of(desk)
    values[3] = 0.7
    desk.do(values_change(desk.table, values, "Edit"))
    view.refresh()
    assert view._items.saved.isVisible()
    assert view._items.saved.getData()[1][3] == 0.8
    assert "as saved" in [e.words for e in view.legend.entries]
    other = demo.fade().with_values([0.9] * 8)
    reference = Document(CalibrationSet((other,), name="Other"))
    desk.add(reference)
    desk.set_reference(reference)
    view.refresh()
    assert view._items.reference.getData()[1].tolist() == [0.9] * 8
    assert "reference: Other" in [e.words for e in view.legend.entries]
    styles = {view._items.saved.opts["pen"].style(), view._items.reference.opts["pen"].style()}
    assert len(styles | {view._items.inner.opts["pen"].style()}) == 3
    view.set_overlays(saved=False, reference=False)
    view.refresh()
    assert not view._items.saved.isVisible()
    assert not view._items.reference.isVisible()


def test_a_burst_of_edits_is_one_repaint(qtbot, desk, monkeypatch) -> None:
    view = shown(qtbot, desk)
    settled(qtbot, view)
    calls = []
    redraw = view.redraw
    monkeypatch.setattr(view, "redraw", lambda *a: (calls.append(a[1]), redraw(*a)))
    for value in (0.7, 0.6, 0.55):
        values = values_of(desk)
        values[3] = value
        desk.do(values_change(desk.table, values, "Edit"))
        desk.set_cursor((int(value * 10) - 3,))
    qtbot.waitUntil(lambda: bool(calls))
    settled(qtbot, view)
    assert len(calls) == 1


def test_an_edit_elsewhere_repaints_nothing(qtbot, desk, monkeypatch) -> None:
    view = shown(qtbot, desk)
    settled(qtbot, view)
    calls = []
    monkeypatch.setattr(view, "redraw", lambda *a: calls.append(a))
    other = desk.current.content["wet_factor"]
    desk.do(values_change(other, other.values + 0.01, "Edit"))
    settled(qtbot, view)
    assert calls == []


def test_storage_steps_show_when_zoomed_in(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    assert not view._items.raster.isVisible()
    view.canvas.show_range((10, 30), (0.78, 0.83))
    view.refresh()
    levels = np.unique(view._items.raster.getData()[1])
    assert np.diff(levels) == pytest.approx(1 / 250)
    assert demo.fade().storage.representable(levels).all()


def test_empty_cells_are_marked_and_said_and_can_be_dragged_in(qtbot, desk) -> None:
    values = values_of(desk)
    values[2] = np.nan
    desk.do(values_change(desk.table, values, "Clear"))
    view = shown(qtbot, desk)
    assert view.note.text() == "1 cell is empty."
    assert view._items.empty.isVisible()
    assert np.isnan(view._items.inner.getData()[1][2])
    start = spot(view, 2)
    mouse.drag(view.canvas, start, start - QPointF(0, 40))
    assert np.isfinite(values_of(desk)[2])


def test_a_disordered_axis_is_drawn_by_index_and_said(qtbot) -> None:
    table = Table("t", [1.0, 2, 3], (Axis([0, 20, 10], "Vehicle speed", "km/h"),))
    view = shown(qtbot, demo.demo_desk("t", CalibrationSet((table,))))
    assert "Vehicle speed is out of order" in view.note.text()
    assert view._items.inner.getData()[0].tolist() == [0, 1, 2]
    assert view.canvas.bottom.tickStrings([0.0, 1.0, 2.0], 1.0, None) == ["0", "20", "10"]


def test_no_table_and_scalars_are_told_in_words(qtbot, desk) -> None:
    view = shown(qtbot, Desk())
    assert view.sentence.text() == "No table is open. Choose one in the table list."
    assert view.pages.currentWidget() is view.sentence
    desk.open_table("sync_window")
    view = shown(qtbot, desk)
    assert view.scalar.text == "Sync window is 12 rad/s. Limits 0 to 40 rad/s."
    assert view.canvas is None  # a scalar needs no pyqtgraph
    qtbot.keyClick(view, Qt.Key.Key_Up)
    view.refresh()
    expected = "Sync window is 12.25 rad/s. Limits 0 to 40 rad/s; as saved 12 rad/s."
    assert view.scalar.text == expected
    desk.open_table("pre_engage_fade")
    view.refresh()
    assert view.pages.currentWidget() is view.canvas


def test_click_beside_the_points_goes_to_the_nearest_breakpoint(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    at = view.canvas.to_viewport(66.0, 0.9)
    mouse.click(view.canvas, at)
    assert desk.cursor == (5,)
    mouse.drag(view.canvas, at, view.canvas.to_viewport(12.0, 0.9))
    assert np.flatnonzero(desk.selection).tolist() == [2, 3, 4, 5]


def test_findings_are_marked_at_their_cells(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    view.set_findings({(3,): ("error", "Must fall."), (6,): ("note", "Flat."), (99,): ("note", "")})
    desk.set_cursor((3,))
    view.refresh()
    assert view._items.findings["error"].getData()[0].tolist() == [20]
    assert view._items.findings["note"].getData()[0].tolist() == [90]
    assert not view._items.findings["warning"].isVisible()
    assert view.read_out.whole.endswith("Error: Must fall.")
    tip = view.tip_at(QPointF(20, 0.8))
    assert "Error: Must fall." in tip
    desk.open_table("wet_factor")
    view.refresh()
    assert not view._items.findings["error"].isVisible()  # they belonged to another table


def test_the_view_widens_for_an_edit_but_is_not_moved_otherwise(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    view.canvas.show_range((0, 50), (0.4, 1.1))
    values = values_of(desk)
    values[4] = 0.45
    desk.do(values_change(desk.table, values, "Edit"))
    view.refresh()
    assert view.canvas.shown_range() == ((0, 50), (0.4, 1.1))
    values[4] = 0.1
    desk.do(values_change(desk.table, values, "Edit"))
    view.refresh()
    assert view.canvas.shown_range()[1][0] < 0.1
    qtbot.keyClick(view, Qt.Key.Key_Home)
    assert view.canvas.shown_range()[0][1] > 130


def test_dark_palette_darkens_the_ground(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    palette = QPalette()
    for role in (QPalette.ColorRole.Base, QPalette.ColorRole.Window):
        palette.setColor(role, QColor("#1d1f22"))
    for role in (QPalette.ColorRole.Text, QPalette.ColorRole.WindowText):
        palette.setColor(role, QColor("#e6e6e6"))
    view.setPalette(palette)
    settled(qtbot, view)
    image = view.canvas.grab().toImage()
    assert image.pixelColor(image.width() - 3, 3) == QColor("#1d1f22")
    assert view.inks.dark


def test_pyqtgraph_is_not_needed_to_make_the_panel() -> None:
    # A fresh process: this one has it loaded.
    import subprocess
    import sys

    code = (
        "import sys\n"
        "from PySide6.QtWidgets import QApplication\n"
        "application = QApplication([])\n"
        "from app.desk import Desk\n"
        "from app.plots.panel import PlotPanel\n"
        "import app.plots.actions\n"
        "panel = PlotPanel(Desk())\n"
        "print('pyqtgraph' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


@pytest.mark.parametrize("size", [(240, 150), (700, 330)])
def test_marks_at_the_ends_are_whole(qtbot, desk, size: tuple[int, int]) -> None:
    view = shown(qtbot, desk, *size)
    settled(qtbot, view)
    view.refresh()
    box = view.canvas.box.sceneBoundingRect()
    for point in (0, 7):
        place = spot(view, point)
        assert box.adjusted(6, 6, -6, -6).contains(view.canvas.mapToScene(place.toPoint()))


def test_a_new_size_keeps_a_part_that_was_chosen(qtbot, desk) -> None:
    view = shown(qtbot, desk)
    view.canvas.show_range((0, 50), (0.4, 1.1))
    view.resize(500, 300)
    settled(qtbot, view)
    view.refresh()
    assert view.canvas.shown_range() == ((0, 50), (0.4, 1.1))


@pytest.mark.parametrize(("height", "most"), [(300.0, 11), (45.0, 3), (20.0, 2)])
def test_numbers_of_a_low_axis_do_not_touch(qapp, height: float, most: int) -> None:
    axis = ValueAxis("left")
    spacing, ticks = axis.tickValues(-0.4, 10.2, height)[0]
    assert 1 <= len(ticks) <= most
    line = QFontMetricsF(QFont()).height()
    gaps = [(b - a) * height / 10.6 for a, b in pairwise(ticks)]
    assert all(gap >= 0.8 * line for gap in gaps), (spacing, ticks)


def test_states_are_named_at_both_axes_and_in_the_read_out(qtbot, desk) -> None:
    fade = desk.table
    named = replace(
        fade,
        values=[0.0, 0, 0, 1, 1, 1, 1, 1],
        storage=Storage("uint8"),
        axes=(replace(fade.axes[0], labels={0.0: "standing"}),),
        labels="no, yes",
    )
    desk.do(table_change(fade, named, "Name"))
    view = shown(qtbot, desk)
    left, bottom = view.canvas.left, view.canvas.bottom
    assert left.tickStrings([0.0, 1.0], 1.0, None) == ["no", "yes"]
    ((_, ticks), (_, rest)) = left.tickValues(-0.1, 1.1, 200)
    assert [*ticks, *rest] == [0.0, 1.0]
    assert bottom.tickStrings(bottom.tickValues(0, 130, 600)[0][1], 1.0, None)[0] == "standing"
    assert words.read_out(named, (0,)) == "standing: no (raw 0, step 1), next yes"
    desk.do(table_change(named, fade, "Back"))
    view.refresh()
    assert left.tickStrings([0.5], 1.0, 0.5) == ["0.5"]
