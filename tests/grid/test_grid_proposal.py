"""A proposal stands beside the present values; its numbers come into the grid only when asked."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.grid.panel import GridPanel
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.session.document import Document

MAP = Table("m", np.arange(6.0).reshape(2, 3), (Axis([0, 1]), Axis([0, 1, 4])), "M", "N.m")


def test_proposed_values_are_shown_and_said(qtbot: QtBot) -> None:
    desk = Desk()
    desk.add(Document(CalibrationSet([MAP])))
    panel = GridPanel(desk)
    qtbot.addWidget(panel)
    model = panel.view.grid
    raised = MAP.values.copy()
    raised[0, 2] = 7.5
    with qtbot.waitSignal(model.dataChanged):
        desk.propose({"m": MAP.with_values(raised)})
    look = model.look(0, 2)
    assert look.text == "2"  # what the table holds: nobody asked for other numbers
    assert look.to_change
    assert not model.look(0, 1).to_change
    model.show_proposal(True)
    look = model.look(0, 2)
    assert look.proposed
    assert not look.to_change
    assert look.text == "7.5"
    assert not model.look(0, 1).proposed
    index = model.index(0, 2)
    assert model.data(index, Qt.ItemDataRole.EditRole) == "2"
    assert "proposed: 7.5 N·m" in model.data(index, Qt.ItemDataRole.AccessibleTextRole)
    desk.propose(None)
    assert not model.look(0, 2).proposed
    assert model.look(0, 2).text == "2"


def test_other_axes_leave_the_grid_as_it_is(qtbot: QtBot) -> None:
    desk = Desk()
    desk.add(Document(CalibrationSet([MAP])))
    panel = GridPanel(desk)
    qtbot.addWidget(panel)
    desk.propose({"m": Table("m", np.zeros((2, 2)), (Axis([0, 1]), Axis([0, 4])))})
    assert not panel.view.grid.look(0, 0).proposed
    assert panel.view.grid.look(1, 2).text == "5"
