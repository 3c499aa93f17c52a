"""Driving and the operating point over a surface, in a real window."""

from __future__ import annotations

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from app.plots.surface.camera import Camera
from tests.overlay.driving import drive, driven_desk, moment, used
from tests.plots import demo_set as demo
from tests.surface.gl_hand import shown

pytestmark = pytest.mark.gl


def test_nodes_are_marked_and_the_trail_lies_on_the_surface(qtbot: QtBot) -> None:
    desk = driven_desk()
    view = shown(desk, qtbot)
    view.set_camera(Camera(25.0, 60.0))
    moment(desk, 9000, 300)
    view.refresh()
    picture = view.painted()
    use = used(demo.pre_engage(), drive())
    for kind, mask in (
        ("box", use.decided > 0),
        ("half", (use.dwell > 0) & ~(use.decided > 0)),
    ):
        nodes = view.sheets[0].sheet.nodes(view.frame)[mask]
        expected = view.lens.project(nodes)[:, :2]
        drawn = np.array([(m.x, m.y) for m in picture.marks if m.kind == kind])
        assert len(drawn) == mask.sum() > 0
        assert np.sort(drawn, axis=0) == pytest.approx(np.sort(expected, axis=0))
    # The head's node: true axis places, and the height that bilinear reading by hand gives.
    ambient, pedal = (drive()[q][9000] for q in ("ambient_temperature", "pedal"))
    rows, columns = (a.values for a in desk.table.axes)
    i, j = (int(np.searchsorted(a, v, side="right")) - 1
            for a, v in ((rows, ambient), (columns, pedal)))  # fmt: skip
    u = (ambient - rows[i]) / (rows[i + 1] - rows[i])
    v = (pedal - columns[j]) / (columns[j + 1] - columns[j])
    corners = desk.table.values[i : i + 2, j : j + 2]
    value = float(np.array([1 - u, u]) @ corners @ np.array([1 - v, v]))
    frame = view.frame
    point = np.array(
        [frame.x(np.array(pedal)), frame.y(np.array(ambient)), frame.z(np.array(value))]
    )
    (head,) = (m for m in picture.marks if m.kind == "head")
    assert (head.x, head.y) == pytest.approx(tuple(view.lens.project(point[None])[0, :2]))
    assert len(picture.way) == 301
    assert picture.way[-1] == pytest.approx([head.x, head.y])
    words = [e.words for e in view.legend.entries]
    assert "operating point" in words
    desk.driving.show_driving(False)
    desk.driving.set_play_head(None)
    view.refresh()
    assert not {"box", "half", "head"} & {m.kind for m in view.painted().marks}
