"""The page Compare: taking over, with a reason, as one step."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from PySide6.QtCore import Qt

from app.compare.rows import EVERYTHING
from app.compare.taking import Scope
from calib_model.compare import State
from calib_model.compare.take_over import Into
from calib_model.session.document import Document
from tests.compare_page.compare_sets import (
    CURVE,
    MAP,
    document_of,
    listed,
    set_of,
    with_cells,
)


def _pair(make):
    a = document_of(set_of(CURVE, MAP, mode="normal", base_mode="normal"), "a.h5")
    b = document_of(
        set_of(with_cells(CURVE, c0=1.0, c2=3.0), with_cells(MAP, c11=0.0), mode="low_grip",
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


def test_the_first_reason_is_offered_and_kept_for_the_sitting(make, qtbot) -> None:
    bench, _, b = _pair(make)
    page = bench.page
    page.summary.show_table("curve")
    page.take(Scope.TABLE, Into.SECOND)
    assert page.strip.reason.text() == "As in a.h5"
    assert page.strip.reason.selectedText() == "As in a.h5"  # typing puts another in its place
    assert not b.is_modified
    qtbot.keyClick(page.strip.reason, Qt.Key.Key_Return)
    assert b.content["curve"] == CURVE
    assert b.pending[-1].reason == "As in a.h5"
    page.summary.show_table("map")
    page.take(Scope.TABLE, Into.SECOND)  # not asked again
    assert b.content["map"] == MAP


def test_an_offered_reason_that_is_left_is_not_used(make, qtbot) -> None:
    bench, _, b = _pair(make)
    bench.page.take(Scope.TABLE, Into.SECOND)
    qtbot.keyClick(bench.page.strip.reason, Qt.Key.Key_Escape)
    assert bench.page.strip.reason.text() == ""
    bench.page.take(Scope.TABLE, Into.SECOND)
    assert not b.is_modified


def test_the_selection_chooses_what_is_taken_over(make) -> None:
    page = _pair(make)[0].page
    page.summary.show_table("curve")
    assert page.strip.scope.currentData() == Scope.TABLE
    page.detail.pair.set_selection(np.array([True, True, False]))
    assert page.strip.scope.currentData() == Scope.CELLS
    page.detail.pair.set_cursor((0,))
    assert page.strip.scope.currentData() == Scope.TABLE


def test_a_table_that_left_the_list_is_shown_no_more(make) -> None:
    bench, _, b = _pair(make)
    page = bench.page
    page.summary.show_table("curve")
    page.strip.reason.setText("carried over")
    page.take(Scope.TABLE, Into.SECOND)
    assert listed(bench) == ["map"]
    assert page.detail.pair.table is None
    assert "Curve is not listed" in page.detail.what.text()
    page.take(Scope.TABLE, Into.SECOND)
    assert "Choose a table" in bench.told[-1]
    b.undo()
    assert page.detail.pair.pair.id == "curve"
    page.summary.filter.setText("map")
    assert page.detail.pair.table is None
    page.summary.filter.clear()
    assert page.detail.pair.pair.id == "curve"


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
    bench.settle()
    assert page.comparing.second.document is a  # edited now, so that undo reaches it
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
    assert "map" not in listed(bench)
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
    theirs = replace(with_cells(CURVE, c0=1.0), description="new")
    a, b = document_of(set_of(theirs), "a.h5"), document_of(set_of(CURVE), "b.h5")
    bench = make(a, b)
    bench.page.strip.reason.setText("texts too")
    bench.page.take(Scope.TABLE, Into.SECOND)
    assert b.content["curve"].description == ""
    bench.page.take(Scope.WHOLE, Into.SECOND)
    assert b.content["curve"] == theirs


def test_read_only_and_refusals_are_told(make) -> None:
    a = document_of(set_of(CURVE), "a.h5")
    b = Document(set_of(with_cells(CURVE, c0=1.0)), Path("b.h5"), read_only=True)
    bench = make(a, b)
    bench.page.strip.reason.setText("x")
    bench.page.take(Scope.TABLE, Into.SECOND)
    assert "read-only" in bench.told[-1]
    assert not bench.page.strip.into_second.isEnabled()
    state = bench.page.summary.state
    state.setCurrentIndex(state.findText(EVERYTHING))  # what is the same stays listed
    bench.page.take(Scope.TABLE, Into.FIRST)
    bench.settle()
    bench.page.take(Scope.TABLE, Into.SECOND)
    assert bench.told[-1] == "Nothing to take over: a.h5 holds the same there already."


def test_what_cannot_be_done_to_cells_is_said(make) -> None:
    a = document_of(set_of(CURVE), "a.h5")
    b = document_of(set_of(CURVE, MAP), "b.h5")
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

    bench = make(set_of(CURVE), set_of(with_cells(CURVE, c0=1.0)))
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
    current, reference = bench.desk.current, bench.desk.reference
    bench.desk.set_current(reference)
    bench.desk.set_reference(current)
    qtbot.waitUntil(lambda: bench.page.wait.isVisible())
    qtbot.waitUntil(lambda: bench.page.progress.value() == 50)
    bench.page.cancel.click()
    bench.settle()
    assert "given up" in bench.page.summary.nothing.text()
    monkeypatch.undo()
    bench.page.compare_again()
    bench.settle()
    assert bench.page.summary.rows.rowCount() == 1
