"""The page Compare: sides, list, marks, keys, taking over."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.compare.earlier import EarlierDialog
from app.compare.sides import AS_SAVED
from app.compare.taking import Scope
from calib_model.compare import State
from calib_model.compare.take_over import Into
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import Change, values_change
from calib_model.session.document import Document

PEDAL = Axis([0.0, 50.0, 100.0], name="Pedal", unit="%", quantity="pedal")
SPEED = Axis([0.0, 40.0, 80.0, 120.0], name="Speed", unit="km/h", quantity="vehicle_speed")
STEP = Storage.of("uint16", "0.5")
MAP = Table("map", np.arange(12.0).reshape(3, 4), (PEDAL, SPEED), name="Map", unit="N.m",
            storage=STEP, function="Clutch", relations={"low_grip": ">="})  # fmt: skip
CURVE = Table("curve", [10.0, 20.0, 30.0], (PEDAL,), name="Curve", unit="N.m", storage=STEP)


def _set(*tables: Table, **about: object) -> CalibrationSet:
    return CalibrationSet({t.id: t for t in tables}, **about)  # type: ignore[arg-type]


def _document(content: CalibrationSet, name: str) -> Document:
    return Document(content, Path(name), author="Ada")


def _with(table: Table, **cells: float) -> Table:
    values = table.values.copy()
    for place, value in cells.items():
        values[tuple(int(d) for d in place[1:])] = value
    return table.with_values(values)


def _edit(table: Table, cell: int, value: float) -> Change:
    return values_change(table, _with(table, **{f"c{cell}": value}).values, f"Set to {value:g}")


# -- sides -----------------------------------------------------------------------------------------


def test_the_reference_is_a_and_the_set_being_edited_is_b(larch) -> None:
    comparing = larch.page.comparing
    assert comparing.first.name == "larch_normal.h5"
    assert comparing.second.name == "larch_low_grip.h5"
    result = comparing.prepared.comparison
    assert sorted(b.table for b in result.breaches) == ["pre_engage_torque", "slip_target"]
    assert (
        "2 tables in breach of the relation of low_grip to normal" in larch.page.sides.words.whole
    )


def test_swapping_turns_every_sign(larch) -> None:
    page = larch.page
    page.summary.show_table("disconnect_delay")
    assert page.detail.pair.aligned.values.max() == 20
    page.comparing.swap()
    larch.settle()
    assert page.comparing.first.name == "larch_low_grip.h5"
    assert page.detail.pair.aligned.values.min() == -20
    assert page.comparing.prepared.comparison.breaches  # whichever set is named first


def test_nothing_open_is_said_in_words(make) -> None:
    bench = make()
    assert not bench.page.comparing.ready
    assert "Open two sets" in bench.page.empty.text()
    assert bench.page.empty.isVisible()
    assert not bench.page.strip.isVisible()


def test_one_set_offers_its_earlier_states_and_a_second_set_joins(make) -> None:
    document = _document(_set(CURVE), "one.h5")
    bench = make(document)
    assert "Only one.h5 is open" in bench.page.empty.text()
    assert bench.page.earlier_button.isVisible()
    bench.desk.add(_document(_set(CURVE.with_values([1.0, 2.0, 3.0])), "two.h5"))
    bench.settle()
    assert bench.page.comparing.second.name == "two.h5"
    assert bench.page.summary.rows.rowCount() == 1
    bench.desk.remove(bench.desk.documents[1])
    bench.settle()
    assert bench.page.empty.isVisible()


def test_an_edited_set_stands_against_its_saved_state(make) -> None:
    document = _document(_set(CURVE), "one.h5")
    document.do(_edit(CURVE, 0, 12.0))
    bench = make(document)
    comparing = bench.page.comparing
    assert comparing.first.when == AS_SAVED
    assert comparing.prepared.comparison.tables["curve"].largest == 2
    assert not bench.page.strip.into_first.isEnabled()
    assert "stays as it was" in bench.page.strip.into_first.toolTip()
    assert bench.page.strip.into_second.isEnabled()


def test_an_earlier_state_is_chosen_from_the_history(make, qtbot) -> None:
    document = _document(_set(CURVE), "one.h5")
    for value in (11.0, 12.0, 13.0):
        document.do(_edit(document.content["curve"], 0, value))
    document.begin_save()
    document.mark_saved(document.content)
    bench = make(document)
    bench.page.choose_earlier()
    dialog = bench.page.findChild(EarlierDialog)
    texts = [dialog.states.item(n).text() for n in range(dialog.states.count())]
    assert len(texts) == 3
    assert texts[0].startswith("Before “Set")
    assert "by Ada" in texts[0]
    dialog.states.setCurrentRow(1)
    qtbot.keyClick(dialog.states, Qt.Key.Key_Return)
    bench.settle()
    pair = bench.page.comparing.prepared.comparison.tables["curve"]
    assert (pair.first.values[0], pair.second.values[0]) == (11, 13)
    assert not bench.page.comparing.first.is_live
    # A later edit shows at once against the state that stays.
    document.do(_edit(document.content["curve"], 0, 20.0))
    assert bench.page.comparing.prepared.comparison.tables["curve"].largest == 9


def test_a_set_without_history_says_so(make) -> None:
    bench = make(_document(_set(CURVE), "one.h5"))
    bench.page.choose_earlier()
    dialog = bench.page.findChild(EarlierDialog)
    assert "no history" in dialog.states.item(0).text()
    assert not dialog.buttons.button(dialog.buttons.StandardButton.Ok).isEnabled()
    dialog.reject()


def test_edits_made_elsewhere_are_seen_when_the_page_is_shown_again(make) -> None:
    first, second = _document(_set(CURVE), "a.h5"), _document(_set(CURVE), "b.h5")
    bench = make(first, second)
    bench.page.hide()
    second.do(_edit(CURVE, 1, 25.0))
    assert bench.page.comparing.prepared.comparison.same
    bench.page.show()
    bench.settle()
    assert bench.page.comparing.prepared.comparison.tables["curve"].largest == 5


# -- the list --------------------------------------------------------------------------------------


def _listed(bench) -> list[str]:
    return bench.page.summary.rows.ids()


def _several() -> tuple[CalibrationSet, CalibrationSet]:
    """One table for each state, differences of known sizes."""
    span = {"lower": 0.0, "upper": 100.0}
    tables = {
        "same": replace(CURVE, id="same"),
        "large": replace(CURVE, id="large", upper=1000.0, lower=0.0, name="Large"),
        "small": replace(CURVE, id="small", function="Clutch", **span),
        "coarse": replace(CURVE, id="coarse", storage=Storage("uint16"), **span),
        "rounding": replace(CURVE, id="rounding"),
        "gone": replace(CURVE, id="gone"),
        "axes": replace(CURVE, id="axes"),
        "unit": replace(CURVE, id="unit"),
        "stored": replace(CURVE, id="stored"),
    }
    other = dict(tables)
    other["large"] = tables["large"].with_values([10.0, 20.0, 40.0])  # 1 %, 20 steps
    other["small"] = tables["small"].with_values([10.0, 20.0, 33.0])  # 3 %, 6 steps
    other["coarse"] = tables["coarse"].with_values([10.0, 20.0, 34.0])  # 4 %, 4 steps
    other["rounding"] = tables["rounding"].with_values([10.0, 20.1, 30.0])
    del other["gone"]
    other["axes"] = replace(tables["axes"], axes=(replace(PEDAL, values=[0.0, 60.0, 100.0]),))
    other["unit"] = replace(tables["unit"], unit="kN.m", values=tables["unit"].values / 1000)
    other["stored"] = replace(tables["stored"], storage=Storage())
    other["new"] = replace(CURVE, id="new")
    return _set(*tables.values()), _set(*other.values())


def test_every_state_is_told_apart_in_words(make) -> None:
    bench = make(*_several())
    rows = bench.page.summary.rows
    spoken = {
        rows.pair_at(n).id: rows.index(n).data(Qt.ItemDataRole.AccessibleTextRole)
        for n in range(rows.rowCount())
    }
    assert "same" not in spoken
    wanted = {
        "large": "changed, 1 cell", "rounding": "only by rounding", "gone": "only in A",
        "new": "only in B", "axes": "axes differ", "unit": "units differ",
        "stored": "storage differs",
    }  # fmt: skip
    for id, words in wanted.items():
        assert words in spoken[id]
    assert bench.page.sides.words.whole.startswith("10 tables: 1 same, 1 only by rounding")


def test_sorting_by_size_in_three_measures(make) -> None:
    bench = make(*_several())
    summary = bench.page.summary
    wanted = {"percent of range": ["coarse", "small", "large"],
              "storage steps": ["large", "small", "coarse"],
              "largest difference": ["large", "coarse", "small"]}  # fmt: skip
    for measure, order in wanted.items():
        summary.order.setCurrentIndex(summary.order.findText(measure))
        assert [id for id in _listed(bench) if id in order] == order
    summary.order.setCurrentIndex(summary.order.findText("name"))
    assert _listed(bench)[-1] == "large"  # every other one is called Curve


def test_filters_by_state_function_and_text(make) -> None:
    bench = make(*_several())
    summary = bench.page.summary
    summary.state.setCurrentIndex(summary.state.findText("only in A"))
    assert _listed(bench) == ["gone"]
    summary.state.setCurrentIndex(summary.state.findText("all tables"))
    assert len(_listed(bench)) == 10
    summary.function.setCurrentIndex(summary.function.findText("Clutch"))
    assert _listed(bench) == ["small"]
    summary.filter.setText("nothing like it")
    assert summary.nothing.isVisible()
    assert "holds “nothing like it” and belongs to Clutch" in summary.nothing.text()
    bench.page.list_all()
    assert len(_listed(bench)) == 9


def test_a_threshold_leaves_out_what_is_small_and_says_how_many(make) -> None:
    bench = make(*_several())
    summary = bench.page.summary
    summary.amount.setValue(5)
    assert "coarse" not in _listed(bench)  # 4 steps
    assert "small" in _listed(bench)  # 6 steps
    assert "rounding" not in _listed(bench)
    assert "2 below the threshold left out" in summary.count.text()
    assert {"axes", "unit", "stored", "gone"} <= set(_listed(bench))
    summary.measure.setCurrentIndex(1)
    summary.amount.setValue(3.5)
    assert [i for i in _listed(bench) if i in ("small", "coarse", "large")] == ["coarse"]


def test_breaches_alone_and_the_model_behaves(larch, qtmodeltester) -> None:
    summary = larch.page.summary
    summary.breaches.setChecked(True)
    assert set(_listed(larch)) == {"pre_engage_torque", "slip_target"}
    qtmodeltester.check(summary.rows)
    # A breach stays listed however small its difference is.
    summary.amount.setValue(1000)
    assert set(_listed(larch)) == {"pre_engage_torque", "slip_target"}


# -- one table -------------------------------------------------------------------------------------


def test_grids_share_cursor_selection_and_scrolling(larch) -> None:
    page = larch.page
    page.summary.show_table("pre_engage_torque")
    first, second, less = (page.detail.panes[w].view for w in ("first", "second", "difference"))
    second.go(2, 9)
    second.go(2, 11, extend=True)
    for view in (first, less):
        assert view.place == (2, 11)
        assert view.selected_marks().sum() == 3
    first.horizontalScrollBar().setValue(first.horizontalScrollBar().maximum())
    assert second.horizontalScrollBar().value() == first.horizontalScrollBar().value()


def test_models_behave(larch, qtmodeltester) -> None:
    larch.page.summary.show_table("pre_engage_torque")
    for pane in larch.page.detail.panes.values():
        qtmodeltester.check(pane.view.model())


def test_signs_breaches_and_sames_do_not_depend_on_colour(larch) -> None:
    page = larch.page
    page.summary.show_table("pre_engage_torque")
    view = page.detail.panes["difference"].view
    model = view.grid
    # From the scenario: low grip is 15-20 N.m below normal at -20 degC, 70-100 %.
    values = larch.page.detail.pair.aligned.values
    assert model.index(2, 9).data() == "−15.0"
    assert model.look(2, 9).severity == "error"
    assert model.index(0, 1).data().startswith("+")
    assert model.index(0, 0).data() == "·"
    assert values[2, 9:].tolist() == pytest.approx([-15, -17.5, -20], abs=2.6)
    spoken = model.index(2, 9).data(Qt.ItemDataRole.AccessibleTextRole)
    assert "Difference −15 N·m" in spoken
    assert "Error: B is 15 N·m below the normal mode; it must be at least that." in spoken
    other = page.detail.panes["first"].view.grid
    assert "differs from B: larch_low_grip.h5" in other.index(2, 9).data(
        Qt.ItemDataRole.AccessibleTextRole
    )


def test_unequal_axes_stand_on_the_union_grid_with_read_values_in_brackets(make) -> None:
    coarse = Table("curve", [10.0, 30.0], (replace(PEDAL, values=[0.0, 100.0]),), unit="N.m")
    bench = make(_set(coarse), _set(replace(CURVE, values=np.array([10.0, 25.0, 30.0]))))
    bench.page.summary.show_table("curve")
    first = bench.page.detail.panes["first"].view.grid
    assert [first.text(0, c) for c in range(3)] == ["10", "(20)", "30"]
    assert bench.page.detail.panes["difference"].view.grid.index(0, 1).data() == "+5"
    spoken = first.index(0, 1).data(Qt.ItemDataRole.AccessibleTextRole)
    assert "read between its breakpoints" in spoken


def test_units_of_different_kinds_are_shown_apart_with_the_reason(make) -> None:
    bench = make(_set(CURVE), _set(replace(CURVE, unit="km/h", values=np.array([1.0, 2.0, 3.0]))))
    detail = bench.page.detail
    assert detail.pair.aligned is None
    assert "No difference:" in detail.panes["difference"].nothing.text()
    assert detail.panes["first"].view.grid.index(0, 0).data() == "10.0"
    assert detail.panes["second"].view.grid.index(0, 0).data() == "1.0"
    detail.panes["second"].view.go(0, 2)
    assert detail.panes["second"].view.place == (0, 2)


def test_a_table_in_one_set_only_says_which_lacks_it(make) -> None:
    bench = make(_document(_set(CURVE), "a.h5"), _document(_set(CURVE, MAP), "b.h5"))
    bench.page.summary.show_table("map")
    pane = bench.page.detail.panes["first"]
    assert pane.nothing.text() == "a.h5 has no table map."
    assert bench.page.detail.panes["second"].view.isVisible()
    assert not bench.page.detail.panes["difference"].isVisible()


def test_rules_and_texts_stand_side_by_side(make) -> None:
    bench = make(_set(CURVE), _set(replace(CURVE, description="new", upper=99.0)))
    page = bench.page
    fields = page.detail.fields
    cells = [
        [fields.item(r, c).text() if fields.item(r, c) else "" for c in range(3)]
        for r in range(fields.rowCount())
    ]
    assert ["description", "nothing", "new"] in cells
    assert ["upper limit", "inf N·m", "99 N·m"] in cells
    # Values are the same, so this is what is shown first.
    assert page.detail.views.currentWidget() is fields
    assert page.detail.tabs.tabText(page.detail.tabs.currentIndex()) == "Rules and texts (2)"


def test_plots_draw_both_tables_and_their_difference(larch, qtbot) -> None:
    page = larch.page
    page.summary.show_table("disconnect_delay")
    both, less = page.detail.lines.both, page.detail.lines.less
    qtbot.waitUntil(lambda: both.canvas is not None and less.canvas is not None)
    qtbot.waitUntil(lambda: not both._stale and not less._stale)
    pair = page.detail.pair
    np.testing.assert_array_equal(both._items.inner._drawn[1], pair.second.values)
    np.testing.assert_array_equal(both._items.reference._drawn[1], pair.first.values)
    np.testing.assert_array_equal(less._items.inner._drawn[1], pair.aligned.values)
    assert less._higher._drawn[0].size == 6  # every node is higher: six plus signs
    assert {e.words for e in both.key(pair.table)} >= {"A: larch_normal.h5", "B: larch_low_grip.h5"}
    page.summary.show_table("slip_target")
    heat = page.detail.map
    qtbot.waitUntil(lambda: heat.canvas is not None and not heat._stale)
    np.testing.assert_array_equal(heat.plane, page.detail.pair.aligned.values)
    assert (0, 5) in heat.findings


def test_surfaces_of_both_or_of_their_difference(larch) -> None:
    page = larch.page
    page.summary.show_table("slip_target")
    pane = page.detail.surface
    assert pane.view is None  # made only when it is looked at
    page.detail.show_view(2)
    pair = page.detail.pair
    layers = pane.view._layers
    assert [(x.table, x.name) for x in layers] == [
        (pair.second, "B: larch_low_grip.h5"),
        (pair.first, "A: larch_normal.h5"),
    ]
    pane.choice.setCurrentIndex(1)
    (less,) = pane.view._layers
    np.testing.assert_array_equal(less.table.values, pair.second.values - pair.first.values)
    assert less.style.value == "difference"


def test_nothing_is_edited_by_typing(larch, qtbot) -> None:
    page = larch.page
    page.summary.show_table("disconnect_delay")
    view = page.detail.panes["second"].view
    view.setFocus()
    qtbot.keyClick(view, Qt.Key.Key_5)
    qtbot.keyClick(view, Qt.Key.Key_Delete)
    page.detail.lines.both.setFocus()
    qtbot.keyClick(page.detail.lines.both, Qt.Key.Key_Up)
    assert not any(d.is_modified for d in larch.desk.documents)
    assert "changes nothing by typing" in larch.told[-1]


# -- going about -----------------------------------------------------------------------------------


def test_breaches_are_gone_through_cell_by_cell(larch) -> None:
    page = larch.page
    page.summary.order.setCurrentIndex(page.summary.order.findText("order of the set"))
    page.summary.show_table(_listed(larch)[0])
    seen = []
    for _ in range(20):
        page.step_finding(+1)
        place = (page.summary.shown, page.detail.pair.cursor)
        if seen and place == seen[-1]:
            break
        seen.append(place)
    assert {id for id, _ in seen} == {"pre_engage_torque", "slip_target"}
    result = page.comparing.prepared.comparison
    named = {(b.table, c) for b in result.breaches for c in b.cells}
    assert set(seen) == named
    assert "This is the last breach of the list" in larch.told[-1]
    page.step_finding(-1)
    assert (page.summary.shown, page.detail.pair.cursor) == seen[-2]


def test_hidden_breaches_are_spoken_of(larch) -> None:
    larch.page.summary.filter.setText("disconnect")
    larch.page.step_finding(+1)
    assert "2 tables in breach not listed" in larch.told[-1]


def test_differences_are_gone_through_over_tables(make) -> None:
    first = _set(CURVE, MAP)
    second = _set(_with(CURVE, c1=25.0), _with(MAP, c02=9.0, c23=1.0))
    bench = make(first, second)
    page = bench.page
    page.summary.order.setCurrentIndex(page.summary.order.findText("order of the set"))
    page.summary.show_table("curve")
    seen = []
    for _ in range(4):
        page.step_difference(+1)
        seen.append((page.summary.shown, page.detail.pair.cursor))
    assert seen == [("curve", (1,)), ("map", (0, 2)), ("map", (2, 3)), ("map", (2, 3))]
    assert "last difference" in bench.told[-1]


# -- taking over -----------------------------------------------------------------------------------


def _pair(make):
    a = _document(_set(CURVE, MAP, mode="normal", base_mode="normal"), "a.h5")
    b = _document(
        _set(_with(CURVE, c0=1.0, c2=3.0), _with(MAP, c11=0.0), mode="low_grip",
             base_mode="normal"), "b.h5")  # fmt: skip
    return make(a, b), a, b


def test_a_reason_comes_first_then_enter_takes_over(make, qtbot) -> None:
    bench, a, b = _pair(make)
    page = bench.page
    page.summary.show_table("curve")
    page.detail.pair.set_selection(np.array([True, True, False]))
    page.take(Scope.CELLS, Into.SECOND)
    assert not b.is_modified
    assert "Enter then takes over the selection: 2 cells into b.h5" in bench.told[-1]
    assert page.strip.scope.currentData() == Scope.CELLS
    qtbot.keyClicks(page.strip.reason, "carried over")
    qtbot.keyClick(page.strip.reason, Qt.Key.Key_Return)
    assert b.content["curve"].values.tolist() == [10, 20, 3]
    assert a.content["curve"] is CURVE
    assert b.undo_title == "Take over 1 cell of Curve from a.h5"
    assert b.pending[-1].reason == "carried over"
    assert bench.told[-1].startswith("Take over 1 cell of Curve from a.h5 into b.h5.")
    assert bench.desk.current is b
    # The comparison followed at once; undo is followed too.
    assert page.comparing.prepared.comparison.tables["curve"].cells_changed == 1
    b.undo()
    assert page.comparing.prepared.comparison.tables["curve"].cells_changed == 2


def test_escape_takes_nothing_over(make, qtbot) -> None:
    bench, _, b = _pair(make)
    bench.page.take(Scope.TABLE, Into.SECOND)
    qtbot.keyClicks(bench.page.strip.reason, "never mind")
    qtbot.keyClick(bench.page.strip.reason, Qt.Key.Key_Escape)
    assert bench.page.strip.waiting is None
    assert not b.is_modified
    assert bench.told[-1] == "Nothing was taken over."


def test_into_a_changes_a_and_the_buttons_say_so(make, qtbot) -> None:
    bench, a, b = _pair(make)
    page = bench.page
    page.summary.show_table("curve")
    page.strip.reason.setText("the trip showed it")
    assert page.strip.into_first.text() == "into A: a.h5"
    page.strip.scope.setCurrentIndex(list(Scope).index(Scope.TABLE))
    qtbot.mouseClick(page.strip.into_first, Qt.MouseButton.LeftButton)
    assert a.content["curve"].values.tolist() == [1, 20, 3]
    assert not b.is_modified
    assert bench.desk.current is a
    assert page.comparing.first.document is a  # the sides stay as they were
    assert page.comparing.prepared.comparison.tables["curve"].state is State.SAME


def test_taking_over_mends_a_breach_and_undo_brings_it_back(make) -> None:
    bench, _, b = _pair(make)
    page = bench.page
    assert [x.table for x in page.comparing.prepared.comparison.breaches] == ["map"]
    page.summary.show_table("map")
    page.strip.reason.setText("not carried over")
    page.take(Scope.TABLE, Into.SECOND)
    assert page.comparing.prepared.comparison.breaches == ()
    assert page.detail.pair.breaches == {}
    assert "map" not in _listed(bench)
    b.undo()
    assert [x.table for x in page.comparing.prepared.comparison.breaches] == ["map"]
    assert page.detail.pair.breaches


def test_all_listed_tables_are_one_step(make) -> None:
    bench, _, b = _pair(make)
    before = b.content
    bench.page.strip.reason.setText("start again from the base")
    bench.page.take(Scope.LISTED, Into.SECOND)
    bench.settle()
    assert bench.page.comparing.prepared.comparison.tables["map"].state is State.SAME
    assert b.undo_title == "Take over 2 tables from a.h5"
    b.undo()
    assert b.content == before


def test_filtered_tables_alone_are_taken_over(make) -> None:
    bench, _, b = _pair(make)
    bench.page.summary.filter.setText("map")
    bench.page.strip.reason.setText("map only")
    bench.page.take(Scope.LISTED, Into.SECOND)
    assert b.content["map"] == MAP
    assert b.content["curve"] != CURVE


def test_rules_and_texts_come_only_where_they_are_asked_for(make) -> None:
    theirs = replace(_with(CURVE, c0=1.0), description="new")
    a, b = _document(_set(theirs), "a.h5"), _document(_set(CURVE), "b.h5")
    bench = make(a, b)
    bench.page.strip.reason.setText("texts too")
    bench.page.take(Scope.TABLE, Into.SECOND)
    assert b.content["curve"].description == ""
    bench.page.take(Scope.WHOLE, Into.SECOND)
    assert b.content["curve"] == theirs


def test_read_only_and_refusals_are_told(make) -> None:
    a = _document(_set(CURVE), "a.h5")
    b = Document(_set(_with(CURVE, c0=1.0)), Path("b.h5"), read_only=True)
    bench = make(a, b)
    bench.page.strip.reason.setText("x")
    bench.page.take(Scope.TABLE, Into.SECOND)
    assert "read-only" in bench.told[-1]
    assert not bench.page.strip.into_second.isEnabled()
    bench.page.take(Scope.TABLE, Into.FIRST)
    bench.page.take(Scope.TABLE, Into.FIRST)
    assert bench.told[-1] == "Nothing to take over: a.h5 holds the same there already."


def test_what_cannot_be_done_to_cells_is_said(make) -> None:
    a = _document(_set(CURVE), "a.h5")
    b = _document(_set(CURVE, MAP), "b.h5")
    bench = make(a, b)
    bench.page.summary.show_table("map")
    bench.page.strip.reason.setText("x")
    bench.page.take(Scope.CELLS, Into.FIRST)
    assert "Take over the whole table" in bench.told[-1]
    bench.page.take(Scope.TABLE, Into.FIRST)
    assert a.content["map"] == MAP


def test_the_desk_follows_to_the_same_table_and_cell(larch) -> None:
    page = larch.page
    page.summary.show_table("slip_target")
    page.detail.panes["difference"].view.go(1, 4)
    assert larch.desk.table.id == "slip_target"
    assert larch.desk.cursor == (1, 4)
    assert page.open_in_tune() == "slip_target"


def test_a_cancelled_comparison_can_be_begun_again(make, qtbot, monkeypatch) -> None:
    from app.compare import service

    bench = make(_set(CURVE), _set(_with(CURVE, c0=1.0)))
    waiting = SimpleNamespace(go=False)

    def slow(first, second, progress):
        while not waiting.go:
            qtbot_safe_sleep()
            progress(0.5)
        raise AssertionError("it was cancelled")

    def qtbot_safe_sleep() -> None:
        import time

        time.sleep(0.005)

    monkeypatch.setattr(service, "compare", slow)
    bench.page.comparing.swap()
    qtbot.waitUntil(lambda: bench.page.wait.isVisible())
    qtbot.waitUntil(lambda: bench.page.progress.value() == 50)
    bench.page.cancel.click()
    bench.settle()
    assert "given up" in bench.page.summary.nothing.text()
    monkeypatch.undo()
    bench.page.compare_again()
    bench.settle()
    assert bench.page.summary.rows.rowCount() == 1
