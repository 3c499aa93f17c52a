"""The page Compare: sides, grids, marks and plots of one table, keys."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.compare.earlier import EarlierDialog
from app.compare.sides import AS_SAVED, saved_side
from calib_model.core.table import Table
from tests.compare_page.compare_sets import (
    CURVE,
    MAP,
    PEDAL,
    document_of,
    edit_of,
    listed,
    set_of,
    with_cells,
)

# -- sides -----------------------------------------------------------------------------------------


def test_the_set_being_edited_is_compared_with_its_reference(larch) -> None:
    comparing = larch.page.comparing
    assert comparing.first.name == "larch_normal.h5"
    assert comparing.second.name == "larch_low_grip.h5"
    result = comparing.prepared.comparison
    assert sorted(b.table for b in result.breaches) == ["pre_engage_torque", "slip_target"]
    assert (
        "2 tables in breach of the relation of low_grip to normal" in larch.page.sides.words.text()
    )


def test_swapping_turns_every_sign(larch) -> None:
    page = larch.page
    page.summary.show_table("disconnect_delay")
    assert page.detail.pair.aligned.values.max() == 20
    larch.swap()
    assert page.comparing.first.name == "larch_low_grip.h5"
    assert page.detail.pair.aligned.values.min() == -20
    assert page.comparing.prepared.comparison.breaches  # whichever set is named first


def test_nothing_open_is_said_in_words(make) -> None:
    bench = make()
    assert not bench.page.comparing.ready
    assert "Open two sets" in bench.page.empty.buttons[0].text()
    assert "which tables differ" in bench.page.empty.text()
    assert bench.page.empty.isVisible()
    assert not bench.page.strip.isVisible()


def test_one_set_offers_its_earlier_states_and_a_second_set_joins(make) -> None:
    document = document_of(set_of(CURVE), "one.h5")
    bench = make(document)
    assert "Only one.h5 is open" in bench.page.empty.text()
    earlier = next(b for b in bench.page.empty.buttons if "earlier state" in b.text())
    assert earlier.isVisible()
    bench.desk.add(document_of(set_of(CURVE.with_values([1.0, 2.0, 3.0])), "two.h5"))
    bench.settle()
    if bench.desk.reference is None:
        assert "one.h5 has no reference" in bench.page.empty.text()
        bench.desk.set_reference(bench.desk.documents[1])
        bench.settle()
    assert bench.page.comparing.first.name == "two.h5"
    assert bench.page.summary.rows.rowCount() == 1
    bench.desk.remove(bench.desk.documents[1])
    bench.settle()
    assert bench.page.empty.isVisible()


def test_an_edited_set_stands_against_its_saved_state(make) -> None:
    document = document_of(set_of(CURVE), "one.h5")
    document.do(edit_of(CURVE, 0, 12.0))
    bench = make(document)
    comparing = bench.page.comparing
    assert comparing.first.when == AS_SAVED
    assert comparing.prepared.comparison.tables["curve"].largest == 2
    assert not bench.page.strip.into_first.isEnabled()
    assert "stays as it was" in bench.page.strip.into_first.toolTip()
    assert bench.page.strip.into_second.isEnabled()


def test_an_earlier_state_is_chosen_from_the_history(make, qtbot) -> None:
    document = document_of(set_of(CURVE), "one.h5")
    for value in (11.0, 12.0, 13.0):
        document.do(edit_of(document.content["curve"], 0, value))
    document.begin_save()
    document.mark_saved(document.content)
    bench = make(document)
    bench.page.choose_earlier()
    dialog = bench.page.findChild(EarlierDialog)
    model = dialog.states.model()
    texts = [model.index(n, 0).data() for n in range(model.rowCount())]
    assert len(texts) == 3
    assert texts[0].startswith("Before “Set")
    assert "by Ada" in texts[0]
    dialog.states.setCurrentIndex(model.index(1, 0))
    qtbot.keyClick(dialog.states, Qt.Key.Key_Return)
    bench.settle()
    pair = bench.page.comparing.prepared.comparison.tables["curve"]
    assert (pair.first.values[0], pair.second.values[0]) == (11, 13)
    assert not bench.page.comparing.first.is_live
    assert bench.page.sides.names[0].text().startswith("one.h5, before “Set")
    assert bench.page.detail.pair.less == "A less earlier"
    # A later edit shows at once against the state that stays.
    document.do(edit_of(document.content["curve"], 0, 20.0))
    assert bench.page.comparing.prepared.comparison.tables["curve"].largest == 9


def test_an_earlier_state_gives_way_to_the_reference_and_to_another_set(make) -> None:
    a, b = document_of(set_of(CURVE), "a.h5"), document_of(set_of(CURVE), "b.h5")
    bench = make(a, b)
    comparing, bar = bench.page.comparing, bench.page.sides
    comparing.hold_against(saved_side(b))
    bench.settle()
    assert bar.pair.isVisible()
    assert comparing.first.document is b
    bar.back.click()
    bench.settle()
    assert comparing.first.document is a
    assert not bar.pair.isVisible()
    comparing.hold_against(saved_side(b))
    bench.swap()
    assert comparing.second.document is a
    assert comparing.first.is_live


def test_the_desk_chooses_what_is_compared(make) -> None:
    sets = [document_of(set_of(CURVE), f"{name}.h5") for name in "abc"]
    bench = make(*sets)
    bench.desk.set_reference(sets[2])
    bench.settle()
    assert bench.page.detail.pair.less == "B less C"
    assert bench.page.strip.into_first.text() == "into C: c.h5"


def test_a_set_without_history_says_so(make) -> None:
    bench = make(document_of(set_of(CURVE), "one.h5"))
    bench.page.choose_earlier()
    dialog = bench.page.findChild(EarlierDialog)
    assert "no history" in dialog.states.model().index(0, 0).data()
    assert not dialog.buttons.button(dialog.buttons.StandardButton.Ok).isEnabled()
    dialog.reject()


def test_edits_made_elsewhere_are_seen_when_the_page_is_shown_again(make) -> None:
    first, second = document_of(set_of(CURVE), "a.h5"), document_of(set_of(CURVE), "b.h5")
    bench = make(first, second)
    bench.page.hide()
    second.do(edit_of(CURVE, 1, 25.0))
    assert bench.page.comparing.prepared.comparison.same
    bench.page.show()
    bench.settle()
    assert bench.page.comparing.prepared.comparison.tables["curve"].largest == 5


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
    assert "Error: B is 15 N·m below the normal mode; it must not be below." in spoken
    other = page.detail.panes["first"].view.grid
    assert "differs from B: larch_low_grip.h5" in other.index(2, 9).data(
        Qt.ItemDataRole.AccessibleTextRole
    )


def test_unequal_axes_stand_on_the_union_grid_with_read_values_in_brackets(make) -> None:
    coarse = Table("curve", [10.0, 30.0], (replace(PEDAL, values=[0.0, 100.0]),), unit="N.m")
    bench = make(set_of(coarse), set_of(replace(CURVE, values=np.array([10.0, 25.0, 30.0]))))
    bench.page.summary.show_table("curve")
    first = bench.page.detail.panes["first"].view.grid
    assert [first.text(0, c) for c in range(3)] == ["10", "(20)", "30"]
    assert bench.page.detail.panes["difference"].view.grid.index(0, 1).data() == "+5"
    spoken = first.index(0, 1).data(Qt.ItemDataRole.AccessibleTextRole)
    assert "read between its breakpoints" in spoken


def test_units_of_different_kinds_are_shown_apart_with_the_reason(make) -> None:
    bench = make(
        set_of(CURVE), set_of(replace(CURVE, unit="km/h", values=np.array([1.0, 2.0, 3.0])))
    )
    detail = bench.page.detail
    assert detail.pair.aligned is None
    assert "No difference:" in detail.panes["difference"].nothing.text()
    assert detail.panes["first"].view.grid.index(0, 0).data() == "10.0"
    assert detail.panes["second"].view.grid.index(0, 0).data() == "1.0"
    detail.panes["second"].view.go(0, 2)
    assert detail.panes["second"].view.place == (0, 2)


def test_a_table_in_one_set_only_says_which_lacks_it(make) -> None:
    bench = make(document_of(set_of(CURVE), "a.h5"), document_of(set_of(CURVE, MAP), "b.h5"))
    bench.page.summary.show_table("map")
    pane = bench.page.detail.panes["first"]
    assert pane.nothing.text() == "a.h5 has no table map."
    assert bench.page.detail.panes["second"].view.isVisible()
    assert not bench.page.detail.panes["difference"].isVisible()


def test_rules_and_texts_stand_side_by_side(make) -> None:
    bench = make(set_of(CURVE), set_of(replace(CURVE, description="new", upper=99.0)))
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


def test_a_single_value_is_told_with_the_letters_of_both_sets(larch, qtbot) -> None:
    page = larch.page
    tables = page.comparing.prepared.comparison.tables
    page.summary.show_table(
        next(id for id in page.summary.rows.ids() if not tables[id].table.shape)
    )
    both, less = page.detail.lines.both, page.detail.lines.less
    qtbot.waitUntil(lambda: both.pages.currentWidget() is both.scalar)
    assert " in B" in both.scalar.text
    assert "in A it is" in both.scalar.text.replace("In A", "in A")
    qtbot.waitUntil(lambda: less.pages.currentWidget() is less.scalar)


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
    page.summary.show_table(listed(larch)[0])
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
    first = set_of(CURVE, MAP)
    second = set_of(with_cells(CURVE, c1=25.0), with_cells(MAP, c02=9.0, c23=1.0))
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
