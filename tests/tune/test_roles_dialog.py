"""Roles in the window: suggested with reasons, confirmed together with their rules."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.tune.roles_dialog import RolesDialog
from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import apply
from calib_model.editing.rule_changes import remove_rules
from calib_model.roles.changes import unbind
from calib_model.roles.missing import readiness
from calib_model.session.document import Document


@pytest.fixture
def unbound_desk(practice: CalibrationSet, qapp: object) -> Desk:
    """The practice set, its tables bound to nothing and without rules."""
    ids = [table.id for table in practice if table.role]
    content = apply(practice, unbind(practice, ids))
    content = apply(content, remove_rules(content, ids, lambda rule: True))
    desk = Desk()
    desk.add(Document(content, author="calibrator A"))
    return desk


def content_of(desk: Desk) -> CalibrationSet:
    assert desk.current is not None
    return desk.current.content


def test_all_sure_ones_are_bound_with_their_rules_as_one_step(
    unbound_desk: Desk, qtbot: QtBot
) -> None:
    before = content_of(unbound_desk)
    dialog = RolesDialog(unbound_desk)
    qtbot.addWidget(dialog)
    dialog.show()
    assert not dialog.chosen
    assert not dialog.bind.isEnabled()
    assert dialog.suggested.count() > 10
    qtbot.keyClick(dialog.sure, Qt.Key.Key_Space)
    chosen = {one.table: one.role for one in dialog.chosen}
    assert chosen
    assert set(chosen.values()) <= set(readiness(before).missing)
    left_id, left_rule = dialog._rules[0]
    dialog.rules.setCurrentRow(0)
    qtbot.keyClick(dialog.rules, Qt.Key.Key_Space)  # this one stays out
    qtbot.keyClick(dialog.bind, Qt.Key.Key_Space)
    after = content_of(unbound_desk)
    assert {id: after[id].role for id in chosen} == chosen
    assert left_rule not in after[left_id].rules
    assert sum(len(table.rules) for table in after) > len(chosen)
    assert dialog.can_do.text() == readiness(after).words
    assert unbound_desk.current is not None
    unbound_desk.current.undo()
    assert content_of(unbound_desk) == before


def test_one_suggestion_is_confirmed_by_space(unbound_desk: Desk, qtbot: QtBot) -> None:
    dialog = RolesDialog(unbound_desk)
    qtbot.addWidget(dialog)
    dialog.show()
    assert "For it: " in dialog.why.text()
    one = dialog._found[0]
    qtbot.keyClick(dialog.suggested, Qt.Key.Key_Space)
    assert dialog.chosen == [one]
    dialog.confirm()
    bound = [table.id for table in content_of(unbound_desk) if table.role]
    assert bound == [one.table]


def test_a_set_without_suggestions_says_so(practice_desk: Desk, qtbot: QtBot) -> None:
    dialog = RolesDialog(practice_desk)
    qtbot.addWidget(dialog)
    dialog.show()
    assert dialog.note.text().startswith("Nothing is suggested")
    assert not dialog.sure.isEnabled()
    assert dialog.abilities.count() > 5
