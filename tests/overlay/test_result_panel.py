"""The resulting torque in a real widget: maps, words, jumps, breaches, edits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QColor, QWheelEvent
from PySide6.QtWidgets import QApplication

from app.colours import colours_of, contrast, value_map
from app.desk import Desk
from app.plots.panel import MAP, RESULT, SURFACE, PlotPanel
from app.plots.result import panel as result_panel
from app.plots.result.drawn import borders, room_at
from app.plots.result.inks import shaded
from app.plots.result.panel import ALL, FIRST, LESS, SECOND, ResultPanel
from app.plots.result.reckon import RESTLESS, Named, kinds_of, reckon
from app.vehicle_in_use import vehicle_in_use
from calib_model.controller.binding import bind
from calib_model.controller.constants import LARCH
from calib_model.core.roles import ROLES
from calib_model.editing.change import values_change
from calib_model.evidence.result import Ask, Integral, resulting
from calib_model.session.document import Document
from calib_model.vehicle.parameters import read_vehicle
from tests.overlay.sets import bound, sample
from tests.waiting import settled

VEHICLE = Path(__file__).resolve().parents[2] / "sample_sets" / "larch_vehicle.toml"


def desk_with(current: str = "low_grip", reference: str = "normal") -> Desk:
    desk = Desk()
    for name in (reference, current):
        desk.add(Document(sample(name)))
    desk.set_reference(desk.documents[0])
    desk.set_current(desk.documents[1])
    return desk


def shown(qtbot, desk: Desk, size: tuple[int, int] = (1250, 640)) -> ResultPanel:
    panel = ResultPanel(desk, ("A", "B"))
    qtbot.addWidget(panel)
    panel.resize(*size)
    panel.show()
    first, second = desk.reference, desk.current
    panel.show_sets(
        Named("normal", first.content) if first is not None else None,
        Named("low grip", second.content),
    )
    settle(qtbot, panel)
    return panel


def settle(qtbot, panel: ResultPanel) -> None:
    qtbot.waitUntil(lambda: not panel._timer.isActive(), timeout=2000)
    panel.wait()
    settled(qtbot, panel)


def ask_for(qtbot, panel: ResultPanel, x: str, y: str, **at: float) -> None:
    for name, value in at.items():
        panel.asking.set_at(name, value)
    panel.asking.set_axes(x, y)
    settle(qtbot, panel)


def test_three_maps_show_both_sets_and_the_difference(qtbot) -> None:
    panel = shown(qtbot, desk_with())
    assert panel.views.currentIndex() == ALL
    ask_for(qtbot, panel, "pedal", "ambient_temperature", vehicle_speed=0.0)
    picture = panel.picture
    assert (picture.ask.x, picture.ask.y) == ("pedal", "ambient_temperature")
    assert picture.ask.integral is Integral.EMPTY
    for told, name in ((picture.first, "normal"), (picture.second, "low_grip")):
        alone = resulting(bound(sample(name)), picture.ask, told.x, told.y)
        assert np.array_equal(told.torque, alone.torque)
        assert np.array_equal(told.governing, alone.governing)
    for one in panel.maps:
        assert one.isVisible()
        assert one.canvas.bottom._text == "Accelerator pedal"
        assert one.canvas.left._text == "Ambient temperature"
    assert "Pre-engage torque" in panel.maps[FIRST].words_drawn
    assert "B higher" in panel.maps[LESS].words_drawn
    words = [entry.words for entry in panel.legend.entries]
    assert "hatched: breaches the mode relation" in words
    assert any("Pre-engage torque" in w for w in words)
    assert panel.maps[LESS].title.whole.startswith("B less A: −20 to +")


def test_rows_and_columns_are_not_exchanged_and_colours_are_the_torque(qtbot) -> None:
    panel = shown(qtbot, desk_with())
    panel.colours.setCurrentIndex(1)
    ask_for(qtbot, panel, "pedal", "ambient_temperature", vehicle_speed=0.0)
    told, view = panel.picture.second, panel.maps[SECOND]
    most = max(np.nanmax(told.torque), np.nanmax(panel.picture.first.torque))
    wanted = colours_of(told.torque, 0.0, float(most), value_map(dark=view.inks.dark))
    panel.set_place(0, 0)
    settled(qtbot, panel)
    image = view.canvas.viewport().grab().toImage()
    hits = 0
    for row in (3, 20, 33):
        for column in (6, 18, 30):
            at = view.canvas.to_viewport(told.x[column], told.y[row])
            got = image.pixelColor(at.toPoint())
            hits += _close(got, wanted[row, column])
    assert hits >= 8  # a label may cover one
    # Warmer is up.
    low, high = (view.canvas.to_viewport(50.0, t).y() for t in (-40.0, 40.0))
    assert high < low


def _close(colour: QColor, rgb: np.ndarray) -> bool:
    got = np.array([colour.red(), colour.green(), colour.blue()], int)
    return bool(np.abs(got - rgb.astype(int)).max() <= 2)


def test_the_read_out_says_values_and_the_tables_that_decide(qtbot) -> None:
    panel = shown(qtbot, desk_with())
    ask_for(qtbot, panel, "pedal", "ambient_temperature", vehicle_speed=0.0)
    x, y = panel.picture.second.x, panel.picture.second.y
    row, column = int(np.flatnonzero(y == -20.0)[0]), int(np.flatnonzero(x == 100.0)[0])
    panel.set_place(row, column)
    assert panel.read_out.whole == (
        "100 %, −20 °C: A 386 N·m (Pre-engage torque); B 366 N·m (Pre-engage torque); −20 N·m"
    )  # the scenario: 20 N.m below normal there
    assert panel.accessibleDescription() == panel.read_out.whole
    qtbot.keyClick(panel, Qt.Key.Key_Up)
    qtbot.keyClick(panel, Qt.Key.Key_Left)
    assert panel.place == (row + 1, column - 1)
    qtbot.keyClick(panel, Qt.Key.Key_Left, Qt.KeyboardModifier.ControlModifier)
    assert panel.place == (row + 1, 0)
    panel.maps[FIRST].picked.emit(4, 5)
    assert panel.place == (4, 5)


def test_enter_goes_to_the_cells_that_decide(qtbot) -> None:
    desk = desk_with()
    panel = shown(qtbot, desk)
    jumped, focused = [], []
    panel.jumped.connect(lambda: jumped.append(1))
    desk.focus_grid.connect(lambda: focused.append(1))
    ask_for(qtbot, panel, "pedal", "ambient_temperature", vehicle_speed=0.0)
    x, y = panel.picture.second.x, panel.picture.second.y
    panel.set_place(int(np.abs(y + 20).argmin()), int(np.abs(x - 84).argmin()))
    desk.open_table("steering_limit")
    qtbot.keyClick(panel, Qt.Key.Key_Return)
    assert desk.table.id == "pre_engage_torque"
    assert desk.table.coordinates(desk.cursor) == (-20.0, 85.0)
    assert (jumped, focused) == ([1], [1])
    # The other set's deciding table, where it is another.
    ask_for(qtbot, panel, "front_slip", "vehicle_speed", pedal=100.0)
    differ = panel.picture.first.governing != panel.picture.second.governing
    row, column = (int(i) for i in np.argwhere(differ & (panel.picture.first.governing >= 0))[0])
    panel.set_place(row, column)
    qtbot.keyClick(panel, Qt.Key.Key_Return, Qt.KeyboardModifier.ShiftModifier)
    assert desk.table.role == ROLES[panel.picture.first.governing[row, column]]
    qtbot.keyClick(panel, Qt.Key.Key_Return)
    assert desk.table.role == ROLES[panel.picture.second.governing[row, column]]


def test_breaches_are_listed_and_stepped_through(qtbot) -> None:
    desk = desk_with()
    told = []
    desk.told.connect(lambda text, refused: told.append(text))
    panel = shown(qtbot, desk)
    ask_for(qtbot, panel, "pedal", "ambient_temperature", vehicle_speed=0.0)
    check = panel.picture.check
    assert panel.breaches.count() == len(check.breaches) == 1
    assert panel.breaches.item(0).text().startswith("Up to 20 N·m below the base")
    assert panel.relation.whole.startswith("Mode relation breached at")
    qtbot.keyClick(panel, Qt.Key.Key_PageDown)
    assert panel.place == check.breaches[0].worst
    assert told[-1] == check.breaches[0].words
    rim_x, rim_y = panel.maps[LESS]._rim.getData()
    mask_x = panel.picture.second.x[check.mask.any(axis=0)]
    assert rim_x.min() < mask_x.min() < mask_x.max() < rim_x.max() + 1e-9
    assert rim_y.size


def test_an_edit_is_shown_and_the_breach_goes(qtbot) -> None:
    desk = desk_with()
    panel = shown(qtbot, desk)
    ask_for(qtbot, panel, "pedal", "ambient_temperature", vehicle_speed=0.0)
    assert panel.picture.check.breaches
    table = desk.current.content["pre_engage_torque"]
    base = desk.reference.content["pre_engage_torque"]
    desk.do(values_change(table, np.maximum(table.values, base.values), "Raise"))
    panel.show_sets(
        Named("normal", desk.reference.content), Named("low grip", desk.current.content)
    )
    settle(qtbot, panel)
    assert not panel.picture.check.breaches
    assert panel.relation.whole.startswith("Mode relation holds at")
    assert not panel.maps[LESS]._rim.isVisible()
    assert not panel.breaches.isVisible()


def test_slip_says_what_becomes_of_the_integral(qtbot) -> None:
    panel = shown(qtbot, desk_with())
    panel.asking.set_at("front_slip", 3.0)
    ask_for(qtbot, panel, "pedal", "vehicle_speed")
    empty = panel.picture.second.torque
    panel.asking.integral.setCurrentIndex(1)
    panel.asking.integral.activated.emit(1)
    settle(qtbot, panel)
    assert panel.picture.ask.integral is Integral.GROWN
    assert panel.picture.second.settled.all()
    assert (panel.picture.second.torque >= empty - 1e-6).all()
    assert (panel.picture.second.torque > empty + 1).any()


def test_one_set_alone_has_one_map(qtbot) -> None:
    desk = desk_with()
    desk.set_reference(None)
    panel = shown(qtbot, desk)
    assert [one.isVisible() for one in panel.maps] == [False, True, False]
    assert panel.views.isHidden()
    assert "low grip" in panel.maps[SECOND].title.whole


def test_where_it_is_narrow_one_map_is_shown_at_a_time(qtbot) -> None:
    panel = shown(qtbot, desk_with(), (620, 360))
    assert not panel.views.isTabVisible(ALL)
    for number in (FIRST, SECOND, LESS):
        panel.show_view(number)
        assert [one.isVisible() for one in panel.maps] == [n == number for n in range(3)]
    # Form and map take turns where there is no room for both.
    assert panel.asking.isHidden()
    panel.inputs_button.click()
    assert not any(one.isVisible() for one in panel.maps)
    assert panel.asking.isVisible()
    settled(qtbot, panel)
    # Nothing of the form is cut off at its right edge.
    for label, field in panel.asking._fields.values():
        right = field.mapTo(panel.asking, QPoint(field.width(), 0)).x()
        assert right <= panel.asking.viewport().width() + 1
        assert label.width() >= label.sizeHint().width()


def test_a_set_without_parts_says_why_there_is_nothing(qtbot) -> None:
    desk = Desk()
    desk.add(Document(sample("normal").replaced(dict.fromkeys(sample("normal").tables))))
    panel = ResultPanel(desk)
    qtbot.addWidget(panel)
    panel.show()
    panel.show_sets(None, Named("empty", desk.current.content))
    settle(qtbot, panel)
    assert "roles" in panel.sentence.text()
    assert panel.sentence.isVisible()
    panel.show_sets(None, None)
    settle(qtbot, panel)
    assert panel.sentence.text() == "No set is open."


def test_nothing_is_reckoned_while_it_is_not_seen(qtbot, monkeypatch) -> None:
    panel = shown(qtbot, desk_with())
    count = []
    monkeypatch.setattr(result_panel, "reckon", lambda *a: count.append(1) or reckon(*a))
    panel.hide()
    panel.asking.set_axes("pedal", "grade")
    settled(qtbot, panel)
    assert not count
    panel.show()
    settle(qtbot, panel)
    assert count == [1]
    assert panel.picture.ask.y == "grade"


def test_the_same_input_is_never_on_both_axes(qtbot) -> None:
    panel = shown(qtbot, desk_with())
    asking = panel.asking
    number = asking.across.findData("vehicle_speed")
    asking.across.setCurrentIndex(number)
    asking.across.activated.emit(number)
    settle(qtbot, panel)
    assert panel.picture.ask.x == "vehicle_speed"
    assert panel.picture.ask.y != "vehicle_speed"
    ask_for(qtbot, panel, "axle_speed_difference", "steering_angle", vehicle_speed=10.0)
    assert "front_slip" not in panel.asking._fields
    assert "expected_axle_difference" not in panel.picture.second.left_out


def test_the_wheel_changes_no_input(qtbot) -> None:
    panel = shown(qtbot, desk_with())
    before = panel.asking.ask
    for field in [f for _, f in panel.asking._fields.values()] + [panel.asking.across]:
        event = QWheelEvent(
            QPointF(3, 3), QPointF(field.mapToGlobal(QPoint(3, 3))), QPoint(), QPoint(0, 120),
            Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier,
            Qt.ScrollPhase.NoScrollPhase, False,
        )  # fmt: skip
        QApplication.sendEvent(field, event)
    assert panel.asking.ask == before


def test_fields_have_names_with_units(qtbot) -> None:
    panel = shown(qtbot, desk_with())
    names = {f.accessibleName() for _, f in panel.asking._fields.values()}
    assert "Ambient temperature, °C" in names
    assert "Front slip, km/h" in names
    assert panel.asking.across.accessibleName() == "Input along the bottom"


# -- pieces -------------------------------------------------------------------------------------


def test_borders_lie_between_different_kinds_only() -> None:
    kinds = np.array([[0, 0, 1], [0, 2, 1]])
    edges_x, edges_y = np.arange(4.0), np.arange(3.0)
    x, y = borders(kinds, edges_x, edges_y)
    strokes = {tuple(map(float, s)) for s in np.stack([x[::2], y[::2], x[1::2], y[1::2]], -1)}
    assert strokes == {  # worked by hand
        (2.0, 0.0, 2.0, 1.0), (1.0, 1.0, 1.0, 2.0), (2.0, 1.0, 2.0, 2.0), (1.0, 1.0, 2.0, 1.0),
    }  # fmt: skip
    room = room_at(kinds == 0, (0, 0), edges_x, edges_y)
    assert (room.x, room.y, room.width, room.height) == (1.0, 1.0, 2.0, 2.0)


@pytest.mark.parametrize("dark", [False, True])
def test_deeper_means_more_and_kinds_keep_apart(dark: bool, qapp) -> None:
    from app.colours import inks
    from app.shell.theme import palette

    ink = inks(palette("dark" if dark else "light"))
    kinds = np.array([[0, 0, 0]])
    rgb = shaded(kinds, np.array([[0.0, 50.0, 100.0]]), 100.0, ink)
    ratios = [contrast(QColor(*c), ink.ground) for c in rgb[0].tolist()]
    assert ratios == sorted(ratios)
    assert ratios[-1] > ratios[0] + 0.5


def test_points_that_never_rest_have_a_kind_of_their_own() -> None:
    content = sample("normal")
    away = content["disconnect_speed"]
    chatter = content["reconnect_speed"].with_values(np.full(away.shape, away.values.max() + 9))
    law = bound(content.with_table(chatter))
    ask = Ask("pedal", "vehicle_speed", {"ambient_temperature": 20.0})
    speeds = np.array([10.0, float(away.values.max()) + 4])
    kinds = kinds_of(resulting(law, ask, np.array([0.0]), speeds))
    assert kinds[1, 0] == RESTLESS
    assert kinds[0, 0] >= 0


# -- in Tune's panel ----------------------------------------------------------------------------


def tune_panel(qtbot, desk: Desk) -> PlotPanel:
    panel = PlotPanel(desk)
    qtbot.addWidget(panel)
    panel.resize(760, 420)
    panel.show()
    return panel


def test_the_tab_stands_beside_the_plots_of_any_table(qtbot) -> None:
    desk = desk_with()
    desk.open_table("pre_engage_torque")
    panel = tune_panel(qtbot, desk)
    assert panel.result is None
    panel.show_result()
    settle(qtbot, panel.result)
    assert panel.shows_result
    assert panel.pages.currentWidget() is panel.result
    assert panel.legend.isHidden()
    assert panel.mode_choice.isHidden()
    assert panel.result.maps[SECOND].title.whole.startswith("This set")
    desk.open_table("pre_engage_fade")  # a curve: the tab stays
    assert panel.pages.currentWidget() is panel.result
    assert not panel.tabs.isTabVisible(SURFACE)
    panel.show_result()
    assert not panel.shows_result
    assert panel.pages.currentWidget() is panel.curve
    assert panel.tabs.tabText(MAP) == "Plot"
    assert panel.legend.isVisible()
    desk.open_table("pre_engage_torque")
    assert panel.tabs.tabText(MAP) == "Map and slices"
    assert panel.tabs.isTabVisible(RESULT)


def test_edits_in_tune_reach_the_result(qtbot) -> None:
    desk = desk_with()
    panel = tune_panel(qtbot, desk)
    panel.show_result()
    settle(qtbot, panel.result)
    before = panel.result.picture.second.torque.copy()
    desk.open_table("pre_engage_torque")
    table = desk.table
    desk.do(values_change(table, table.values + 5.0, "Raise"))
    settle(qtbot, panel.result)
    assert (panel.result.picture.second.torque > before).any()
    desk.set_reference(None)
    settle(qtbot, panel.result)
    assert panel.result.picture.first is None


def test_the_chosen_vehicles_constants_count(qtbot, tmp_path) -> None:
    desk = desk_with()
    panel = shown(qtbot, desk)
    ask_for(qtbot, panel, "pedal", "axle_speed_difference", vehicle_speed=30.0)
    assert "invented programme Larch" in panel.relation.toolTip()
    text = VEHICLE.read_text(encoding="utf-8")
    path = tmp_path / "slow_shaft.toml"
    path.write_text(text.replace("\nrear_ratio = 2.6", "\nrear_ratio = 5.2"), encoding="utf-8")
    vehicle_in_use(desk).choose(path)
    settle(qtbot, panel)
    assert "slow_shaft.toml" in panel.relation.toolTip()
    picture = panel.picture
    law = bind(desk.current.content, read_vehicle(path).constants)
    told = resulting(law, picture.ask, picture.second.x, picture.second.y)
    np.testing.assert_array_equal(picture.second.torque, told.torque)
    usual = bind(desk.current.content, LARCH)
    other = resulting(usual, picture.ask, picture.second.x, picture.second.y)
    assert not np.array_equal(other.torque, told.torque)


def test_a_vehicle_file_that_cannot_be_used_is_named(qtbot, tmp_path) -> None:
    desk = desk_with()
    vehicle_in_use(desk).choose(tmp_path / "gone.toml")
    panel = shown(qtbot, desk)
    assert panel.picture is None
    assert "gone.toml" in panel.sentence.text()


def test_work_that_ends_unexpectedly_is_told(qtbot, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_arguments: object) -> None:
        raise RuntimeError("out of luck")

    monkeypatch.setattr(result_panel, "reckon", fail)
    with qtbot.capture_exceptions() as caught:
        panel = shown(qtbot, desk_with())
    assert [str(value) for _, value, _ in caught] == ["out of luck"]
    assert "out of luck" in panel.sentence.text()
