"""The heat map in a real widget: colours at places, selection, differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor

from app import colours
from app.desk import Desk
from app.plots.heatmap import HeatMapView, Show
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import add_table, table_change, values_change
from calib_model.session.document import Document
from tests.plots import demo_set as demo
from tests.plots import mouse
from tests.waiting import settled


def shown(qtbot, desk: Desk) -> HeatMapView:
    view = HeatMapView(desk)
    qtbot.addWidget(view)
    view.resize(460, 330)
    view.show()
    qtbot.waitUntil(lambda: view.canvas is not None)
    view.refresh()
    settled(qtbot, view)
    return view


def middle(view: HeatMapView, row: int, column: int) -> QPointF:
    """Where the middle of a cell is drawn, off the cross-hair and marks."""
    x = view._x[column] + 0.3 * (view._x[column + 1] - view._x[column])
    y = view._y[row] + 0.3 * (view._y[row + 1] - view._y[row])
    return view.canvas.to_viewport(float(x), float(y))


def colour_at(view: HeatMapView, row: int, column: int) -> QColor:
    image = view.canvas.viewport().grab().toImage()
    at = middle(view, row, column)
    return image.pixelColor(at.toPoint())


def close(a: QColor, rgb: np.ndarray) -> bool:
    return max(abs(a.red() - rgb[0]), abs(a.green() - rgb[1]), abs(a.blue() - rgb[2])) <= 2


def odd_map() -> Table:
    """A 2 x 5 map over very unequal breakpoints, every cell another value."""
    return Table(
        "odd",
        [[0.0, 1.0, 2.0, 3.0, 4.0], [5.0, 6.0, 7.0, 8.0, 9.0]],
        (Axis([0, 10], "Rows", "km/h"), Axis([0, 10, 20, 40, 100], "Columns", "%")),
        unit="N.m",
    )


def test_rows_and_columns_are_not_exchanged(qtbot) -> None:
    desk = demo.demo_desk("odd", CalibrationSet((odd_map(),)))
    view = shown(qtbot, desk)
    expected = colours.colours_of(
        odd_map().values, 0.0, 9.0, colours.value_map(dark=view.inks.dark)
    )
    for row in range(2):
        for column in range(5):
            assert close(colour_at(view, row, column), expected[row, column]), (row, column)


def test_cells_are_as_wide_as_their_breakpoints_say(qtbot) -> None:
    desk = demo.demo_desk("odd", CalibrationSet((odd_map(),)))
    view = shown(qtbot, desk)
    # Half way between breakpoints, worked by hand: -5, 5, 15, 30, 70, 130.
    edges = np.array([view.canvas.to_viewport(x, 0.0).x() for x in (-5, 5, 15, 30, 70, 130)])
    widths = np.diff(edges)
    assert widths / widths[0] == pytest.approx([1, 1, 1.5, 4, 6])
    image = view.canvas.viewport().grab().toImage()
    y = int(middle(view, 0, 0).y())
    inner = edges[1:-1]
    for x in inner:  # the colour changes at each border and nowhere beside it
        left, right = (image.pixelColor(int(x) + d, y) for d in (-3, 3))
        assert left != right


def test_the_first_row_is_on_top_as_in_the_grid(qtbot) -> None:
    view = shown(qtbot, demo.demo_desk())
    assert middle(view, 0, 0).y() < middle(view, 9, 0).y()
    assert middle(view, 0, 0).x() < middle(view, 0, 11).x()


def test_click_selects_and_drag_selects_a_rectangle(qtbot) -> None:
    desk = demo.demo_desk()
    view = shown(qtbot, desk)
    mouse.click(view.canvas, middle(view, 7, 10))
    assert desk.cursor == (7, 10)
    assert np.argwhere(desk.selection).tolist() == [[7, 10]]
    mouse.drag(view.canvas, middle(view, 2, 8), middle(view, 4, 5))
    chosen = np.zeros((10, 12), dtype=bool)
    chosen[2:5, 5:9] = True
    assert (desk.selection == chosen).all()
    assert desk.cursor == (4, 5)
    view.refresh()
    x, y = view._items.outline.getData()
    assert (x.min(), x.max()) == (view._x[5], view._x[9])
    assert (y.min(), y.max()) == (view._y[2], view._y[5])
    mouse.click(view.canvas, middle(view, 0, 0), Qt.KeyboardModifier.ControlModifier)
    chosen[0, 0] = True
    assert (desk.selection == chosen).all()


def test_keys_move_and_extend(qtbot) -> None:
    desk = demo.demo_desk()
    view = shown(qtbot, desk)
    shift, control = Qt.KeyboardModifier.ShiftModifier, Qt.KeyboardModifier.ControlModifier
    qtbot.keyClick(view, Qt.Key.Key_Down)
    qtbot.keyClick(view, Qt.Key.Key_Right)
    qtbot.keyClick(view, Qt.Key.Key_Right)
    assert desk.cursor == (1, 2)
    qtbot.keyClick(view, Qt.Key.Key_Down, shift)
    qtbot.keyClick(view, Qt.Key.Key_Right, shift)
    assert np.argwhere(desk.selection).tolist() == [[1, 2], [1, 3], [2, 2], [2, 3]]
    qtbot.keyClick(view, Qt.Key.Key_Up)
    assert desk.selection.sum() == 1
    qtbot.keyClick(view, Qt.Key.Key_Right, control)
    assert desk.cursor == (1, 11)
    qtbot.keyClick(view, Qt.Key.Key_PageUp)
    assert desk.table.values[1, 11] == demo.pre_engage().values[1, 11] + 0.5


def test_the_cursor_follows_the_desk(qtbot) -> None:
    desk = demo.demo_desk()
    view = shown(qtbot, desk)
    desk.set_cursor((6, 4))
    view.refresh()
    assert view._items.upright.value() == 20
    assert view._items.level.value() == 20
    assert view.read_out.whole.startswith("20 °C, 20 %: ")


def edited(desk: Desk) -> None:
    values = desk.table.values.copy()
    values[3, 6] -= 50
    values[8, 1] += 10
    desk.do(values_change(desk.table, values, "Edit"))


def test_difference_from_saved_has_signs_and_a_neutral_rest(qtbot) -> None:
    desk = demo.demo_desk()
    view = shown(qtbot, desk)
    edited(desk)
    view.set_mode(Show.FROM_SAVED)
    view.refresh()
    ramp = colours.difference_map(dark=view.inks.dark)
    assert close(colour_at(view, 3, 6), ramp[0])
    assert close(colour_at(view, 5, 9), ramp[127])
    plus = sum(i.getData()[0].size for i in view._items._dark_light["plus"] if i.isVisible())
    minus = sum(i.getData()[0].size for i in view._items._dark_light["minus"] if i.isVisible())
    assert (plus, minus) == (1, 1)
    desk.set_cursor((3, 6))
    view.refresh()
    assert view.read_out.whole.endswith("−50 N·m against saved")
    assert {"higher than saved", "lower than saved"} <= {e.words for e in view.legend.entries}


def test_difference_without_another_state_says_so(qtbot) -> None:
    desk = demo.demo_desk()
    view = shown(qtbot, desk)
    view.set_mode(Show.FROM_REFERENCE)
    view.refresh()
    assert view.note.text() == "No reference set is chosen: the values are shown."
    assert (view.plane == desk.table.values).all()
    view.set_mode(Show.FROM_SAVED)
    view.refresh()
    assert view.note.text() == "Nothing differs here."


def test_difference_from_a_reference_over_other_breakpoints(qtbot) -> None:
    desk = demo.demo_desk("odd", CalibrationSet((odd_map(),)))
    coarse = Table("odd", [[0.0, 10.0], [20.0, 30.0]], (Axis([0, 10]), Axis([0, 100])), unit="N.m")
    reference = Document(CalibrationSet((coarse,)))
    desk.add(reference)
    desk.set_reference(reference)
    view = shown(qtbot, desk)
    view.set_mode(Show.FROM_REFERENCE)
    view.refresh()
    # By hand: the reference at 0, 10, 20, 40, 100 % is 0, 1, 2, 4, 10 in the first row.
    assert view.plane[0] == pytest.approx([0, 0, 0, -1, -6])


def test_empty_cells_are_hatched_and_said(qtbot) -> None:
    desk = demo.demo_desk()
    values = desk.table.values.copy()
    values[4, 3:5] = np.nan
    desk.do(values_change(desk.table, values, "Clear"))
    view = shown(qtbot, desk)
    assert view.note.text() == "2 cells are empty."
    assert view._items.hatch.isVisible()
    box = view._items.hatch.path().boundingRect()
    assert (box.left(), box.right()) == (view._x[3], view._x[5])
    assert (box.top(), box.bottom()) == (view._y[4], view._y[5])
    image = view.canvas.viewport().grab().toImage()
    a, b = middle(view, 4, 3), middle(view, 4, 4)
    seen = {image.pixelColor(x, int(a.y())).name() for x in range(int(a.x()), int(b.x()))}
    assert view.inks.ground.name() in seen  # strokes on the bare ground
    assert len(seen) > 1
    assert "hatched: empty" in [e.words for e in view.legend.entries]


def test_a_disordered_axis_falls_back_to_index_spacing_and_says_so(qtbot) -> None:
    table = odd_map().with_axis(1, Axis([0, 40, 20, 10, 100], "Columns", "%"), odd_map().values)
    view = shown(qtbot, demo.demo_desk("odd", CalibrationSet((table,))))
    assert "Columns is out of order" in view.note.text()
    assert view._x.tolist() == [-0.5, 0.5, 1.5, 2.5, 3.5, 4.5]
    assert view._y.tolist() == [-5, 5, 15]  # the other axis is drawn truly
    assert view.canvas.bottom.tickStrings([0.0, 1.0, 2.0], 1.0, None) == ["0", "40", "20"]
    expected = colours.colours_of(table.values, 0.0, 9.0, colours.value_map(dark=view.inks.dark))
    assert close(colour_at(view, 1, 1), expected[1, 1])


def test_findings_are_marked_in_their_cells(qtbot) -> None:
    desk = demo.demo_desk()
    view = shown(qtbot, desk)
    view.set_findings({(3, 6): ("error", "A slip?"), (8, 1): ("warning", "Steep.")})
    view.refresh()
    (x,), (y,) = view._items.findings["error"].getData()
    assert view._x[6] < x < view._x[7]
    assert view._y[3] < y < view._y[4]
    assert view._items.findings["warning"].isVisible()
    assert not view._items.findings["note"].isVisible()
    assert "Error: A slip?" in view.tip_at(QPointF(40, -10))


def test_further_axes_at_the_cursor(qtbot) -> None:
    desk = demo.demo_desk("hill_torque")
    view = shown(qtbot, desk)
    assert view.note.text() == "at Gradient 0 %"
    desk.set_cursor((1, 1, 2))
    view.refresh()
    assert view.note.text() == "at Gradient 20 %"
    assert (view.plane == desk.table.values[:, :, 2]).all()
    mouse.drag(view.canvas, middle(view, 0, 0), middle(view, 1, 1))
    assert np.argwhere(desk.selection).tolist() == [[0, 0, 2], [0, 1, 2], [1, 0, 2], [1, 1, 2]]


def test_axis_labels_lie_within_their_axis_and_keep_the_unit(qtbot) -> None:
    long = Axis([0, 10], "Steering wheel angle, absolute, at the column", "deg/s")
    table = odd_map().with_axis(0, long, odd_map().values)
    desk = demo.demo_desk()
    view = shown(qtbot, desk)
    desk.do(add_table(desk.current.content, table))
    desk.open_table("odd")
    view.refresh()
    axis = view.canvas.left
    text = axis.label.toPlainText().strip()
    assert text == "°/s"  # the unit alone, whole: half a name tells less
    assert axis.toolTip().startswith("Steering")
    place = axis.mapRectFromItem(axis.label, axis.label.boundingRect())
    assert place.top() >= -1
    assert place.bottom() <= axis.size().height() + 1
    assert place.center().y() == pytest.approx(axis.size().height() / 2, abs=2)


def test_an_all_empty_or_constant_map_is_drawn(qtbot) -> None:
    flat = odd_map().with_values(np.full((2, 5), 3.0))
    view = shown(qtbot, demo.demo_desk("odd", CalibrationSet((flat,))))
    ramp = colours.value_map(dark=view.inks.dark)
    assert close(colour_at(view, 1, 2), ramp[128])
    view = shown(
        qtbot, demo.demo_desk("odd", CalibrationSet((flat.with_values(np.full((2, 5), np.nan)),)))
    )
    assert view.note.text() == "10 cells are empty."


def test_the_colour_bar_names_states(qtbot) -> None:
    desk = demo.demo_desk("pre_engage_torque")
    table = desk.table
    named = replace(table, values=(table.values > table.values.mean()) * 1.0, labels="no, yes")
    desk.do(table_change(table, named, "Name"))
    view = shown(qtbot, desk)
    assert [view.bar._text(t) for t in view.bar._ticks(5)] == ["no", "yes"]
    assert view.bar.accessibleName() == "Colours: value from no to yes N·m"
