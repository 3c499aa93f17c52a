"""One slipped cell neither widens columns nor stretches colours; marks leave digits alone."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from PySide6.QtCore import QRect
from PySide6.QtGui import QFontMetrics
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.grid import layout
from app.grid.panel import GridPanel
from app.scale import beyond, is_signed, span_of
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import values_change
from calib_model.session.document import Document

SMOOTH = np.add.outer(np.arange(8.0) * 5, np.arange(10.0) * 20) + 100
Made = tuple[Desk, GridPanel]


@pytest.fixture
def made(qtbot: QtBot) -> Made:
    table = Table("m", SMOOTH, (Axis(np.arange(8.0)), Axis(np.arange(10.0))), "M", "N.m")
    desk = Desk()
    desk.add(Document(CalibrationSet([table])))
    panel = GridPanel(desk)
    qtbot.addWidget(panel)
    panel.resize(560, 300)
    panel.show()
    return desk, panel


def slip(desk: Desk, value: float) -> None:
    assert desk.table is not None
    values = desk.table.values.copy()
    values[4, 4] = value
    desk.do(values_change(desk.table, values, "Slip"))


def test_columns_keep_their_width(made: Made) -> None:
    desk, panel = made
    view = panel.view
    before = view.columnWidth(0)
    slip(desk, 6553.25)
    assert view.columnWidth(0) == before
    view._refit()
    assert view.columnWidth(0) == before
    assert view.grid.text(4, 4) == "6553.25"  # set smaller, not cut


def test_colours_of_the_other_cells_stay(made: Made) -> None:
    desk, panel = made
    model = panel.view.grid
    before = model.look(0, 0).heat, model.look(7, 9).heat
    assert before == (0, 63)
    slip(desk, 6553.0)
    assert (model.look(0, 0).heat, model.look(7, 9).heat) == before
    assert model.look(4, 4).off_scale
    assert model.look(4, 4).heat == 63
    assert not model.look(7, 9).off_scale
    slip(desk, 200.0)
    assert not model.look(4, 4).off_scale


def test_marks_of_findings_stand_left_of_the_digits(made: Made) -> None:
    _, panel = made
    view = panel.view
    view.grid.set_findings("m", {(7, 9): [("error", "Too high.")]})
    look = view.grid.look(7, 9)
    for width in (330, 420, 560):
        panel.resize(width, 300)
        cell = QRect(0, 0, view.columnWidth(9), 20)
        room = cell.adjusted(layout.left_of_text(look), 0, -layout.RIGHT, 0)
        assert room.left() >= 2 + layout.MARK  # where the mark ends
        drawn = layout.fitted(view.font(), look.text, room.width())
        assert QFontMetrics(drawn).horizontalAdvance(look.text) <= room.width()


@pytest.mark.parametrize(
    ("spoil", "span"),
    [
        (lambda v: v, (100.0, 315.0)),
        (lambda v: np.where(np.arange(80).reshape(8, 10) == 44, -9000.0, v), (100.0, 315.0)),
        (lambda v: np.where(np.arange(80).reshape(8, 10) < 20, 9000.0, v), (110.0, 9000.0)),
        (lambda v: v * np.nan, None),
        (lambda v: v * 0 + 3, None),
    ],
    ids=["nothing far off", "one far below", "many are the table's shape", "empty", "all equal"],
)
def test_the_range_of_colours(
    spoil: Callable[[np.ndarray], np.ndarray], span: tuple[float, float] | None
) -> None:
    values = spoil(SMOOTH)
    assert span_of(values) == span
    assert not beyond(SMOOTH, (100.0, 315.0)).any()


def test_tables_with_both_signs_part_at_zero(made: Made) -> None:
    desk, panel = made
    assert desk.table is not None
    assert not is_signed((-1.0, 400.0))
    assert is_signed((-100.0, 215.0))
    desk.do(values_change(desk.table, SMOOTH - 200, "Lower"))
    model = panel.view.grid
    middle = model.look(0, 5).heat  # holds 0
    assert middle in (31, 32)
    assert model.heat.backgrounds[0] != model.heat.backgrounds[63]
    # Even about zero: what lies as far below as above is as far from the middle (of 64 steps).
    below, above = model.look(0, 4).heat, model.look(0, 6).heat  # -20 and 20
    assert abs((31.5 - below) - (above - 31.5)) <= 1
