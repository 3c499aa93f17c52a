"""How long the plots take for one step of a drag, edit to painted pixels."""

from __future__ import annotations

from itertools import cycle

import numpy as np
import pytest
from PySide6.QtCore import QPointF
from PySide6.QtWidgets import QApplication

from app.desk import Desk
from app.plots.heatmap import HeatMapView, Show
from app.plots.panel import PlotPanel
from app.plots.slices import SlicesView
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import values_change
from calib_model.session.document import Document
from tests.plots import mouse


def big_desk(rows: int, columns: int) -> Desk:
    a, b = np.linspace(-40, 50, rows), np.linspace(0, 100, columns)
    values = np.round(100 + b[None, :] * 3 - a[:, None] + 20 * np.sin(a[:, None] * b / 500))
    table = Table(
        "big",
        values,
        (Axis(a, "Ambient temperature", "degC"), Axis(b, "Pedal", "%")),
        unit="N.m",
        lower=0,
        upper=1000,
        storage=Storage.of("uint16", "0.5"),
    )
    desk = Desk()
    desk.add(Document(CalibrationSet((table,))))
    return desk


def paint(view) -> None:
    """Repaint what is out of date and paint the whole canvas, as the next frame would."""
    view.refresh()
    view.canvas.viewport().repaint()


def ready(qtbot, view):
    qtbot.addWidget(view)
    view.resize(700, 400)
    view.show()
    qtbot.waitUntil(lambda: view.canvas is not None)
    paint(view)
    return view


def test_drag_step_in_thirty_slices(benchmark, qtbot) -> None:
    desk = big_desk(30, 40)
    view = ready(qtbot, SlicesView(desk))
    x, y = view.points(desk.table)
    at = view.canvas.to_viewport(float(x[20]), float(y[20]))
    mouse.press(view.canvas, at)
    steps = cycle((5, 12, 25, 40))
    start = desk.table.values.copy()

    def step() -> None:
        mouse.move(view.canvas, at + QPointF(0, next(steps)))
        paint(view)

    benchmark(step)
    mouse.release(view.canvas, at)
    assert (desk.table.values != start).sum() == 1


@pytest.mark.parametrize("mode", [Show.VALUES, Show.FROM_SAVED])
def test_edit_in_a_forty_by_forty_heat_map(benchmark, qtbot, mode: Show) -> None:
    desk = big_desk(40, 40)
    view = ready(qtbot, HeatMapView(desk))
    view.set_mode(mode)
    amounts = cycle((1.0, 2.5, -3.0, 0.5))

    def edit() -> None:
        table = desk.table
        values = table.values.copy()
        values[20, 20] += next(amounts)
        desk.do(values_change(table, values, "Edit"))
        paint(view)

    benchmark(edit)
    assert view.plane[20, 20] != 0


def test_cursor_step_in_a_forty_by_forty_heat_map(benchmark, qtbot) -> None:
    desk = big_desk(40, 40)
    view = ready(qtbot, HeatMapView(desk))
    cells = cycle([(i, 39 - i) for i in range(40)])

    def move() -> None:
        desk.set_cursor(next(cells))
        paint(view)

    benchmark(move)
    assert view.read_out.whole


def test_drag_step_with_the_whole_panel_in_sight(benchmark, qtbot) -> None:
    desk = big_desk(40, 40)
    panel = PlotPanel(desk)
    qtbot.addWidget(panel)
    panel.resize(900, 400)
    panel.show()
    qtbot.waitUntil(lambda: panel.slices.canvas is not None and panel.heat.canvas is not None)
    view = panel.slices
    paint(view)
    x, y = view.points(desk.table)
    at = view.canvas.to_viewport(float(x[20]), float(y[20]))
    mouse.press(view.canvas, at)
    steps = cycle((5, 12, 25, 40))

    def step() -> None:
        mouse.move(view.canvas, at + QPointF(0, next(steps)))
        # As in use: the repaints are due in the next turn of the event loop, then they are painted.
        QApplication.processEvents()
        QApplication.processEvents()

    benchmark(step)
    mouse.release(view.canvas, at)
    assert panel.heat.plane.shape == (40, 40)
