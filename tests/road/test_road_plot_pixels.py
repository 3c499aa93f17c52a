"""The curves of a drive stand where axis, play head and bands say: held to the pixels on screen.

What is seen is compared with the data through the view's own transformation, after everything
that moves the view, also on a screen of 200 %.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QPointF, Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication

from app.road.recordings.plot import DrivePlot, StripView
from app.road.recordings.scene import Band, Scene, Strip, Trace
from tests.plots import mouse

ROOT = Path(__file__).resolve().parents[2]
TIME = np.arange(0.0, 300.0, 0.02)
STEPS = np.where((TIME // 7).astype(int) % 3 == 1, 80.0, 10.0) + 5.0 * np.sin(TIME / 11.0)
"""Steps at moments that nothing else has: a curve that stands elsewhere is told at once."""


@pytest.fixture
def plot(qtbot) -> DrivePlot:  # type: ignore[no-untyped-def]
    """Two strips and a band of a drive of five minutes, on the screen."""
    made = DrivePlot()
    qtbot.addWidget(made)
    made.resize(900, 500)
    made.show()
    qtbot.waitExposed(made)
    strips = (
        Strip("speed", "Speed", "km/h", (Trace("speed", STEPS),)),
        Strip("torque", "Clutch torque", "N.m", (Trace("torque", STEPS[::-1].copy()),)),
    )
    codes = np.where(STEPS > 40.0, 1, 0)
    band = Band("A is decided by", "A", codes, {0: "low", 1: "high"})
    made.show_scene(Scene(TIME, strips, (band,)))
    drawn()
    made.grab()  # what Qt keeps of a curve is filled by a first look
    return made


def drawn() -> None:
    """Let all that is to be drawn later be drawn."""
    for _ in range(4):
        QApplication.processEvents()


def looked(view: StripView) -> tuple[np.ndarray, float]:
    """Return the viewport as rows of pixels, and the pixels per screen unit."""
    picture = view.viewport().grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    height, width = picture.height(), picture.width()
    pixels = np.frombuffer(picture.constBits(), dtype=np.uint32).reshape(height, -1)[:, :width]
    return pixels & 0xFFFFFF, picture.devicePixelRatio()


def ink_of(view: StripView) -> tuple[np.ndarray, float]:
    """Tell which pixels the curve colours: those that differ once it is hidden."""
    before, scale = looked(view)
    view.lines[0].setVisible(False)
    after, _ = looked(view)
    view.lines[0].setVisible(True)
    return before != after, scale


def assert_in_place(plot: DrivePlot) -> None:
    """Every edge of the curve within a pixel or two of where the data have it, and no other."""
    low, high = plot.view()
    for view in plot.strips:
        ink, scale = ink_of(view)
        values = view.strip.traces[0].values
        edges = TIME[np.flatnonzero(np.abs(np.diff(values)) > 40.0)]
        margin = (high - low) / 100
        wanted = [t for t in edges.tolist() if low + margin < t < high - margin]
        assert len(wanted) >= 2
        # An edge is a column inked over more than half of the step's height.
        step = abs(view.to_viewport(low, 10.0).y() - view.to_viewport(low, 80.0).y()) * scale
        found = np.flatnonzero(ink.sum(axis=0) > step / 2) / scale
        places = np.array([view.to_viewport(t, 0.0).x() for t in wanted])
        for place in places:
            assert np.abs(found - place).min(initial=np.inf) <= 2.0, (view.strip.name, place, found)
        everywhere = np.array([view.to_viewport(t, 0.0).x() for t in edges.tolist()])
        for column in found:
            assert np.abs(everywhere - column).min() <= 2.0, (view.strip.name, column)
        # and level pieces at their height
        middles = [(a + b) / 2 for a, b in pairwise(wanted)]
        for moment in middles:
            value = float(np.interp(moment, TIME, values))
            spot = view.to_viewport(moment, value) * scale
            near = ink[max(int(spot.y()) - 3, 0) : int(spot.y()) + 4, int(spot.x())]
            assert near.any(), (view.strip.name, moment, value)


def turn(view: StripView, notches: int, share: float) -> None:
    """Turn the wheel at a share of the width."""
    mouse.wheel(view, notches, share)
    drawn()


def wheel(plot: DrivePlot) -> None:
    turn(plot.strips[0], 1, 0.7)


def wheel_often(plot: DrivePlot) -> None:
    for share in (0.3, 0.6, 0.6, 0.4):
        turn(plot.strips[1], 1, share)
        plot.grab()
    turn(plot.strips[1], -1, 0.5)


def drag(plot: DrivePlot) -> None:
    turn(plot.strips[0], 3, 0.5)
    plot.grab()
    view, middle = plot.strips[0], Qt.MouseButton.MiddleButton
    start = QPointF(view.viewport().width() * 0.6, view.viewport().height() / 2)
    before = plot.view()
    mouse.send(view, QEvent.Type.MouseButtonPress, start, button=middle)
    for i in range(1, 8):
        at = start - QPointF(12.0 * i, 0.0)
        mouse.send(view, QEvent.Type.MouseMove, at, button=middle)
        drawn()
    mouse.send(view, QEvent.Type.MouseButtonRelease, at, button=middle)
    drawn()
    assert plot.view() != before


def resize(plot: DrivePlot) -> None:
    turn(plot.strips[0], 2, 0.4)
    plot.grab()
    plot.resize(700, 420)
    drawn()


def keys(plot: DrivePlot) -> None:
    plot.zoom(0.5)
    plot.grab()
    plot.show_view(120.0, 220.0)
    plot.grab()
    plot.show_view(121.0, 221.0)


def play(plot: DrivePlot) -> None:
    plot.show_view(100.0, 180.0)
    plot.grab()
    for tick in (7100, 8900, 9600, 14100):
        plot.set_head(tick)
        drawn()
        plot.grab()


@pytest.mark.parametrize("gesture", [None, wheel, wheel_often, drag, resize, keys, play])
def test_curves_stand_where_the_axis_says(
    plot: DrivePlot, gesture: Callable[[DrivePlot], None] | None
) -> None:
    if gesture is not None:
        gesture(plot)
    drawn()
    assert_in_place(plot)


def test_curves_stand_where_the_axis_says_at_200_percent() -> None:
    chosen = "axis_says and not percent"
    command = [sys.executable, "-m", "pytest", "-q", str(Path(__file__)), "-k", chosen]
    env = {**os.environ, "QT_SCALE_FACTOR": "2"}
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, timeout=100)
    assert done.returncode == 0, done.stdout[-3000:]
    assert "7 passed" in done.stdout
