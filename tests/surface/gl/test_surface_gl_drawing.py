"""The surface in a real window: what is drawn where, and in which colours."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QGuiApplication, QPalette
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.plots.surface import probe
from app.plots.surface.camera import Camera, Look
from app.plots.surface.layers import Style
from app.plots.surface.view import SurfaceView
from calib_model.editing.change import values_change
from calib_model.session.document import Document
from tests.surface.gl_hand import (
    grabbed,
    let_go,
    pixels,
    place,
    press,
    rested,
    settle,
    shown,
)
from tests.surface.surface_maps import VALUES, uneven
from tests.surface.test_surface_camera import flat, frustum, look_at

pytestmark = pytest.mark.gl


def test_the_try_says_yes_here() -> None:
    answer = probe.Probe(QGuiApplication.platformName()).wait()
    assert answer.works, answer.missing
    assert "OpenGL" in answer.details


@pytest.mark.parametrize("camera", [Camera(), Camera(25.0, 50.0)])
def test_nodes_are_drawn_where_independent_matrices_put_them(
    view: SurfaceView, desk: Desk, camera: Camera
) -> None:
    """What changes on the screen when a node is marked lies where numpy projects that node.

    Matrices by the reference pages of OpenGL 2.1 (from memory); the place in the box is worked
    from the table's breakpoints here.  An asymmetric map over unequal breakpoints: with axes
    swapped or mirrored every node would lie elsewhere.
    """
    view.set_camera(camera)
    view.show_saved = False
    table = desk.table
    assert table is not None
    desk.set_cursor((0, 0))
    bare = grabbed(view)
    lens = view.lens
    a, e = np.radians(camera.azimuth), np.radians(camera.elevation)
    toward = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
    across = np.tan(np.radians(10.0))
    n = lens.distance / 2
    matrix = frustum(n * across, n * across * lens.height / lens.width, n, lens.distance * 2)
    matrix = matrix @ look_at(toward * lens.distance, np.array([0.0, 0.0, 1.0]))
    corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-0.6, 0.6)])
    bounds = flat(matrix, corners)[:, :2]
    left, top, right, bottom = view.canvas.margins  # type: ignore[union-attr]
    goal = np.array([(left - right) / lens.width, (bottom - top) / lens.height])
    shift = goal - (bounds.min(axis=0) + bounds.max(axis=0)) / 2
    low, high = view.frame.values
    for cell in ((1, 2), (2, 4), (3, 1)):
        row, column = table.coordinates(cell)
        z = (table.values[cell] - low) / (high - low) * 1.2 - 0.6
        node = np.array([[column / 50 - 1, 1 - (row + 40) / 45, z]])
        ndc = flat(matrix, node)[0, :2] + shift
        expected = np.array([(ndc[0] + 1) / 2 * lens.width, (1 - ndc[1]) / 2 * lens.height])
        only = np.zeros(table.shape, dtype=bool)
        only[cell] = True
        desk.set_selection(only)
        marked = grabbed(view)
        # The cursor's own mark goes away when only another cell is selected.
        changed = np.abs(marked - bare).sum(axis=2) > 24
        y, x = np.nonzero(changed)
        near = np.hypot(x - expected[0], y - expected[1]) < 14
        assert near.sum() > 40
        # The middle of what changed: a round mark of 11 pixels, drawn without smoothing.
        ends = np.array([[x[near].min(), y[near].min()], [x[near].max() + 1, y[near].max() + 1]])
        np.testing.assert_allclose(ends.mean(axis=0), expected, atol=1.2)
        np.testing.assert_allclose(ends[1] - ends[0], 11.0, atol=2.0)
        far = np.hypot(x - place(view, (0, 0)).x(), y - place(view, (0, 0)).y()) < 12
        assert (near | far).all()


def test_colours_follow_the_values(view: SurfaceView) -> None:
    from app.colours import value_map

    view.look(Look.TOP)
    view.set_perspective(False)
    scene = grabbed(view)
    ramp = value_map(dark=view.inks.dark)
    low = place(view, (3, 0))
    high = place(view, (0, 5))
    # A little inside the box, off the wires.
    at_low = scene[low.y() - 3, low.x() + 3]
    at_high = scene[high.y() + 3, high.x() - 3]
    assert np.abs(at_low - ramp[0]).sum() < 60
    assert np.abs(at_high - ramp[-1]).sum() < 60


def test_a_hole_shows_the_floor(view: SurfaceView, desk: Desk) -> None:
    view.look(Look.TOP)
    before = grabbed(view)
    values = VALUES.copy()
    values[1, 3] = np.nan
    assert desk.do(values_change(desk.table, values, "Empty"))
    desk.set_cursor((3, 0))
    after = grabbed(view)
    spot = place(view, (1, 3))
    inside = (slice(spot.y() - 3, spot.y() + 4), slice(spot.x() - 3, spot.x() + 4))
    assert np.abs(after[inside] - before[inside]).mean() > 20
    assert "1 cell is empty." in view.note.text()
    assert [m.kind for m in view.painted().marks].count("empty") == 1


def test_the_saved_state_is_drawn_where_it_differs(view: SurfaceView, desk: Desk) -> None:
    values = VALUES.copy()
    values[1:3, 2:4] -= 30
    assert desk.do(values_change(desk.table, values, "Lower"))
    with_saved = grabbed(view)
    assert [e.words for e in view.legend.entries] == ["now", "as saved"]
    view.set_overlays(saved=False, reference=True)
    without = grabbed(view)
    y, x = np.nonzero(np.abs(with_saved - without).sum(axis=2) > 40)
    assert y.size > 200
    nodes = view.sheets[0].sheet.nodes(view.frame).copy()
    saved = view.frame.z(VALUES)
    before = np.concatenate([nodes[..., :2], saved[..., None]], axis=-1)
    around = np.concatenate([n[0:4, 1:5].reshape(-1, 3) for n in (nodes, before)])
    seen = view.lens.project(around)[:, :2]
    assert x.min() >= seen[:, 0].min() - 3
    assert x.max() <= seen[:, 0].max() + 3
    assert y.min() >= seen[:, 1].min() - 3
    assert y.max() <= seen[:, 1].max() + 3
    assert [e.words for e in view.legend.entries] == ["now"]


def test_the_reference_is_drawn_with_its_name(view: SurfaceView, desk: Desk) -> None:
    from calib_model.core.calibration_set import CalibrationSet

    other = CalibrationSet((uneven(values=VALUES - 10),), programme="Larch", mode="low_grip")
    document = Document(other)
    desk.add(document)
    desk.set_reference(None)  # the desk offers the other set by itself
    before = grabbed(view)
    desk.set_reference(document)
    after = grabbed(view)
    assert (np.abs(after - before).sum(axis=2) > 40).sum() > 500
    assert f"reference: {document.title}" in [e.words for e in view.legend.entries]


def test_findings_are_marked_by_shape(view: SurfaceView) -> None:
    view.set_findings({(1, 1): ("error", "Too low."), (2, 4): ("warning", "Steep.")})
    settle(view)
    found = {m.kind: m for m in view.painted().marks}
    for kind, cell in (("error", (1, 1)), ("warning", (2, 4))):
        spot = place(view, cell)
        assert abs(found[kind].x - spot.x()) <= 1
        assert abs(found[kind].y - spot.y()) <= 1
    assert {"error", "warning"} <= {e.mark for e in view.legend.entries}
    tip = view.tip_at(QPointF(place(view, (1, 1))))
    assert "Error: Too low." in tip


def test_an_edit_is_repainted_once_for_a_burst(view: SurfaceView, desk: Desk) -> None:
    drawn = []
    original = view.redraw
    view.redraw = lambda *a: (drawn.append(1), original(*a))[1]  # type: ignore[method-assign]
    for i in range(5):
        values = desk.table.values.copy()  # type: ignore[union-attr]
        values[0, 0] += 1 + i
        desk.do(values_change(desk.table, values, "Edit"))
    rested(view)
    assert len(drawn) == 1


def test_the_picture_is_copied(view: SurfaceView, desk: Desk) -> None:
    QTest.keyClick(view, Qt.Key.Key_O)
    image = QGuiApplication.clipboard().image()
    assert image.width() > 500
    assert image.height() > 300
    picture = pixels(image)
    scene = grabbed(view)
    # The surface is in it, not an empty area.
    deep = scene[place(view, (1, 5)).y() + 4, place(view, (1, 5)).x() - 6]
    assert (np.abs(picture - deep).sum(axis=2) < 12).sum() > 50


def test_a_table_with_three_axes_shows_the_plane_at_the_cursor(
    view: SurfaceView, desk: Desk
) -> None:
    desk.open_table("hill_torque")
    settle(view)
    np.testing.assert_array_equal(view.sheets[0].sheet.values, desk.table.values[:, :, 0])  # type: ignore[union-attr]
    assert "at Gradient 0 %" in view.note.text()
    desk.set_cursor((1, 2, 2))
    settle(view)
    np.testing.assert_array_equal(view.sheets[0].sheet.values, desk.table.values[:, :, 2])  # type: ignore[union-attr]
    at = place(view, (2, 3))
    press(view, at)
    let_go(view, at)
    assert desk.cursor == (2, 3, 2)


def test_other_tables_and_sentences_follow(view: SurfaceView, desk: Desk) -> None:
    desk.open_table("fade")
    settle(view)
    assert view.pages.currentWidget() is view.sentence
    desk.open_table("wet_factor")
    settle(view)
    assert view.pages.currentWidget() is not view.sentence
    assert view.accessibleName().startswith("Surface of Wet factor, over Vehicle speed, km/h")
    grabbed(view)


def test_what_is_asked_between_an_edit_and_the_repaint_goes_by_what_is_drawn(
    view: SurfaceView, desk: Desk
) -> None:
    """Pointer, overlay and tips come at any time; another table has another shape."""
    assert view.canvas is not None
    desk.set_cursor((3, 5))
    view.set_findings({(3, 5): ("error", "Too low.")})
    settle(view)
    for id in ("wet_factor", "hill_torque", "pre_engage_torque", "fade"):
        at = QPointF(place(view, (2, 2)))
        desk.open_table(id)
        view._picture = None
        view.canvas.overlay.repaint()
        assert view.painted().layout.texts
        assert view.tip_at(at) == ""
        view.hand.hover(at)
        view.canvas.resize(view.canvas.width() - 1, view.canvas.height())
        QTest.keyClick(view, Qt.Key.Key_Right)
        settle(view)


def test_it_can_be_switched_off_and_on_again(view: SurfaceView) -> None:
    view.set_choice("off")
    settle(view)
    assert "switched off" in view.sentence.text()
    view.set_choice("on")
    settle(view)
    assert view.pages.currentWidget() is not view.sentence
    assert np.ptp(grabbed(view)) > 50


def test_an_empty_area_gives_way_to_a_notice(
    view: SurfaceView, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot
) -> None:
    """Forced on without OpenGL, the widget never becomes valid: simulated here."""
    monkeypatch.setattr(view.canvas, "isValid", lambda: False)
    view._look_whether_drawn()
    settle(view)
    assert view.canvas is None
    assert "no OpenGL context" in view.sentence.text()
    assert not view.bar.isVisible()
    view.set_choice("on")
    settle(view)
    qtbot.waitUntil(lambda: view.canvas is not None and view.canvas.frames > 0, timeout=5000)
    assert view.bar.isVisible()
    assert np.ptp(grabbed(view)) > 50


def test_colours_follow_the_palette(view: SurfaceView) -> None:
    light = grabbed(view)[2, 2]
    dark = QPalette()
    dark.setColor(QPalette.ColorRole.Base, QColor("#191f22"))
    dark.setColor(QPalette.ColorRole.Text, QColor("#e6eaec"))
    view.setPalette(dark)
    after = grabbed(view)[2, 2]
    assert light.sum() > 600
    np.testing.assert_allclose(after, [0x19, 0x1F, 0x22], atol=2)


def test_two_tables_in_one_plot_and_their_difference(
    desk: Desk, qtbot: QtBot, capfd: pytest.CaptureFixture[str]
) -> None:
    low_grip = uneven(values=VALUES * 0.8)
    view = shown(
        desk,
        qtbot,
        layers=[(uneven(), Style.SOLID, "normal"), (low_grip, Style.DOTTED, "low grip")],
    )
    assert [e.words for e in view.legend.entries] == ["normal", "low grip"]
    desk.set_cursor((2, 3))
    settle(view)
    assert "normal 107.5 N·m" in view.read_out.whole
    assert "low grip 86 N·m" in view.read_out.whole
    QTest.keyClick(view, Qt.Key.Key_PageUp)
    np.testing.assert_array_equal(desk.table.values, VALUES)  # type: ignore[union-attr]
    both = grabbed(view)
    difference = uneven(values=VALUES * -0.2, lower=-np.inf)
    view.set_layers([(difference, Style.DIFFERENCE, "low grip less normal")])
    alone = grabbed(view)
    assert np.abs(both[:300, :600] - alone[:300, :600]).mean() > 1
    assert view.frame.values[0] == pytest.approx(-0.2 * VALUES.max() * 1.03)
    assert 0 < view.frame.values[1] < 3
    assert "low grip less normal −21.5 N·m" in view.read_out.whole
    assert "no difference" in [e.words for e in view.legend.entries]
    view.set_layers(None)
    settle(view)
    assert view.editable
    out, err = capfd.readouterr()
    assert "Error while drawing" not in out + err


def test_a_second_window_draws_as_the_first(view: SurfaceView, desk: Desk, qtbot: QtBot) -> None:
    first = grabbed(view)
    second = shown(desk, qtbot)
    assert np.abs(grabbed(second) - first).mean() < 2
    view.look(Look.TOP)
    assert np.ptp(grabbed(view)) > 50


def test_labels_are_painted_inside_at_double_size(view: SurfaceView) -> None:
    """Every text lies within the canvas with the real font."""
    assert view.canvas is not None
    for look in Look:
        view.look(look)
        settle(view)
        rooms = [t.bounds() for t in view.painted().layout.texts]
        assert min(r[0] for r in rooms) >= 0
        assert min(r[1] for r in rooms) >= 0
        assert max(r[2] for r in rooms) <= view.canvas.width()
        assert max(r[3] for r in rooms) <= view.canvas.height()
