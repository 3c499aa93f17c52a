"""Where points appear: the lens against matrices written out here, and against pyqtgraph's.

The matrices of gluLookAt, glFrustum and glOrtho follow the reference pages of OpenGL 2.1 (from
memory); numpy multiplies them here, without the code under test.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from app.plots.surface.camera import FIELD, Camera, Lens, Look, lens
from app.plots.surface.scene import CORNERS, HALF

SIZES = [(760, 430), (300, 520)]
CAMERAS = [
    Camera(),
    Camera(30.0, 12.0),
    Camera(-130.0, 71.0, perspective=False),
    Camera(*Look.FRONT.value),
    Camera(*Look.SIDE.value, perspective=False),
    Camera(100.0, 0.0),
]
MARGINS = (70.0, 12.0, 50.0, 44.0)


def look_at(eye: np.ndarray, up: np.ndarray) -> np.ndarray:
    """The matrix of gluLookAt towards the origin."""
    f = -eye / np.linalg.norm(eye)
    s = np.cross(f, up)
    s /= np.linalg.norm(s)
    u = np.cross(s, f)
    turn = np.eye(4)
    turn[:3, :3] = [s, u, -f]
    move = np.eye(4)
    move[:3, 3] = -eye
    return turn @ move


def frustum(r: float, t: float, n: float, f: float) -> np.ndarray:
    """The matrix of glFrustum(-r, r, -t, t, n, f)."""
    return np.array(
        [
            [n / r, 0, 0, 0],
            [0, n / t, 0, 0],
            [0, 0, -(f + n) / (f - n), -2 * f * n / (f - n)],
            [0, 0, -1, 0],
        ]
    )


def ortho(r: float, t: float, n: float, f: float) -> np.ndarray:
    """The matrix of glOrtho(-r, r, -t, t, n, f)."""
    return np.array(
        [[1 / r, 0, 0, 0], [0, 1 / t, 0, 0], [0, 0, -2 / (f - n), -(f + n) / (f - n)], [0, 0, 0, 1]]
    )


def flat(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Normalised device coordinates."""
    clip = np.c_[points, np.ones(len(points))] @ matrix.T
    return clip[:, :3] / clip[:, 3:]


def independent(camera: Camera, seen: Lens, points: np.ndarray) -> np.ndarray:
    """Where points appear for a camera without zoom and pan, from the formulas alone."""
    a, e = np.radians(camera.azimuth), np.radians(camera.elevation)
    toward = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
    up = (
        np.array([0.0, 0.0, 1.0])
        if camera.elevation < 90
        else np.array([-np.cos(a), -np.sin(a), 0])
    )
    view = look_at(toward * seen.distance, up)
    across = np.tan(np.radians(FIELD / 2))
    n, f = seen.distance * 0.5, seen.distance * 2
    if camera.perspective:
        projection = frustum(n * across, n * across * seen.height / seen.width, n, f)
    else:
        half = seen.distance * across
        projection = ortho(half, half * seen.height / seen.width, n, f)
    corners = flat(projection @ view, CORNERS)[:, :2]
    middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
    left, top, right, bottom = MARGINS
    goal = np.array([(left - right) / seen.width, (bottom - top) / seen.height])
    ndc = flat(projection @ view, points)[:, :2] - middle + goal
    return np.c_[(ndc[:, 0] + 1) / 2 * seen.width, (1 - ndc[:, 1]) / 2 * seen.height]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("camera", [*CAMERAS, Camera(*Look.TOP.value)])
def test_points_appear_where_the_formulas_put_them(camera: Camera, size: tuple[int, int]) -> None:
    seen = lens(camera, CORNERS, *size, MARGINS)
    points = np.random.default_rng(3).uniform(-1, 1, (50, 3)) * HALF
    expected = independent(camera, seen, points)
    np.testing.assert_allclose(seen.project(points)[:, :2], expected, atol=1e-6)


@pytest.mark.parametrize("camera", [c for c in CAMERAS if c.perspective])
def test_points_appear_where_pyqtgraph_puts_them(camera: Camera) -> None:
    """The library's own camera, as it is without our lens, up to the shift into the picture."""
    pytest.importorskip("pyqtgraph.opengl")
    from pyqtgraph.opengl.GLViewWidget import GLViewMixin

    seen = lens(camera, CORNERS, 760, 430)
    stock = SimpleNamespace(
        opts={
            "distance": seen.distance,
            "fov": FIELD,
            "rotationMethod": "euler",
            "elevation": camera.elevation,
            "azimuth": camera.azimuth,
            "center": _origin(),
        }
    )
    size = (0, 0, 760, 430)
    projection = GLViewMixin.projectionMatrix(stock, size, size)
    view = GLViewMixin.viewMatrix(stock)
    matrix = np.array((projection * view).copyDataTo()).reshape(4, 4)
    points = np.random.default_rng(4).uniform(-1, 1, (50, 3)) * HALF
    theirs, ours = flat(matrix, points)[:, :2], flat(seen.matrix, points)[:, :2]
    apart = ours - theirs
    np.testing.assert_allclose(apart, np.broadcast_to(apart[0], apart.shape), atol=2e-5)


def _origin() -> object:
    from pyqtgraph import Vector

    return Vector(0, 0, 0)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("camera", [*CAMERAS, Camera(*Look.TOP.value)])
def test_the_box_fills_the_room_between_the_margins(camera: Camera, size: tuple[int, int]) -> None:
    seen = lens(camera, CORNERS, *size, MARGINS).project(CORNERS)[:, :2]
    left, top, right, bottom = MARGINS
    low, high = seen.min(axis=0), seen.max(axis=0)
    assert low[0] >= left - 0.01
    assert low[1] >= top - 0.01
    assert high[0] <= size[0] - right + 0.01
    assert high[1] <= size[1] - bottom + 0.01
    room = np.array([size[0] - left - right, size[1] - top - bottom])
    assert ((high - low) / room).max() == pytest.approx(1.0, abs=1e-3)


def test_zoom_and_pan_move_the_picture_only() -> None:
    camera = Camera().zoomed(2.0).panned(0.1, -0.2)
    before = lens(Camera(), CORNERS, 600, 400).project(CORNERS)
    after = lens(camera, CORNERS, 600, 400).project(CORNERS)
    np.testing.assert_allclose(after[:, 0], (before[:, 0] - 300) * 2 + 300 + 30, atol=1e-9)
    np.testing.assert_allclose(after[:, 1], (before[:, 1] - 200) * 2 + 200 + 40, atol=1e-9)
    np.testing.assert_allclose(after[:, 2], before[:, 2])


def test_parallel_lines_stay_parallel_without_perspective() -> None:
    seen = lens(Camera(perspective=False), CORNERS, 600, 400)
    starts = np.random.default_rng(0).uniform(-0.5, 0.5, (10, 3))
    runs = seen.project(starts + np.array([0.3, 0.2, 0.1])) - seen.project(starts)
    np.testing.assert_allclose(runs, np.broadcast_to(runs[0], runs.shape), atol=1e-9)


@pytest.mark.parametrize("camera", CAMERAS)
def test_height_at_finds_back_what_project_did(camera: Camera) -> None:
    seen = lens(camera, CORNERS, 640, 480)
    for point in np.random.default_rng(1).uniform(-0.6, 0.6, (20, 3)):
        down = seen.project(point)[1]
        assert seen.height_at(point, down) == pytest.approx(point[2], abs=1e-9)


def test_seen_from_above_heights_cannot_be_told() -> None:
    seen = lens(Camera(*Look.TOP.value, perspective=False), CORNERS, 640, 480)
    assert np.isnan(seen.height_at(np.zeros(3), 200.0))
    assert seen.pixels_per_height(np.zeros(3)) == pytest.approx(0.0, abs=1e-6)


def test_the_eye_stays_above_the_floor() -> None:
    camera = Camera().turned(0.0, 500.0)
    assert camera.elevation == 90.0
    assert camera.turned(0.0, -500.0).elevation == 0.0
    assert Camera(170.0, 10.0).turned(20.0, 0.0).azimuth == pytest.approx(-170.0)


def test_the_corner_goes_round() -> None:
    camera = Camera(5.0, 5.0).looking(Look.CORNER)
    seen = [camera.azimuth]
    for _ in range(4):
        camera = camera.looking(Look.CORNER)
        seen.append(camera.azimuth)
    assert len(set(np.round(seen[:4], 6))) == 4
    assert seen[4] == pytest.approx(seen[0])


@pytest.mark.parametrize(
    ("look", "right", "up"),
    [
        (Look.FRONT, [1, 0, 0], [0, 0, 1]),
        (Look.SIDE, [0, -1, 0], [0, 0, 1]),
        (Look.TOP, [1, 0, 0], [0, 1, 0]),
    ],
)
def test_standard_views_show_the_axes_as_they_say(
    look: Look, right: list[float], up: list[float]
) -> None:
    seen = lens(Camera().looking(look), CORNERS, 500, 500)
    origin = seen.project(np.zeros(3))
    assert seen.project(np.array(right, float))[0] > origin[0] + 20
    assert seen.project(np.array(right, float))[1] == pytest.approx(origin[1], abs=1e-6)
    assert seen.project(np.array(up, float) * 0.5)[1] < origin[1] - 20
