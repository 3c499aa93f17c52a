"""The part Manoeuvres: drives beside the window, compares, says what is missing, by keyboard."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.desk import Desk
from app.driving.limits import Forgetful
from app.driving.metrics_model import AGAINST, CURRENT, KEPT, LIMIT, SINCE
from app.driving.service import Driving
from app.driving.shapes import Case
from app.driving.traces import TraceRow
from app.road.manoeuvres.panel import ManoeuvresPanel
from app.work.jobs import Jobs
from calib_model.editing.blocks import scale
from calib_model.editing.change import values_change
from calib_model.session.document import Document
from calib_model.vehicle.campaign import NamedSet, Plan
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.variations import VARIATIONS, Points
from tests.driving.fake_driving import HILL, FakeModel, torque_of
from tests.letters import clashes
from tests.plots import demo_set as demo
from tests.waiting import settled


@pytest.fixture
def jobs(qapp) -> Iterator[Jobs]:  # type: ignore[no-untyped-def]
    made = Jobs()
    yield made
    made.finish()


@pytest.fixture
def panel(qtbot, desk: Desk, driving: Driving, jobs: Jobs, memory: Forgetful) -> ManoeuvresPanel:  # type: ignore[no-untyped-def]
    made = ManoeuvresPanel(desk, jobs, memory)
    qtbot.addWidget(made)
    made.resize(1200, 700)
    made.show()
    made.wait()
    return made


def edit(desk: Desk, factor: float) -> None:
    table = desk.table
    assert table is not None
    values = scale(table, np.ones(table.shape, dtype=bool), factor)
    assert desk.do(values_change(table, values, "Scale"))


def text(panel: ManoeuvresPanel, row: int, column: int) -> str:
    model = panel.metrics.metrics
    return str(model.data(model.index(row, column)))


def test_the_chosen_manoeuvre_is_driven_when_it_is_seen(panel: ManoeuvresPanel, desk: Desk) -> None:
    torque = torque_of(desk.current.content)  # type: ignore[union-attr]
    assert text(panel, 0, CURRENT) == f"{1000 / torque:.4g}"
    assert "Larch, empty" in panel.state.text()
    assert "desk estimates" in panel.state.text()
    assert "✓ completed" in panel.chooser.list.item(0).text()
    assert "invented" in panel.chooser.vehicle_words.text()


def test_an_edit_is_driven_and_held_against_the_saved_set(
    panel: ManoeuvresPanel, desk: Desk
) -> None:
    assert text(panel, 0, SINCE) == "= same"
    edit(desk, 0.5)
    panel.wait()
    assert "✗ worse" in text(panel, 0, SINCE)
    row = next(r for r in panel.traces.rows if isinstance(r, TraceRow) and r.row.id == "torque")
    now, saved = (row._lines[p, 0][0].getData()[1] for p in ("now", "saved"))
    assert saved[0] == pytest.approx(2 * now[0], rel=0.01)
    panel.drawn.saved_box.setChecked(False)
    assert [s.part for s in panel.drawn.shown] == ["now"]


def test_the_reference_set_is_held_against(panel: ManoeuvresPanel, desk: Desk) -> None:
    assert not panel.drawn.reference_box.isEnabled()
    other = demo.demo_set(mode="low_grip")
    table = other.tables["pre_engage_torque"]
    reference = Document(other.with_table(table.with_values(table.values * 2)))
    desk.add(reference)
    desk.set_reference(reference)
    panel.wait()
    assert panel.drawn.reference_box.isEnabled()
    assert text(panel, 0, AGAINST)
    assert set(panel.metrics.metrics.entries[0].runs) == {"now", "saved", "reference"}
    assert "✗ worse" in text(panel, 0, AGAINST)  # half the torque, by the fake twice the time


def test_limits_are_set_by_key_and_remembered(
    qtbot,  # type: ignore[no-untyped-def]
    panel: ManoeuvresPanel,
    memory: Forgetful,
    driving: Driving,
) -> None:
    panel.metrics.setFocus()
    panel.metrics.setCurrentIndex(panel.metrics.metrics.index(0, 0))
    qtbot.keyClick(panel.metrics, Qt.Key.Key_Return)
    editor = panel.metrics.focusWidget()
    assert panel.metrics.currentIndex().column() == LIMIT
    assert editor is not None
    model = panel.metrics.metrics
    assert model.setData(model.index(0, LIMIT), "2,5")
    assert text(panel, 0, LIMIT) == "≤ 2.5"
    assert text(panel, 0, KEPT) in ("✓ kept", "✗ not kept")
    assert driving.limits.of("launch_snow", "time_to_30") == 2.5
    assert "2.5" in memory.remembered("driving/limits")
    told: list[str] = []
    driving.desk.told.connect(lambda words, _refused: told.append(words))
    assert not model.setData(model.index(0, LIMIT), "1.234,5,6")
    assert told


def test_models_are_sound(qtmodeltester, panel: ManoeuvresPanel) -> None:  # type: ignore[no-untyped-def]
    qtmodeltester.check(panel.metrics.metrics, force_py=True)


def test_all_are_driven_in_the_background(qtbot, panel: ManoeuvresPanel) -> None:  # type: ignore[no-untyped-def]
    panel.drive_all()
    assert panel.chooser.run_all.text() == "Cancel"
    qtbot.waitUntil(lambda: panel._job is None)
    states = [panel.chooser.list.item(r).text() for r in range(4)]
    assert sum("✓" in s for s in states) == 3
    assert "✗ It rolled over after 2.1 s." in states[3]
    titles = [e for e in panel.all_metrics.metrics.entries if e.measure is None]
    assert len(titles) == 4


def test_a_run_out_of_range_is_told_in_place_of_plots(panel: ManoeuvresPanel) -> None:
    panel.chooser.choose("roll_over")
    panel.wait()
    assert not panel.traces._scroll.isVisible()
    assert "Nothing is plotted: It rolled over after 2.1 s." in panel.traces._empty.text()
    assert "was not completed" in panel.state.text()


def test_a_simulation_that_cannot_be_prepared_is_told(
    qtbot,  # type: ignore[no-untyped-def]
    desk: Desk,
    model: FakeModel,
    jobs: Jobs,
    memory: Forgetful,
) -> None:
    def prepare() -> str:
        assert model.hold.wait(10)
        return _fail()

    model.prepare = prepare  # type: ignore[method-assign]
    model.hold.clear()
    driving = Driving(desk, memory, model)
    made = ManoeuvresPanel(desk, jobs, memory)
    qtbot.addWidget(made)
    made.show()
    qtbot.waitUntil(lambda: not made._timer.isActive())
    assert "Preparing" in made.traces._empty.text()
    with qtbot.capture_exceptions() as caught:
        model.hold.set()
        driving.wait()
    assert [str(value) for _, value, _ in caught] == ["out of luck"]
    assert driving.state == "failed"
    for text in (made.state.text(), made.traces._empty.text()):
        assert "Preparing" not in text
    assert "out of luck" in made.state.text()


def test_a_run_that_ends_unexpectedly_is_told(
    qtbot,  # type: ignore[no-untyped-def]
    panel: ManoeuvresPanel,
    model: FakeModel,
) -> None:
    model.drive = _fail  # type: ignore[method-assign]
    with qtbot.capture_exceptions() as caught:
        panel.chooser.choose("hill_start_split")
        panel.wait()
    assert [str(value) for _, value, _ in caught] == ["out of luck"]
    assert "out of luck" in panel.state.text()
    panel.chooser.choose("launch_snow")  # what was driven before is shown again
    assert "out of luck" not in panel.state.text()


def _fail(*_arguments: object) -> str:
    raise RuntimeError("out of luck")


def test_what_is_missing_is_named(panel: ManoeuvresPanel, model: FakeModel, desk: Desk) -> None:
    model.remarks = ("Slip gain takes no part: 2 cells are empty.",)
    edit(desk, 0.9)
    panel.wait()
    assert "Slip gain takes no part: 2 cells are empty." in panel.state.text()


def test_the_path_is_drawn_with_equal_scales(panel: ManoeuvresPanel, qtbot) -> None:  # type: ignore[no-untyped-def]
    panel.chooser.choose("parking_circle")
    panel.wait()
    panel.show_tab(1)
    settled(qtbot, panel)
    assert panel.path.canvas.isVisible()
    width, height = panel.path.canvas.pixel()
    assert width == pytest.approx(height, rel=1e-6)
    panel.chooser.choose("launch_snow")
    panel.wait()
    assert not panel.path.canvas.isVisible()
    assert "straight ahead" in panel.path._note.text()


def test_keys_move_the_play_head_and_the_operating_point(
    qtbot,  # type: ignore[no-untyped-def]
    panel: ManoeuvresPanel,
    desk: Desk,
) -> None:
    panel.show_tab(0)
    traces = panel.traces
    qtbot.keyClick(traces, Qt.Key.Key_Home)
    qtbot.keyClick(traces, Qt.Key.Key_Right)
    assert traces.head == pytest.approx(0.02)
    qtbot.keyClick(traces, Qt.Key.Key_Right, Qt.KeyboardModifier.ControlModifier)
    assert traces.head == pytest.approx(0.52)
    assert desk.driving.play_head["pedal"] == pytest.approx(5.2)
    assert desk.driving.trail["pedal"][-1] == pytest.approx(5.2)
    row = next(r for r in traces.rows if isinstance(r, TraceRow) and r.row.id == "speed")
    assert "1.56" in row.title.whole  # 3 km/h per second
    qtbot.keyClick(traces, Qt.Key.Key_End)
    assert traces.head == pytest.approx(9.98)
    before = traces._view
    qtbot.keyClick(traces, Qt.Key.Key_Plus)
    assert traces._view[1] - traces._view[0] < before[1] - before[0]
    qtbot.keyClick(traces, Qt.Key.Key_0)
    assert traces._view == before


def test_enter_opens_the_table_that_decided(
    qtbot,  # type: ignore[no-untyped-def]
    panel: ManoeuvresPanel,
    desk: Desk,
) -> None:
    desk.open_table("pre_engage_fade")
    jumps = []
    panel.jumped.connect(lambda: jumps.append(1))
    panel.traces.set_head(4.0)  # pedal 40 % at -20 degC; role 0 decides
    qtbot.keyClick(panel.traces, Qt.Key.Key_Return)
    table = desk.table
    assert table is not None
    assert jumps == [1]
    assert table.id == "pre_engage_torque"
    assert table.coordinates(desk.cursor) == (-20.0, 40.0)


def test_another_load_case_drives_again(panel: ManoeuvresPanel, model: FakeModel) -> None:
    place = panel.chooser.variant.findData("laden")
    panel.chooser.variant.setCurrentIndex(place)
    panel.chooser.variant.activated.emit(place)
    panel.wait()
    assert model.driven[-1][1] == "laden"
    assert "laden" in panel.state.text()


def test_manoeuvres_of_the_users_are_listed(panel: ManoeuvresPanel, tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = tmp_path / "mine.toml"
    file.write_text("")
    panel.driving.choose_manoeuvres(file)
    assert panel.chooser.list.count() == 5
    assert "My launch (yours)" in panel.chooser.list.item(4).text()
    file.unlink()
    panel.driving._listed = None
    panel.chooser.refresh()
    assert panel.chooser.list.count() == 4
    panel._say()
    assert "It is not there" in panel.state.text()


def test_sensitivity_is_drawn_over_the_cells(qtbot, panel: ManoeuvresPanel, desk: Desk) -> None:  # type: ignore[no-untyped-def]
    tab = panel.sensitivity
    content = desk.current.content  # type: ignore[union-attr]
    assert tab.table.currentData() == "pre_engage_torque"  # the one in work
    panel.show_tab(3)
    tab.step.setText("2")
    tab.run()
    qtbot.waitUntil(lambda: tab.found is not None)
    assert tab.found is not None
    table = content.tables[tab.found.table_id]
    # The fake's change is the step times the cell's number.
    assert "Most: " in tab.words.text()
    last = tuple(n - 1 for n in table.shape)
    assert tab.cells.cells.sentence(last).startswith(f"{table.axes[0].values[-1]:g}")
    assert tab.cells.current_sentence() == tab.cells.cells.sentence(last)
    wanted = []
    tab.cell_wanted.connect(lambda id, cell: wanted.append((id, cell)))
    qtbot.keyClick(tab.cells, Qt.Key.Key_Return)
    assert wanted == [(table.id, last)]
    assert desk.cursor == last
    tab.step.setText("0")
    tab.run()
    assert "A step of nothing" in tab.words.text()


def test_sensitivity_is_marked_in_tune_until_it_is_out_of_date(
    qtbot,  # type: ignore[no-untyped-def]
    panel: ManoeuvresPanel,
    desk: Desk,
) -> None:
    tab, told, jumps = panel.sensitivity, [], []
    desk.told.connect(lambda text, refused: told.append((text, refused)))
    panel.jumped.connect(lambda: jumps.append(True))
    panel.show_tab(3)
    assert not tab.tune_button.isEnabled()
    tab.toggle_in_tune()
    assert told[-1][1]

    def drive() -> None:
        tab.run()
        qtbot.waitUntil(lambda: tab.found is not None)

    tab.step.setText("2")
    drive()
    qtbot.keyClick(tab.cells, Qt.Key.Key_T)
    marks = desk.driving.cell_marks
    assert marks is not None
    assert jumps == [True]
    assert tab.found is not None
    np.testing.assert_array_equal(marks.amounts, tab.found.change)
    assert marks.levels.max() == 4
    cell = tuple(n - 1 for n in tab.found.change.shape)
    assert marks.words(cell).startswith(f"{tab.found.metric.label} +")
    assert "for +2" in marks.words(cell)
    assert "Launch on snow" in marks.summary
    assert "Hide" in tab.tune_button.text()
    tab.toggle_in_tune()
    assert desk.driving.cell_marks is None

    tab.toggle_in_tune()
    edit(desk, 1.1)
    assert desk.driving.cell_marks is None, "other values: it is not true any more"
    assert any("out of date" in text for text, _ in told)
    assert not tab.is_in_tune
    tab.toggle_in_tune()
    assert desk.driving.cell_marks is None
    assert "Drive every cell again" in told[-1][0]
    panel.wait()
    drive()
    tab.toggle_in_tune()
    assert desk.driving.cell_marks is not None
    panel.driving.choose_variant("laden")
    assert desk.driving.cell_marks is None


def test_a_run_of_a_campaign_is_driven_again(
    panel: ManoeuvresPanel, desk: Desk, driving: Driving, model: FakeModel
) -> None:
    content = desk.current.content  # type: ignore[union-attr]
    points = Points((VARIATIONS["friction"],), np.full((12, 1), 0.5), "grid")
    plan = Plan((NamedSet("larch", content),), (HILL,), LARCH, points)
    driving.show_case(Case(plan, 11))
    panel.wait()
    assert model.driven[-1] == ("hill_start_split", "", {"friction": 0.5})
    assert panel.chooser.manoeuvre == "hill_start_split"
    assert "Run 12 of the campaign with larch (friction 0.5)." in panel.state.text()
    assert text(panel, 0, CURRENT) == f"{torque_of(content) * 0.5 / 100:.4g}"
    panel.chooser.choose("launch_snow")
    panel.wait()
    assert "campaign" not in panel.state.text()


def test_what_is_left_out_and_the_cautions_are_on_the_page(panel: ManoeuvresPanel) -> None:
    page = panel.about.toPlainText()
    assert "No gearbox: no jolt." in page
    assert "ISO 26262" in page
    assert "desk estimates" in page


def test_a_run_that_proves_nothing_is_not_recorded(panel: ManoeuvresPanel, desk: Desk) -> None:
    told: list[tuple[str, bool]] = []
    desk.told.connect(lambda text, refused: told.append((text, refused)))
    panel.chooser.choose("roll_over")
    panel.wait()
    panel.drawn.evidence_button.click()
    assert told[-1] == ("This run is no evidence. It rolled over after 2.1 s.", True)
    assert not desk.current.content.record.drives  # type: ignore[union-attr]


def test_letters_lead_to_one_place_each(panel: ManoeuvresPanel) -> None:
    for tab in range(panel.tabs.count()):
        panel.tabs.setCurrentIndex(tab)
        assert not clashes(panel)
