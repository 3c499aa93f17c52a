"""Nodes, faces, wires, holes, steps, picking: without a screen."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from app.plots.surface.camera import Camera, lens
from app.plots.surface.layers import Layer, frame_of, placed
from app.plots.surface.scene import (
    CORNERS,
    HALF,
    Frame,
    Sheet,
    axis_range,
    dashed,
    extent,
    hidden,
    mesh,
    picked,
    plane_of,
    sheet_of,
    wires,
)
from calib_model.lookup import lookup
from tests.surface.surface_maps import COLUMNS, ROWS, VALUES, uneven, wet

FRAME = Frame((0.0, 100.0), (-40.0, 50.0), (0.0, 300.0))
CAMERAS = [Camera(), Camera(130.0, 40.0), Camera(-100.0, 75.0, perspective=False)]


def sheet() -> Sheet:
    return sheet_of(uneven(), VALUES)


def test_nodes_lie_at_their_breakpoints_and_values() -> None:
    """Worked by hand: columns from -1 to 1 to the right, rows from 1 (back) to -1 (front)."""
    nodes = sheet().nodes(FRAME)
    assert nodes.shape == (4, 6, 3)
    np.testing.assert_allclose(nodes[0, :, 0], [-1, -0.9, -0.6, -0.1, 0.2, 1])
    np.testing.assert_allclose(nodes[:, 0, 1], [1, 1 - 20 / 90, 1 - 80 / 90, -1])
    # Row 2 (0 degC), column 4 (60 %): 40 + 90 = 130 of 300.
    np.testing.assert_allclose(nodes[2, 4], [0.2, 1 - 80 / 90, (130 / 150 - 1) * HALF[2]])


def test_an_empty_cell_lies_on_the_floor_and_leaves_a_hole() -> None:
    values = VALUES.copy()
    values[1, 2] = np.nan
    holed = sheet_of(uneven(), values)
    assert holed.nodes(FRAME)[1, 2, 2] == -HALF[2]
    vertices, faces = mesh(holed.drawn(FRAME))
    # 15 cells, four of which touch the node; four faces each.
    assert len(faces) == 4 * (15 - 4)
    assert np.isfinite(vertices[faces]).all()
    pairs = wires(values.shape, np.isfinite(values))
    assert len(pairs) == 4 * 5 + 3 * 6 - 4


def test_faces_cover_the_map_once() -> None:
    vertices, faces = mesh(sheet().drawn(FRAME))
    a, b, c = (vertices[faces[:, i], :2] for i in range(3))
    one, other = b - a, c - a
    area = np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]) / 2
    assert area.sum() == pytest.approx(4.0)
    assert len(faces) == 4 * 15


def test_only_wanted_cells_are_drawn() -> None:
    wanted = np.zeros((3, 5), dtype=bool)
    wanted[1, 3] = True
    vertices, faces = mesh(sheet().drawn(FRAME), wanted)
    corners = {tuple(np.round(p, 9)) for p in vertices[faces].reshape(-1, 3)[:, :2].tolist()}
    nodes = sheet().nodes(FRAME)
    for i, j in ((1, 3), (1, 4), (2, 3), (2, 4)):
        assert tuple(np.round(nodes[i, j, :2], 9)) in corners
    assert len(corners) == 5


def test_the_surface_is_what_scipy_interpolates() -> None:
    """Heights at random places against scipy's multilinear interpolation."""
    at = np.random.default_rng(5).uniform([-40, 0], [50, 100], (300, 2))
    theirs = RegularGridInterpolator((ROWS, COLUMNS), VALUES)(at)
    z = sheet().height(FRAME, FRAME.x(at[:, 1]), FRAME.y(at[:, 0]))
    np.testing.assert_allclose([FRAME.value(h) for h in z], theirs, rtol=1e-12)
    outside = sheet().height(FRAME, np.array([1.1, 0.0]), np.array([0.0, -1.01]))
    assert np.isnan(outside).all()


def test_a_step_axis_is_drawn_as_the_controller_reads_it() -> None:
    table = wet()
    stepped = sheet_of(table, table.values)
    frame = Frame((0, 3), (0, 120), (0.5, 2.0))
    points = stepped.drawn(frame)
    assert points.shape == (4, 5, 3)
    np.testing.assert_allclose(points[0, :, 0], frame.x(np.array([0, 1, 1, 3, 3.0])))
    np.testing.assert_allclose(points[0, :, 2], frame.z(np.array([1.0, 1.0, 1.2, 1.2, 1.5])))
    assert stepped.drawn_index(2, 1) == (2, 2)
    at = np.random.default_rng(6).uniform([0, 0], [120, 3], (200, 2))
    read = lookup(table, [at[:, 0], at[:, 1]])
    z = stepped.height(frame, frame.x(at[:, 1]), frame.y(at[:, 0]))
    np.testing.assert_allclose([frame.value(h) for h in z], read, rtol=1e-12)


@pytest.mark.parametrize("camera", CAMERAS)
def test_a_node_is_picked_where_it_appears(camera: Camera) -> None:
    flat = sheet()
    seen = lens(camera, CORNERS, 700, 420)
    nodes = flat.nodes(FRAME)
    behind = hidden(seen, flat, FRAME, nodes.reshape(-1, 3)).reshape(4, 6)
    assert behind.mean() < 0.4
    for cell in np.ndindex(4, 6):
        if not behind[cell]:
            x, y, _ = seen.project(nodes[cell])
            assert picked(seen, flat, FRAME, (x + 1.5, y - 1.0), 16.0) == cell


def test_nothing_is_picked_far_from_any_node() -> None:
    seen = lens(Camera(), CORNERS, 700, 420)
    assert picked(seen, sheet(), FRAME, (2.0, 2.0), 16.0) is None


def test_only_nodes_that_come_into_question_are_picked() -> None:
    seen = lens(Camera(), CORNERS, 700, 420)
    x, y, _ = seen.project(sheet().nodes(FRAME)[2, 3])
    among = np.ones((4, 6), dtype=bool)
    among[2, 3] = False
    assert picked(seen, sheet(), FRAME, (x, y), 5.0, among) is None


def test_of_nodes_in_one_line_the_nearest_is_picked() -> None:
    """Along an axis all rows of a level map appear at one place: the front one is meant."""
    level = Sheet(COLUMNS, ROWS, np.full((4, 6), 150.0))
    seen = lens(Camera(-90.0, 0.0, perspective=False), CORNERS, 700, 420)
    x, y, _ = seen.project(level.nodes(FRAME)[1, 3])
    assert picked(seen, level, FRAME, (x, y), 8.0) == (3, 3)


def test_what_a_ridge_hides_is_hidden() -> None:
    values = np.zeros((9, 5))
    values[5] = 250.0
    ridge = Sheet(np.arange(5.0), np.arange(9.0), values)
    frame = Frame((0, 4), (0, 8), (0, 300))
    seen = lens(Camera(-90.0, 10.0), CORNERS, 600, 400)
    behind = hidden(seen, ridge, frame, ridge.nodes(frame).reshape(-1, 3)).reshape(9, 5)
    assert behind[3:5].all()
    assert not behind[5:].any()
    assert not hidden(seen, Sheet(ridge.columns, ridge.rows, values * 0), frame,
                      ridge.nodes(frame).reshape(-1, 3)[:10]).any()  # fmt: skip


def _blocked(eye: np.ndarray, points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Möller and Trumbore (1997): whether a triangle cuts the way from a point to the eye."""
    origin, ray = points[:, None], (eye - points)[:, None]
    a = triangles[None, :, 0]
    e1, e2 = triangles[None, :, 1] - a, triangles[None, :, 2] - a
    p = np.cross(ray, e2)
    with np.errstate(divide="ignore", invalid="ignore"):
        inverse = 1.0 / (e1 * p).sum(axis=-1)
        s = origin - a
        u = (s * p).sum(axis=-1) * inverse
        q = np.cross(s, e1)
        v = (ray * q).sum(axis=-1) * inverse
        t = (e2 * q).sum(axis=-1) * inverse
    hit = (u > 1e-6) & (v > 1e-6) & (u + v < 1 - 1e-6) & (t > 0.004) & (t < 1)
    return hit.any(axis=1)


@pytest.mark.parametrize("azimuth", [-60.0, 20.0, 140.0])
def test_hidden_agrees_with_ray_and_triangle(azimuth: float) -> None:
    x = np.linspace(0, 1, 14) ** 1.3
    y = np.linspace(0, 1, 11) ** 0.8
    bumps = np.sin(6 * x)[None, :] * np.cos(7 * y)[:, None]
    hilly = Sheet(x, y, bumps)
    frame = Frame((0, 1), (0, 1), (-1, 1))
    seen = lens(Camera(azimuth, 25.0), CORNERS, 700, 500)
    nodes = hilly.nodes(frame).reshape(-1, 3)
    vertices, faces = mesh(hilly.drawn(frame))
    eye = seen.camera.direction * seen.distance
    theirs = _blocked(eye, nodes, vertices[faces])
    ours = hidden(seen, hilly, frame, nodes)
    assert 0.1 < theirs.mean() < 0.6
    assert (ours == theirs).mean() > 0.96


def test_dashes_have_the_length_and_gap_that_was_asked() -> None:
    lines = np.array([[[0, 0, 0], [1, 0, 0]], [[0, 0, 0], [0, 0.3, 0]]], dtype=float)
    pieces = dashed(lines, 0.06, 0.04)
    lengths = np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1)
    assert len(pieces) == 13
    np.testing.assert_allclose(lengths, 0.06, rtol=1e-6)
    assert pieces.max() <= 1.0
    assert dashed(np.zeros((0, 2, 3)), 0.1, 0.1).shape == (0, 2, 3)


def test_the_frame_holds_values_and_near_limits() -> None:
    low, high = extent([VALUES], 0.0, 400.0, 2.0)
    assert low < VALUES.min()
    assert high > VALUES.max()
    assert high < 400
    assert extent([np.array([10.0, 90.0])], 0.0, 100.0, 1.0) == pytest.approx((-3.0, 103.0))
    assert extent([np.array([np.nan])], 0.0, 100.0, 1.0) == pytest.approx((-3.0, 103.0))
    low, high = extent([np.array([5.0, 5.0])], -np.inf, np.inf, 2.0)
    assert low < 4.0
    assert high > 6.0
    assert axis_range(np.array([3.0])) == (2.5, 3.5)


def test_the_plane_of_a_table_with_more_axes_is_the_one_at_the_cursor() -> None:
    from tests.surface.surface_maps import hill

    table = hill()
    np.testing.assert_array_equal(plane_of(table, (0, 0, 2)), table.values[:, :, 2])
    sheets, _ = placed([Layer(table)], (1, 1, 1))
    np.testing.assert_array_equal(sheets[0].sheet.values, table.values[:, :, 1])
    assert frame_of(sheets).rows == (0.0, 80.0)
    assert frame_of(sheets).columns == (0.0, 100.0)


def test_an_axis_out_of_order_is_drawn_evenly() -> None:
    from dataclasses import replace

    table = uneven()
    axis = table.axes[1].with_values([0, 5, 45, 20, 60, 100])
    wrong = replace(table, axes=(table.axes[0], axis))
    np.testing.assert_array_equal(sheet_of(wrong, VALUES).columns, np.arange(6.0))
