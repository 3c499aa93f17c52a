"""What a plot shows after its view moved is what it would show if all were drawn anew."""

from __future__ import annotations

import pytest
from PySide6.QtWidgets import QApplication, QGraphicsItem

from app.plots.curve import CurveView
from app.plots.heatmap import HeatMapView
from app.plots.slices import SlicesView
from tests.plots import demo_set as demo
from tests.plots import mouse


@pytest.mark.parametrize(
    ("make", "table"),
    [
        (CurveView, "pre_engage_fade"),
        (SlicesView, "pre_engage_torque"),
        (HeatMapView, "pre_engage_torque"),
    ],
)
def test_nothing_old_stays_on_screen(qtbot, make, table: str) -> None:  # type: ignore[no-untyped-def]
    view = make(demo.demo_desk(table))
    qtbot.addWidget(view)
    view.resize(700, 330)
    view.show()
    qtbot.waitUntil(lambda: view.canvas is not None)
    view.refresh()
    QApplication.processEvents()
    canvas = view.canvas
    first = canvas.grab().toImage()
    for notches, across in ((2, 0.7), (1, 0.3), (-1, 0.5)):
        mouse.wheel(canvas, notches, across)
        QApplication.processEvents()
        shown = canvas.grab().toImage()
        assert shown != first
        for item in canvas.scene().items():
            item.setCacheMode(QGraphicsItem.CacheMode.NoCache)
            item.update()
        assert canvas.grab().toImage() == shown
