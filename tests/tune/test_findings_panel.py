"""Findings in words, at their cells, with their remedies, by keyboard."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton
from pytestqt.modeltest import ModelTester
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.tune.findings_model import FindingsModel
from app.tune.findings_panel import FindingsPanel, counted
from app.tune.rules_panel import BROKEN, HOLDS, UNKNOWN, RulesPanel, rule_lines
from calib_model.editing.change import table_change


def panel_on(desk: Desk, qtbot: QtBot) -> FindingsPanel:
    panel = FindingsPanel(desk)
    qtbot.addWidget(panel)
    panel.resize(320, 700)
    panel.show()
    return panel


def test_model(practice_desk: Desk, qtmodeltester: ModelTester) -> None:
    model = FindingsModel(practice_desk)
    qtmodeltester.check(model)
    assert model.rowCount() == 4
    model.set_whole_set(True)
    qtmodeltester.check(model)
    report = practice_desk.report
    assert report is not None
    assert model.rowCount() == len(report.findings) == 18
    said = model.index(0).data(Qt.ItemDataRole.AccessibleTextRole)
    assert said.startswith("Error, Pre-engage torque: Falls from 167 to 21.5 N·m")


def test_steps_go_through_the_set_and_to_the_cell(practice_desk: Desk, qtbot: QtBot) -> None:
    panel = panel_on(practice_desk, qtbot)
    visited = []
    report = practice_desk.report
    assert report is not None
    for _ in report.findings:
        panel.step(+1)
        finding = panel.finding
        assert finding is not None
        assert practice_desk.table is not None
        assert practice_desk.table.id == finding.table
        assert practice_desk.cursor == finding.cells[0]
        visited.append((finding.table, finding.source))
    assert len(set(visited)) == len(report.findings)
    before = panel.finding
    panel.step(+1)
    panel.step(-1)
    assert panel.finding == before


def test_steps_follow_the_list_from_its_first_row(practice_desk: Desk, qtbot: QtBot) -> None:
    panel = panel_on(practice_desk, qtbot)
    for row in range(panel.model.rowCount()):
        panel.step(+1)
        assert panel.list.currentIndex().row() == row
    first = practice_desk.table
    panel.step(+1)
    assert practice_desk.table is not first
    assert panel.list.currentIndex().row() == 0


def test_a_remedy_is_one_undo_step_and_its_finding_goes(practice_desk: Desk, qtbot: QtBot) -> None:
    panel = panel_on(practice_desk, qtbot)
    practice_desk.open_table("clamp_limit_plate")
    panel.list.setCurrentIndex(panel.model.index(0))
    panel.apply_remedy(0)
    table = practice_desk.table
    assert table is not None
    assert table.values[-1] == 0
    assert panel.model.rowCount() == 0
    document = practice_desk.current
    assert document is not None
    assert document.undo_title.startswith("Set and lock 0 N")
    document.undo()
    assert panel.model.rowCount() == 1


def test_remedies_are_buttons_that_say_what_they_do(practice_desk: Desk, qtbot: QtBot) -> None:
    panel = panel_on(practice_desk, qtbot)
    practice_desk.open_table("expected_axle_difference")
    qtbot.waitUntil(lambda: any(b.isVisible() for b in panel.findChildren(QPushButton)))
    names = [b.accessibleName() for b in panel.findChildren(QPushButton) if b.isVisible()]
    assert names[0].startswith("1  Scale steering wheel angle")
    assert names[0].endswith("Mends this finding")


def test_no_remedy_chosen_is_said(practice_desk: Desk, qtbot: QtBot) -> None:
    panel = panel_on(practice_desk, qtbot)
    practice_desk.open_table("controller_tick")
    with qtbot.waitSignal(practice_desk.told) as told:
        panel.apply_remedy(3)
    assert "Choose a finding" in told.args[0]


def test_enter_asks_for_the_grid(practice_desk: Desk, qtbot: QtBot) -> None:
    panel = panel_on(practice_desk, qtbot)
    panel.list.setCurrentIndex(panel.model.index(0))
    with qtbot.waitSignal(practice_desk.focus_grid):
        qtbot.keyClick(panel.list, Qt.Key.Key_Return)


def test_heading_counts(practice_desk: Desk, qtbot: QtBot) -> None:
    panel = panel_on(practice_desk, qtbot)
    assert "3 errors, 1 warning" in panel._heading.text()
    assert "in the set" not in panel._heading.text()  # the status line says how many those are
    assert counted((0, 0, 0)) == ""
    assert counted((1, 0, 2)) == "1 error, 2 notes"


def test_rules_say_whether_they_hold(practice_desk: Desk, qtbot: QtBot) -> None:
    panel = RulesPanel(practice_desk)
    qtbot.addWidget(panel)
    lines = {line[3:]: line[0] for line in rule_lines(practice_desk, practice_desk.table)}  # type: ignore[arg-type]
    assert lines["Within 0 to 450 N·m"] == HOLDS
    assert lines["Never falls with accelerator pedal"] == BROKEN
    assert [m for words, m in lines.items() if "mode low_grip" in words] == [UNKNOWN]
    assert panel.list.count() == len(lines)


def test_heading_says_what_no_rule_looks_at(practice_desk: Desk, qtbot: QtBot) -> None:
    """A table without findings and without rules is not called sound."""
    panel = panel_on(practice_desk, qtbot)
    assert "No rule looks" not in panel._heading.text()
    assert practice_desk.current is not None
    content = practice_desk.current.content
    table = practice_desk.table
    assert table is not None
    bare = replace(table, rules=(), lower=-np.inf, upper=np.inf, relations={})
    practice_desk.do(table_change(table, bare, "Strip"))
    qtbot.waitUntil(lambda: "No rule looks at this table" in panel._heading.text())
    assert f"1 of {len(content)} tables is not checked by any rule" in panel._heading.text()
    off = replace(table, rules=tuple(replace(rule, off=True) for rule in table.rules))
    practice_desk.do(table_change(bare, off, "Turn off"))
    qtbot.waitUntil(lambda: "are turned off" in panel._heading.text())
    lines = rule_lines(practice_desk, off)
    assert sum(line.endswith("(turned off)") for line in lines) == len(off.rules)
