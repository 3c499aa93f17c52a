"""A proposal is drawn over the present values, and goes with the next edit."""

from __future__ import annotations

import numpy as np
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.plots.heatmap import HeatMapView
from app.plots.slices import SlicesView
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import values_change
from calib_model.session.document import Document

MAP = Table("m", np.arange(6.0).reshape(2, 3), (Axis([0, 1]), Axis([0, 1, 4])), "M", "N.m")


def test_desk_keeps_and_drops_it(qtbot: QtBot) -> None:
    desk = Desk()
    desk.add(Document(CalibrationSet([MAP, Table("s", 1.0)])))
    with qtbot.waitSignal(desk.proposal_changed):
        desk.propose({"m": MAP.with_values(MAP.values + 1)})
    assert desk.proposed_table is not None
    desk.open_table("s")
    assert desk.proposed_table is None
    desk.open_table("m")
    assert desk.do(values_change(MAP, MAP.values * 2, "Double"))
    assert desk.proposed_table is None
    desk.propose({"m": MAP.with_values(MAP.values * 2)})
    assert desk.proposed_table is None  # the present values: nothing to show


def test_views_show_it(qtbot: QtBot) -> None:
    desk = Desk()
    desk.add(Document(CalibrationSet([MAP])))
    heat, slices = HeatMapView(desk), SlicesView(desk)
    for view in (heat, slices):
        qtbot.addWidget(view)
        view.resize(400, 300)
        view.show()
    raised = MAP.values.copy()
    raised[0, 2] += 5
    desk.propose({"m": MAP.with_values(raised)})
    difference, why = heat.compared()
    assert difference is not None
    assert difference.tolist() == [[0, 0, 5], [0, 0, 0]]
    assert "proposed" in why
    assert [entry.words for entry in slices.key(MAP)].count("as proposed") == 1
    desk.propose(None)
    assert heat.compared() == (None, "")
    assert "as proposed" not in [entry.words for entry in slices.key(MAP)]
