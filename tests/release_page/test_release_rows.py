"""Rows of one line under headings that fold; one count; what is accepted is shown first."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QLocale, QPoint, Qt
from PySide6.QtGui import QFont

from app.line_rows import Line, Rows
from app.release.keys_kept import KeptKey, keep_key, key_of
from app.release.lines import GROUPS, KINDS, View, group_of, when
from app.release.standing import Past
from app.shell.window import MainWindow
from calib_model.core.record import Outcome
from calib_model.editing.change import values_change
from calib_model.signoff.decisions import decide
from calib_model.signoff.gate import Item, Obstacle
from tests.release_page.conftest import AUTHOR, PASSPHRASE, REVIEWER, Bench, People

K = Qt.Key
NONE, SHIFT = Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.ShiftModifier


def press(qtbot, bench: Bench, key: Qt.Key, modifiers=NONE) -> None:  # type: ignore[no-untyped-def]
    qtbot.keyClick(bench.page.list.view, key, modifiers)


def headings(bench: Bench) -> dict[str, int]:
    rows = bench.page.list.rows
    found = [h for n in range(rows.rowCount()) if (h := rows.heading(n)) is not None]
    return {head.group: head.count for head in found}


@pytest.mark.parametrize("kind", list(Obstacle))
def test_every_kind_has_its_name_and_its_heading(kind: Obstacle) -> None:
    assert KINDS[kind]
    assert group_of(Item(kind, "", "Something.", "")) == GROUPS[kind]
    assert "for information" in group_of(Item(kind, "", "Something.", "", blocks=False))


def test_headings_bar_switch_and_words_count_the_same(with_set) -> None:
    bench = with_set("practice")
    gate = bench.page.standings.standing.gate
    left = len(gate.blocking())
    grouped = headings(bench)
    assert sum(n for name, n in grouped.items() if "for information" not in name) == left
    assert bench.page.list.buttons[View.TO_DO].text() == f"To do {left}"
    assert bench.page.bar.total - bench.page.bar.done == left
    assert f"0 of {left} done." in bench.page.progress.text()
    assert grouped["Tables that await a decision"] == 42


def test_a_row_is_one_line_high_and_whole_on_hover(with_set) -> None:
    bench = with_set("practice")
    view, rows = bench.page.list.view, bench.page.list.rows
    assert view.rowHeight(1) < 2 * view.fontMetrics().height()
    index = rows.index(1)
    tip = rows.data(index, Qt.ItemDataRole.ToolTipRole)
    line = rows.line(1)
    assert line.title in tip
    assert line.text in tip
    assert line.more in tip


def test_groups_fold_by_key_and_chevron_and_open_for_a_search(with_set, qtbot) -> None:
    bench = with_set("practice")
    panel = bench.page.list
    all_rows = panel.rows.rowCount()
    press(qtbot, bench, K.Key_Left)  # to the heading
    assert panel.heading.group == "Findings"
    count = panel.heading.count
    press(qtbot, bench, K.Key_Left)
    assert panel.rows.rowCount() == all_rows - count
    assert panel.heading.folded, "the cursor stays on it"
    panel.filter.setText("clamp_limit_plate error")
    assert panel.rows.line(1) is not None, "what is looked for is never folded away"
    panel.filter.setText("")
    press(qtbot, bench, K.Key_Right)
    assert panel.rows.rowCount() == all_rows
    place = QPoint(12, panel.view.rowViewportPosition(0) + 8)
    qtbot.mouseClick(panel.view.viewport(), Qt.MouseButton.LeftButton, pos=place)
    assert panel.rows.rowCount() == all_rows - count


def test_a_heading_stands_for_all_under_it(with_set, qtbot) -> None:
    bench = with_set("normal")
    panel = bench.page.list
    press(qtbot, bench, K.Key_Home)
    press(qtbot, bench, K.Key_Left)
    assert panel.heading.group == "Tables that await a decision"
    assert len(panel.lines) == 42
    assert bench.page.act.buttons["accept"].text() == "Accept 42 tables…"
    assert bench.page.act.first_button() is bench.page.act.buttons["accept"]


def test_thirty_thousand_rows_are_grouped_about_as_fast_as_they_are_listed(qtbot) -> None:
    from time import perf_counter

    lines = [Line(f"k{n}", "note", "Kind", f"t{n}", "words") for n in range(30_000)]
    grouped = [replace(line, group=f"g{n * 6 // 30_000}") for n, line in enumerate(lines)]

    def took(shown: list[Line]) -> float:
        best = 1e9
        for _ in range(5):
            rows = Rows()
            start = perf_counter()
            rows.show(shown)
            best = min(best, perf_counter() - start)
        assert rows.rowCount() >= 30_000
        return best

    assert took(grouped) < 3 * took(lines)


def test_times_are_in_the_form_that_the_user_has() -> None:
    before = QLocale()
    try:
        QLocale.setDefault(QLocale("de_DE"))
        assert when("2026-12-02T12:00:00Z").startswith("02.12.26")  # Unicode CLDR, from memory
        QLocale.setDefault(QLocale("en_US"))
        assert when("2026-12-02T12:00:00Z").startswith("12/2/26")
    finally:
        QLocale.setDefault(before)
    assert when("2026-12-02") == "2026-12-02"
    assert when("some day last week") == "some day last week"
    assert when("") == "no time given"


def test_without_a_set_nothing_can_be_written(with_set, quiet) -> None:
    bench = with_set("normal")
    assert bench.page.hand_over.write.isEnabled()
    assert bench.page.hand_over.state.text().count("UNSIGNED") == 1, "said once"
    bench.desk.remove(bench.desk.current)
    quiet()
    assert not bench.page.hand_over.write.isEnabled()
    assert not bench.page.trial.write.isEnabled()
    assert not bench.page.head.isVisible()
    assert "Ctrl+O" in bench.page.list.nothing.text()


# -- accepting many -------------------------------------------------------------------------------


def test_many_tables_are_shown_with_their_changes_before_one_key_accepts_them(
    with_set, qtbot, quiet
) -> None:
    bench = with_set("normal")
    table = bench.content["slip_target"]
    values = np.array(table.values)
    before = values[2, 1]
    values[2, 1] += 0.5
    bench.desk.do(values_change(table, values, "Raise one cell"))
    bench.settings.author = REVIEWER
    quiet()
    press(qtbot, bench, K.Key_A, SHIFT)
    form = bench.page.act.decide
    assert not bench.content.record.decisions, "accepted unseen"
    shown = {line.title: line for line in form.rows.found}
    assert len(shown) == 42
    raised = shown["Slip target"]
    assert f"{before:g}" in raised.text
    assert f"{before + 0.5:g}" in raised.text
    told = [line.text for line in form.rows.found]
    assert told.index("Never signed off") > told.index(raised.text), "what changed comes first"
    qtbot.keyClick(form.confirm, K.Key_Return)
    quiet()
    assert len(bench.content.record.latest_decisions) == 42


# -- signing --------------------------------------------------------------------------------------


def test_signing_is_off_while_something_is_to_do_and_says_why(with_set, quiet) -> None:
    bench = with_set("normal")
    form = bench.page.sign
    bench.page.show_panel(form)
    form.role.setCurrentText("reviewer")
    assert not form.submit_button.isEnabled()
    assert form.why.isVisible()
    assert "42 tables that await a decision" in form.why.text()
    assert "42 tables that await a decision" in form.submit_button.toolTip()
    form.role.setCurrentText("author")  # may submit before the decisions
    assert form.submit_button.isEnabled()
    assert not form.why.isVisible()
    form.role.setCurrentText("reviewer")
    bench.desk.do(decide(bench.content, bench.content.tables, Outcome.ACCEPTED, by=REVIEWER))
    quiet()
    assert form.submit_button.isEnabled()


def test_each_person_finds_their_key_and_role_again(with_set, people: People, quiet) -> None:
    bench = with_set("normal")
    bench.desk.do(decide(bench.content, bench.content.tables, Outcome.ACCEPTED, by=REVIEWER))
    quiet()
    form = bench.page.sign
    for role, name, key in (
        ("author", AUTHOR, people.author),
        ("reviewer", REVIEWER, people.reviewer),
    ):
        form.role.setCurrentText(role)
        form.name.setText(name)
        form.key.show_path(key)
        form.secret.setText(PASSPHRASE)
        form.submit()
        quiet()
        assert "Signed as" in form.answer.text()
    form.name.setText(AUTHOR.upper())
    assert (form.key.path, form.role.currentText()) == (people.author, "author")
    form.name.setText(f" {REVIEWER}")
    assert (form.key.path, form.role.currentText()) == (people.reviewer, "reviewer")
    assert PASSPHRASE not in bench.settings.path.read_text(encoding="utf-8")


def test_what_somebody_wrote_into_the_settings_is_no_key(bench: Bench) -> None:
    for text in ("no json", "[]", '{"a": 1}', json.dumps({"b": {"path": 3}})):
        bench.settings.remember("release/keys", text)
        assert key_of(bench.settings, "a") == KeptKey()
    keep_key(bench.settings, "A  b", "somewhere", "author")
    keep_key(bench.settings, "a B", "elsewhere")
    assert key_of(bench.settings, "A B") == KeptKey("elsewhere", "author")


def test_the_cells_of_a_waiver_are_shown_whole(with_set, qtbot) -> None:
    bench = with_set("practice")
    bench.page.resize(900, 560)
    seen = 0
    for line in bench.lines():
        if line.kind != "Error":
            continue
        bench.page.list.choose(line)
        bench.page.acts.order("waive")
        label = bench.page.act.waive.cells
        qtbot.waitUntil(label.isVisible)
        qtbot.waitUntil(lambda label=label: label.height() >= label.heightForWidth(label.width()))
        area = bench.page.tabs.currentWidget()
        reason = bench.page.act.waive.reason
        place = reason.mapTo(area.viewport(), QPoint(0, reason.height()))
        assert place.y() <= area.viewport().height(), "the field to type in is in sight"
        bench.page.back_to_list()
        seen += 1
    assert seen


def test_large_text_leaves_the_panel_of_signing_as_wide_as_it_is(
    qapp, window: MainWindow, opened, wait
) -> None:
    page = opened("normal_signed")
    page.show_panel(page.trust)
    wait()
    assert "SHA256:" in page.trust.used.text()
    before = qapp.font()
    large = QFont(before)
    large.setPointSizeF(16)
    try:
        qapp.setFont(large)
        page._across.setSizes([960, 340])
        wait()
        for form in (page.trust, page.hand_over, page.trial):
            page.show_panel(form)
            wait()
            bar = page.tabs.currentWidget().horizontalScrollBar()
            assert bar.maximum() == 0, (form, bar.maximum())
        page.show_panel(page.trust)
        wait()
        used = page.trust.used
        assert used.height() >= used.document().size().height() - 1, "no line of it is cut"
    finally:
        qapp.setFont(before)
        wait()


# -- the history ----------------------------------------------------------------------------------


class Counted:
    """A history that counts how often it is read whole."""

    def __init__(self) -> None:
        self.read = 0

    def views(self) -> list[object]:
        self.read += 1
        return []


def test_a_history_is_read_once_however_often_one_looks() -> None:
    history = Counted()
    first = Past(history).read(None)  # type: ignore[arg-type]
    again = Past(history).read(first)  # type: ignore[arg-type]
    assert again.entries() == []
    assert history.read == 1
    other = Counted()
    Past(other).read(again).entries()  # type: ignore[arg-type]
    assert other.read == 1
