"""Frame time of the surface of a 40 x 40 map in a real window of 1100 x 700.

Recorded as properties (``pytest --junit-xml=FILE`` keeps them).  Under a virtual screen
everything is drawn by the processor, and other work on the machine counts against us, so the
best of several rounds is taken and the bound is a wide one; a graphics card draws many times
faster.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.desk import Desk
from app.plots.surface.view import SurfaceView
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import values_change
from calib_model.session.document import Document

pytestmark = pytest.mark.gl

FRAMES = 15
ROUNDS = 4
FLUID = 0.1
"""Seconds: ten pictures a second while turning is the least that feels like turning."""


def large() -> Table:
    """A hilly 40 x 40 map over unequal breakpoints."""
    x, y = np.cumsum(np.linspace(1, 4, 40)), np.cumsum(np.linspace(3, 1, 40))
    values = 300 + 200 * np.sin(x / 15)[None, :] * np.cos(y / 12)[:, None] + y[:, None]
    axes = (Axis(y, "Turbine speed", "rad/s"), Axis(x, "Vehicle speed", "km/h"))
    return Table(
        "slip_target",
        np.round(values * 2) / 2,
        axes,
        name="Slip target",
        unit="N.m",
        lower=0,
        upper=1000,
        storage=Storage.of("uint16", "0.5"),
    )


@pytest.fixture
def view(qapp: QApplication) -> Iterator[SurfaceView]:
    desk = Desk()
    desk.add(Document(CalibrationSet((large(),), programme="Larch", mode="normal")))
    made = SurfaceView(desk)
    made.set_choice("on")
    made.resize(1100, 700)
    made.show()
    made.refresh()
    for _ in range(100):
        QTest.qWait(20)
        if made.canvas is not None and made.canvas.frames:
            break
    desk.set_cursor((20, 20))
    chosen = np.zeros((40, 40), dtype=bool)
    chosen[10:20, 10:20] = True
    desk.set_selection(chosen)
    made.set_findings({(i, i): ("error", "Too low.") for i in range(0, 40, 5)})
    QTest.qWait(50)
    yield made
    made.close()
    made.deleteLater()
    QApplication.processEvents()


def best(view: SurfaceView, step: Callable[[int], object]) -> tuple[float, int]:
    """Best time for each step, and how many frames were drawn in all."""
    assert view.canvas is not None
    before, times = view.canvas.frames, []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        for number in range(FRAMES):
            step(number)
            QApplication.processEvents()
        times.append((time.perf_counter() - start) / FRAMES)
    return min(times), view.canvas.frames - before


def test_turning(
    view: SurfaceView, record_testsuite_property: Callable[[str, object], None], timed: bool
) -> None:
    each, drawn = best(view, lambda number: view.set_camera(view.camera.turned(3.0, 0.0)))
    record_testsuite_property("surface of 40 x 40, turning: milliseconds", round(each * 1000, 1))
    assert drawn >= ROUNDS * FRAMES
    assert not timed or each < FLUID


def test_dragging_a_patch(
    view: SurfaceView, record_testsuite_property: Callable[[str, object], None], timed: bool
) -> None:
    desk = view.desk
    patch = desk.selection.copy()

    def edit(number: int) -> None:
        table = desk.table
        assert table is not None
        values = table.values.copy()
        values[patch] += 0.5
        assert desk.do(values_change(table, values, "Drag", merge="one"))

    each, drawn = best(view, edit)
    record_testsuite_property(
        "surface of 40 x 40, dragging a patch: milliseconds", round(each * 1000, 1)
    )
    assert drawn >= ROUNDS * FRAMES * 0.9
    assert not timed or each < FLUID * 1.5
