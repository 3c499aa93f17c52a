"""Rules without a text editor: switched, added after a preview, changed, suggested."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLineEdit
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.tune.page import TunePage
from app.tune.rule_fields import text_of
from calib_model.core.rule import Range, Severity
from calib_model.core.table import Table
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import Monotone
from calib_model.session.document import Document

KEY = Qt.Key


@pytest.fixture
def page(practice_desk: Desk, qtbot: QtBot) -> TunePage:
    """The page with its rules in sight."""
    practice_desk.open_table("cruise_base_torque")
    made = TunePage(practice_desk)
    qtbot.addWidget(made)
    made.resize(1200, 700)
    made.show()
    qtbot.waitExposed(made)
    made.show_side(1)
    return made


def table_of(desk: Desk) -> Table:
    assert desk.table is not None
    return desk.table


def document_of(desk: Desk) -> Document:
    assert desk.current is not None
    return desk.current


def row_of(page: TunePage, words: str) -> int:
    texts = [page.rules.list.item(n).text() for n in range(page.rules.list.count())]
    return next(n for n, text in enumerate(texts) if words in text)


def choose_kind(page: TunePage, name: str) -> None:
    form = page.rules.form
    form.kind.setCurrentIndex(form.kind.findData(name))


def edit_of(page: TunePage, name: str) -> QLineEdit:
    field = next(f for f in page.rules.form._fields if f.setting.name == name)
    assert isinstance(field.edit, QLineEdit)
    return field.edit


def test_space_turns_a_rule_off_and_on(page: TunePage, practice_desk: Desk, qtbot: QtBot) -> None:
    rules = table_of(practice_desk).rules
    page.rules.list.setCurrentRow(row_of(page, "Never falls with accelerator pedal"))
    qtbot.keyClick(page.rules.list, KEY.Key_Space)
    assert sum(rule.off for rule in table_of(practice_desk).rules) == 1
    qtbot.waitUntil(lambda: "(turned off)" in page.rules.list.currentItem().text())
    assert page.rules.list.currentItem().checkState() == Qt.CheckState.Unchecked
    qtbot.keyClick(page.rules.list, KEY.Key_Space)
    assert table_of(practice_desk).rules == rules
    document_of(practice_desk).undo()
    document_of(practice_desk).undo()
    assert table_of(practice_desk).rules == rules


def test_what_is_no_stated_rule_has_no_switch(page: TunePage) -> None:
    page.rules.list.setCurrentRow(0)  # the table's limits
    assert page.rules.list.item(0).data(Qt.ItemDataRole.CheckStateRole) is None
    assert page.rules.chosen is None
    assert not page.rules.remove_button.isEnabled()


def test_a_rule_is_previewed_in_the_grid_before_it_is_kept(
    page: TunePage, practice_desk: Desk, qtbot: QtBot
) -> None:
    before = table_of(practice_desk)
    qtbot.keyClick(page.rules.list, KEY.Key_Insert)
    form = page.rules.form
    assert form.isVisible()
    choose_kind(page, "bounds")
    assert form.picture.isVisible()
    qtbot.keyClicks(edit_of(page, "upper"), "50")
    qtbot.waitUntil(lambda: form.outcome.text().startswith("It holds in 0 of 1 table and names"))
    assert table_of(practice_desk) == before
    marked = page.grid.grid._findings
    over = {tuple(map(int, cell)) for cell in zip(*(before.values > 50).nonzero(), strict=True)}
    named = {
        cell for cell, found in marked.items()
        if any(words.startswith("Would be named: ") for _, words in found)
    }  # fmt: skip
    assert named == over
    qtbot.keyClick(edit_of(page, "upper"), KEY.Key_Return)
    assert Bounds(upper=50.0) in table_of(practice_desk).rules
    assert not form.isVisible()
    assert not any("Would be" in words for found in page.grid.grid._findings.values()
                   for _, words in found)  # fmt: skip
    document_of(practice_desk).undo()
    assert table_of(practice_desk).rules == before.rules


def test_leaving_the_form_keeps_and_marks_nothing(
    page: TunePage, practice_desk: Desk, qtbot: QtBot
) -> None:
    before = table_of(practice_desk)
    page.add_rule()
    choose_kind(page, "bounds")
    edit_of(page, "upper").setText("50")
    page.rules.form.try_it()
    assert any("Would be" in w for f in page.grid.grid._findings.values() for _, w in f)
    qtbot.keyClick(edit_of(page, "upper"), KEY.Key_Escape)
    qtbot.wait(200)  # longer than a preview waits
    assert not any("Would be" in w for f in page.grid.grid._findings.values() for _, w in f)
    assert table_of(practice_desk) == before


def test_what_cannot_be_read_is_said_and_not_kept(page: TunePage, practice_desk: Desk) -> None:
    before = table_of(practice_desk)
    page.add_rule()
    choose_kind(page, "bounds")
    edit_of(page, "upper").setText("fifty")
    page.rules.form.accept()
    assert "upper cannot be 'fifty'" in page.rules.form.outcome.text()
    assert not page.rules.form.keep.isEnabled()
    assert table_of(practice_desk) == before


def test_a_rule_is_changed_in_its_place(page: TunePage, practice_desk: Desk, qtbot: QtBot) -> None:
    row = row_of(page, "Never falls with accelerator pedal")
    page.rules.list.setCurrentRow(row)
    old = page.rules.chosen
    assert isinstance(old, Monotone)
    qtbot.keyClick(page.rules.list, KEY.Key_Return)
    field = next(f for f in page.rules.form._fields if f.setting.name == "severity")
    field.show_value("note")
    page.rules.form.accept()
    new = table_of(practice_desk).rules[table_of(practice_desk).rules.index(page.rules._rules[row])]
    assert (type(new), new.severity, getattr(new, "axis", "")) == (
        Monotone, Severity.NOTE, old.axis)  # fmt: skip
    qtbot.keyClick(page.rules.list, KEY.Key_Delete)
    assert new not in table_of(practice_desk).rules


def test_one_rule_for_the_tables_of_a_pattern(page: TunePage, practice_desk: Desk) -> None:
    page.add_rule()
    choose_kind(page, "bounds")
    edit_of(page, "lower").setText("-5000")
    form = page.rules.form
    form.which.setCurrentIndex(1)
    form.try_it()
    assert "which tables" in form.outcome.text()
    form.patterns["id"].setText("cruise_*")
    form.accept()
    content = document_of(practice_desk).content
    got = {t.id for t in content if Bounds(lower=-5000.0) in t.rules}
    assert got == {t.id for t in content if t.id.startswith("cruise_")}
    document_of(practice_desk).undo()  # one step
    assert not any(Bounds(lower=-5000.0) in t.rules for t in document_of(practice_desk).content)


def test_suggestions_are_offered_and_none_is_assumed(
    page: TunePage, practice_desk: Desk, qtbot: QtBot
) -> None:
    practice_desk.open_table("torque_fall_slew")
    count = len(table_of(practice_desk).rules)
    page.suggest_rules()
    listed = page.rules.suggestions
    assert "keep it so?" in listed.list.item(0).text()
    assert "lines" in listed.list.item(0).text()
    assert not listed.keep.isEnabled()
    qtbot.keyClick(listed.list, KEY.Key_Space)
    listed.accept()
    assert len(table_of(practice_desk).rules) == count + 1
    document_of(practice_desk).undo()
    assert len(table_of(practice_desk).rules) == count


def test_another_table_closes_the_form(page: TunePage, practice_desk: Desk) -> None:
    page.add_rule()
    practice_desk.open_table("ambient_factor")
    assert not page.rules.form.isVisible()


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (float("inf"), ""), (0.1, "0.1"), (True, "yes"), ((20.0, 60.5), "20, 60.5"),
        ((Range("pedal", 20, 60),), "pedal:20..60"), (Severity.NOTE, "note"),
        ((Range("pedal", high=60),), "pedal:..60"),
    ],
)  # fmt: skip
def test_values_are_shown_as_they_are_read(value: object, text: str) -> None:
    assert text_of(value) == text
