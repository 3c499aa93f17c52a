"""Plots as pictures and in windows of their own."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.plots.panel import PlotPanel
from calib_model.editing.change import values_change
from tests.plots import demo_set as demo

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def desk() -> Desk:
    made = demo.demo_desk()
    made.open_table("pre_engage_torque")
    return made


@pytest.fixture
def panel(qtbot: QtBot, desk: Desk) -> PlotPanel:
    made = PlotPanel(desk)
    qtbot.addWidget(made)
    made.resize(740, 330)
    made.show()
    qtbot.waitUntil(lambda: made.slices.canvas is not None)
    return made


def ground(image: QImage) -> float:
    """Return the share of nearly white pixels."""
    plain = image.convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(plain.constBits(), np.uint8).reshape(plain.height(), -1)
    seen = rows[:, : 3 * plain.width()].reshape(plain.height(), plain.width(), 3)
    return float((seen.min(axis=2) > 225).mean())


def test_a_copied_plot_is_a_picture_of_its_size(panel: PlotPanel) -> None:
    panel.tools.copy()
    image = QApplication.clipboard().image()
    assert (image.width(), image.height()) == (
        round(1.5 * panel.width()),
        round(1.5 * panel.height()),
    )
    assert 0.05 < ground(image) < 0.98  # neither empty nor one colour


def test_a_drawing_keeps_lines_and_text(panel: PlotPanel, tmp_path: Path) -> None:
    assert panel.tools.write(tmp_path / "plot.svg")
    root = ET.parse(tmp_path / "plot.svg").getroot()
    assert root.tag == f"{SVG}svg"
    texts = " ".join("".join(t.itertext()) for t in root.iter(f"{SVG}text"))
    assert "Pre-engage torque" in texts
    assert "N·m" in texts
    assert (
        sum(1 for _ in root.iter(f"{SVG}polyline")) + sum(1 for _ in root.iter(f"{SVG}path")) > 20
    )


def test_a_slide_is_light_and_large(panel: PlotPanel, tmp_path: Path) -> None:
    assert panel.tools.write(tmp_path / "slide.png", slide=True)
    image = QImage(str(tmp_path / "slide.png"))
    assert (image.width(), image.height()) == (1920, 1080)
    assert ground(image) > 0.4


def test_what_cannot_be_written_is_said(
    panel: PlotPanel, desk: Desk, tmp_path: Path, qtbot: QtBot
) -> None:
    with qtbot.waitSignal(desk.told) as told:
        assert not panel.tools.write(tmp_path / "none" / "plot.png")
    assert told.args[1]


def test_a_window_of_its_own_follows_edits(panel: PlotPanel, desk: Desk, qtbot: QtBot) -> None:
    window = panel.tools.pop_out()
    (twin,) = window.findChildren(PlotPanel)
    qtbot.waitUntil(lambda: twin.heat.canvas is not None)
    assert window.windowTitle().startswith("Pre-engage torque at ")
    assert desk.table is not None
    desk.do(values_change(desk.table, desk.table.values + 7, "Raise"))
    twin.heat.refresh()
    assert np.array_equal(twin.heat.plane, desk.table.values)
    window.close()
    qtbot.waitUntil(lambda: panel.tools.windows == [])
    desk.do(values_change(desk.table, desk.table.values - 7, "Lower"))  # nothing listens any more


def test_the_key_takes_lines_out_and_back(panel: PlotPanel, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: any(e.part == "others" for e in panel.legend.entries))
    number = next(n for n, e in enumerate(panel.legend.entries) if e.part == "others")
    at = panel.legend._places(panel.legend.width())[number].center()
    line = panel.slices._items.others
    assert line.opacity() == 1
    qtbot.mouseClick(panel.legend, Qt.MouseButton.LeftButton, pos=at)
    assert line.opacity() == 0
    panel.desk.set_cursor((4, 4))  # what is drawn anew stays out
    panel.slices.refresh()
    assert line.opacity() == 0
    assert panel.slices._items.inner.opacity() == 1
    assert panel.legend.off == {"others"}
    panel.legend.setFocus()
    qtbot.keyClick(panel.legend, Qt.Key.Key_Space)
    assert line.opacity() == 1
    assert panel.legend.off == frozenset()
    now = panel.legend._places(panel.legend.width())[0].center()
    qtbot.mouseClick(panel.legend, Qt.MouseButton.LeftButton, pos=now)  # always drawn
    assert panel.legend.off == frozenset()
