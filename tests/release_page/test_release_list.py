"""The one list: what is in it, how it empties, keys, filter, words when it is empty."""

from __future__ import annotations

import shutil

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QAbstractItemModelTester

from app.company_in_use import company_in_use
from app.release.lines import View
from calib_model.core.record import Drive, Level, Outcome
from calib_model.core.table import Table
from calib_model.editing.change import record_change, table_change, values_change
from calib_model.evidence.gaps import unproven
from calib_model.evidence.grades import TableVisits, Visits, visits_text
from calib_model.rules.check import check
from calib_model.session.history import entries_of
from calib_model.session.since import before_changes
from calib_model.signoff.decisions import decide
from calib_model.signoff.gate import gate
from tests.release_page.conftest import AUTHOR, REVIEWER, SAMPLES, Bench

K = Qt.Key


def press(qtbot, bench: Bench, key: Qt.Key, modifiers=Qt.KeyboardModifier.NoModifier) -> None:  # type: ignore[no-untyped-def]
    qtbot.keyClick(bench.page.list.view, key, modifiers)


def test_the_list_is_what_the_gate_says(with_set) -> None:
    bench = with_set("practice")
    base, _ = before_changes(bench.content, entries_of(bench.desk.current))
    found = gate(bench.content, check(bench.content), unproven=unproven(bench.content, base))
    assert [line.text for line in bench.lines()] == [item.text for item in found.items]
    assert bench.page.list.buttons[View.TO_DO].text() == f"To do {len(found.blocking())}"
    assert (bench.page.bar.done, bench.page.bar.total) == (0, len(found.blocking()))
    assert found.words in bench.page.progress.text()
    errors = [line.kind for line in bench.lines()].index("Awaits a decision")
    assert {line.kind for line in bench.lines()[:errors]} == {"Error", "Warning"}


def driven(table: Table) -> Drive:
    """A drive that used every cell of a map with its present value, deciding."""
    rows, columns = (axis.values.tolist() for axis in table.axes)
    cells = {
        (row, column): (1.0, 1.0, float(table.values[i, j]))
        for i, row in enumerate(rows)
        for j, column in enumerate(columns)
    }
    axes = tuple((axis.quantity, axis.unit) for axis in table.axes)
    visits = Visits({table.id: TableVisits(table.unit, axes, True, cells)})
    return Drive(name="round", visits=visits_text(visits))


def test_the_model_is_a_good_model(with_set) -> None:
    bench = with_set("practice")
    fatal = QAbstractItemModelTester.FailureReportingMode.Fatal
    tester = QAbstractItemModelTester(bench.page.list.rows, fatal)
    bench.page.list.filter.setText("torque")
    bench.page.list.filter.setText("")
    for view in View:
        bench.page.list.choose_view(view)
    assert tester.model() is bench.page.list.rows


def test_enter_goes_to_the_cell(with_set, qtbot) -> None:
    bench = with_set("practice")
    jumps = []
    bench.page.jumped.connect(lambda: jumps.append(bench.desk.cursor))
    bench.page.list.filter.setText("clamp_limit_plate 900")
    line = bench.lines()[0]
    press(qtbot, bench, K.Key_Return)
    assert bench.desk.table.id == "clamp_limit_plate"
    assert jumps == [line.cells[0]]
    chosen = {tuple(map(int, cell)) for cell in np.argwhere(bench.desk.selection)}
    assert chosen == set(line.cells)


def test_words_filter_and_what_is_hidden_is_said(with_set, qtbot) -> None:
    bench = with_set("practice")
    bench.page.list.filter.setText("sync window")
    assert {line.table for line in bench.lines()} == {"sync_window"}
    bench.page.list.filter.setText("no such words")
    assert "Esc" in bench.page.list.nothing.text()
    qtbot.keyClick(bench.page.list.filter, K.Key_Escape)
    assert len(bench.lines()) == len(bench.page.list.rows.found) > 40


def test_an_edit_empties_a_line_and_undo_brings_it_back(with_set, quiet) -> None:
    bench = with_set("practice")
    before = [line.key for line in bench.lines()]
    table = bench.content["clamp_limit_plate"]
    values = np.array(table.values)
    values[-1] = 0.0
    assert bench.desk.do(values_change(table, values, "Zero the end"))
    quiet()
    gone = set(before) - {line.key for line in bench.lines()}
    assert any("clamp_limit_plate" in key and "zero_end" in key for key in gone), gone
    bench.desk.current.undo()
    quiet()
    assert [line.key for line in bench.lines()] == before


def test_accept_and_query_by_key_are_undoable(with_set, qtbot, quiet) -> None:
    bench = with_set("normal")
    bench.settings.author = REVIEWER  # some of it is the author's own edit
    bench.page.list.choose_view(View.TABLES)
    press(qtbot, bench, K.Key_A, Qt.KeyboardModifier.ControlModifier)
    press(qtbot, bench, K.Key_A)
    qtbot.keyClick(bench.page.act.decide.confirm, K.Key_Return)  # having seen what it accepts
    quiet()
    assert len(bench.content.record.decisions) == 42
    assert "42 of 42" in bench.page.progress.text()
    assert all(line.mark == "done" for line in bench.lines())
    assert bench.lines()[0].more.startswith(f"Accepted by {REVIEWER}, ")
    bench.desk.current.undo()
    quiet()
    assert not bench.content.record.decisions

    # A query needs a question, an accepted query an answer.
    bench.page.list.choose(bench.lines()[3])
    asked = bench.page.list.line.table
    press(qtbot, bench, K.Key_Q)
    form = bench.page.act.decide
    form.submit()
    assert "question is missing" in form.answer.text()
    form.comment.setText("Why so steep?")
    form.submit()
    quiet()
    assert bench.content.record.latest_decisions[asked].outcome is Outcome.QUERIED
    assert "1 open query" in bench.page.progress.text()
    press(qtbot, bench, K.Key_A)
    form.submit()
    assert "answer to the query is missing" in form.answer.text()
    assert bench.content.record.latest_decisions[asked].outcome is Outcome.QUERIED


def test_an_edit_after_acceptance_asks_again(with_set, qtbot, quiet) -> None:
    bench = with_set("normal")
    bench.choose("slip_target", kind="Awaits a decision")
    press(qtbot, bench, K.Key_A)
    quiet()
    assert "1 of 42" in bench.page.progress.text()
    table = bench.content["slip_target"]
    bench.desk.do(values_change(table, table.values + 0.1, "Raise"))
    quiet()
    # Nothing is done any more; the raise by 0.1 left the raster besides.
    assert "0 of 43" in bench.page.progress.text()
    line = next(x for x in bench.lines() if x.table == "slip_target" and "edited" in x.text)
    assert f"after {AUTHOR} accepted it" in line.text


def test_off_its_raster_stands_in_the_list_and_cannot_be_waived(with_set, quiet) -> None:
    bench = with_set("normal")
    table = next(t for t in bench.content if t.storage.is_integer and t.values.ndim == 2)
    values = np.array(table.values)
    values[0, 0] += 0.00001
    bench.desk.do(values_change(table, values, "Off the raster"))
    quiet()
    line = next(x for x in bench.lines() if x.kind == "Off its raster")
    assert (line.table, line.cells) == (table.id, ((0, 0),))
    bench.choose(table.id, kind="Off its raster")
    bench.page.acts.order("waive")
    assert bench.told[-1][1]
    assert not bench.content.record.waivers


# -- waivers --------------------------------------------------------------------------------------


def waived(bench: Bench, quiet, **fields: str) -> str:
    """Waive the finding of the ambient factor's axis; return what the form answers."""
    bench.choose("ambient_factor", kind="Error")
    bench.page.acts.order("waive")
    form = bench.page.act.waive
    given = {"reason": "next trip", "author": AUTHOR, "approver": REVIEWER, "expires": ""}
    for name, text in (given | fields).items():
        getattr(form, "largest" if name == "size" else name).setText(text)
    form.submit()
    answer = form.answer.text()
    quiet()
    return answer


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"reason": " "}, "needs a reason"),
        ({"author": ""}, "needs an author"),
        ({"approver": AUTHOR.upper()}, "cannot approve their own waiver"),
        ({"size": "1"}, "but the breach is"),
        ({"size": "1,5"}, "is no size"),
        ({"expires": "28.2.2027"}, "is no day"),
        ({"expires": "2020-01-01"}, "ended on 2020-01-01 already"),
    ],
)
def test_a_bad_waiver_is_refused_in_words(with_set, quiet, fields, why) -> None:
    bench = with_set("practice")
    assert why in waived(bench, quiet, **fields)
    assert not bench.content.record.waivers


def test_a_waiver_takes_its_finding_off_the_list_until_the_breach_grows(with_set, quiet) -> None:
    bench = with_set("practice")
    waived(bench, quiet)
    assert not [x for x in bench.lines() if x.table == "ambient_factor" and x.kind == "Error"]
    bench.page.list.choose_view(View.WAIVERS)
    assert bench.lines()[0].kind == "Holds"
    assert f"approved by {REVIEWER}" in bench.lines()[0].more

    table = bench.content["ambient_factor"]
    points = np.array(table.axes[0].values)
    points[0] += 5.0
    axis = table.axes[0].with_values(points)
    bench.desk.do(table_change(table, table.with_axis(0, axis, table.values), "Shorter axis"))
    quiet()
    assert bench.lines()[0].kind == "Does not hold"
    assert "lapsed" in bench.lines()[0].text
    bench.page.list.choose_view(View.TO_DO)
    assert any("Its waiver has lapsed" in x.text for x in bench.lines())
    bench.desk.current.undo()
    quiet()
    bench.page.list.choose_view(View.WAIVERS)
    assert bench.lines()[0].kind == "Holds"


def test_a_waiver_without_approver_waits_for_another_person(with_set, quiet) -> None:
    bench = with_set("practice")
    waived(bench, quiet, approver="")
    bench.page.list.choose_view(View.WAIVERS)
    assert "awaits an approver" in bench.lines()[0].text
    bench.choose("ambient_factor")
    bench.page.acts.order("waive")
    form = bench.page.act.approve
    form.approver.setText(AUTHOR)
    form.submit()
    assert "cannot approve their own waiver" in form.answer.text()
    form.approver.setText(REVIEWER)
    form.submit()
    quiet()
    assert bench.lines()[0].kind == "Holds"
    bench.page.acts.order("remove")
    quiet()
    assert not bench.content.record.waivers


# -- remarks, maturity, rights ---------------------------------------------------------------------


def test_remarks_are_added_at_cells_answered_and_closed(with_set, quiet) -> None:
    bench = with_set("normal")
    bench.desk.open_table("slip_target", (1, 2))
    bench.choose("slip_target", kind="Awaits a decision")
    bench.page.acts.order("remark")
    form = bench.page.act.remark
    form.submit()
    assert "empty" in form.answer.text()
    form.text.setText("Measured with new tyres?")
    form.submit()
    quiet()
    (remark,) = bench.content.record.remarks
    assert remark.places == (bench.content["slip_target"].coordinates((1, 2)),)
    assert remark.author == AUTHOR
    open_one = next(x for x in bench.lines() if x.kind == "Open remark")
    assert open_one.cells == ((1, 2),)

    bench.page.list.choose_view(View.REMARKS)
    bench.choose("slip_target")
    bench.page.acts.order("remark")
    form.text.setText("Yes.")
    form.submit()
    quiet()
    assert f"{AUTHOR}, " in bench.lines()[0].more
    assert "Yes." in bench.lines()[0].more
    bench.page.acts.order("close")
    quiet()
    assert bench.lines()[0].kind == "Closed"
    assert not bench.content.record.remarks[0].is_open
    bench.page.acts.order("close")
    quiet()
    assert bench.content.record.remarks[0].is_open
    bench.page.acts.order("remove")
    quiet()
    assert not bench.content.record.remarks  # with its answer
    bench.desk.current.undo()
    assert len(bench.content.record.remarks) == 2


def test_a_milestone_asks_for_levels_and_a_level_answers_it(with_set, samples, quiet) -> None:
    bench = with_set("normal")
    bench.page.standings.choose(programme=samples["normal"].with_name("larch.toml"))
    quiet()
    assert [bench.page.trust.milestone.itemText(i) for i in range(3)] == [
        "none", "first trip", "release",
    ]  # fmt: skip
    bench.page.standings.choose(milestone="first trip")
    quiet()
    short = [x for x in bench.lines() if x.kind == "Maturity"]
    assert short
    assert all("milestone first trip asks for desk-checked" in x.text for x in short)
    bench.choose(*(x.table for x in short), kind="Maturity")
    bench.page.acts.order("level")
    form = bench.page.act.level
    form.level.setCurrentIndex(list(Level).index(Level.DESK_CHECKED))
    form.submit()
    quiet()
    assert not [x for x in bench.lines() if x.kind == "Maturity"]
    assert len(bench.content.record.maturities) == len(short)


def test_a_base_set_asks_for_every_mode_of_its_programme(with_set, samples, quiet) -> None:
    bench = with_set("normal")
    wanted = []
    bench.page.open_wanted.connect(wanted.append)
    company_in_use(bench.desk).set_alone(True)
    bench.page.standings.choose(programme=samples["normal"].with_name("larch.toml"))
    quiet()
    missing = [x for x in bench.lines() if x.kind == "Not checked"]
    assert len(missing) == 71, "30 relations of low grip and 41 of towing"
    bench.page.list.view.selectRow(bench.page.list.rows.places()[missing[0].key])
    bench.page.acts.order("open")
    assert [p.name for p in wanted[0]] == ["larch_low_grip.h5", "larch_towing.h5"]
    with_set("low_grip", "towing")
    assert not [x for x in bench.lines() if x.kind == "Not checked"]
    assert "low_grip, towing" in bench.page.progress.text()


def test_a_breach_in_another_modes_set_is_waived_there(with_set, samples) -> None:
    shutil.copy(SAMPLES / "larch_low_grip.h5", samples["low_grip"])  # with its two breaches
    bench = with_set("normal", "low_grip")
    line = next(x for x in bench.lines() if x.table == "slip_target" and x.kind == "Error")
    assert "waive it in that set" in line.more
    bench.choose("slip_target", kind="Error")
    assert not bench.page.act.buttons["waive"].isVisible()
    bench.page.acts.order("waive")
    form = bench.page.act.waive
    form.reason.setText("meant")
    form.approver.setText(REVIEWER)
    form.submit()
    assert "Waive it in that set" in form.answer.text()


def test_a_list_that_cannot_be_read_is_said(with_set, tmp_path, quiet) -> None:
    bench = with_set("normal")
    bad = tmp_path / "signers"
    bad.write_text("this is no list\n", encoding="utf-8")
    bench.page.standings.choose(signers=bad)
    quiet()
    assert "line 1" in bench.page.notice.text()
    assert "line 1" in bench.page.trust.used.text()
    bench.page.standings.choose(signers=tmp_path / "gone")
    quiet()
    assert "Cannot be read" in bench.page.notice.text()


def test_empty_lists_say_so_and_never_that_a_set_is_safe(with_set, quiet) -> None:
    bench = with_set("normal")
    bench.desk.do(decide(bench.content, bench.content.tables, Outcome.ACCEPTED, by=REVIEWER))
    quiet()
    assert {line.kind for line in bench.lines()} == {"Not driven"}
    bench.desk.do(record_change(None, driven(bench.content["pre_engage_torque"]), "Add a drive"))
    quiet()
    assert not bench.lines()
    said = bench.page.list.nothing.text()
    assert "Nothing to do before a sign-off" in said
    assert "nothing about safety" in said
    assert "trained drivers" in said
    for view in (View.WAIVERS, View.REMARKS, View.SINCE):
        bench.page.list.choose_view(view)
        assert bench.page.list.nothing.text().strip()
    bench.desk.remove(bench.desk.current)
    quiet()
    assert "No set is open" in bench.page.words.text()


def test_every_field_and_button_has_a_name(with_set) -> None:
    from PySide6.QtWidgets import QAbstractButton, QComboBox, QLineEdit

    bench = with_set("practice")
    for kind in (QLineEdit, QComboBox, QAbstractButton):
        for widget in bench.page.findChildren(kind):
            inner = isinstance(widget.parent(), QComboBox) or widget.objectName().startswith("qt_")
            inner |= isinstance(widget.parent(), QLineEdit) or "Scroll" in widget.objectName()
            named = widget.accessibleName() or getattr(widget, "text", lambda: "")()
            assert named or inner, (widget, widget.parent())
