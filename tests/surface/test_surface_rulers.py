"""Numbers and titles of the axes: none cut off, none on another, from any side."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from app.plots import words
from app.plots.surface.camera import Camera, Look, lens
from app.plots.surface.rulers import (
    Layout,
    Ruler,
    Text,
    back,
    elided,
    layout,
    margins,
    round_ticks,
    texts_of,
    walls,
)
from app.plots.surface.scene import CORNERS, HALF, Frame, sheet_of
from tests.surface.surface_maps import COLUMNS, ROWS, VALUES, uneven

FRAME = Frame((0.0, 100.0), (-40.0, 50.0), (-7.0, 230.0))


def measure(text: str) -> tuple[float, float]:
    """A font of fixed width."""
    return 6.5 * len(text), 14.0


def the_rulers() -> tuple[Ruler, Ruler, Ruler]:
    sheet, table = sheet_of(uneven(), VALUES), uneven()
    levels = round_ticks(*FRAME.values, 6)
    return (
        Ruler(FRAME.x(sheet.columns), texts_of(COLUMNS), words.axis_title(table.axes[1])),
        Ruler(FRAME.y(sheet.rows), texts_of(ROWS), words.axis_title(table.axes[0])),
        Ruler(FRAME.z(levels), texts_of(levels), words.value_title(table)),
    )


def laid_out(camera: Camera, width: float, height: float) -> Layout:
    rulers = the_rulers()
    seen = lens(camera, CORNERS, width, height, margins(rulers, measure))
    return layout(seen, rulers, measure)


def crosses(title: Text, number: Text) -> bool:
    """Whether a number's middle or corner lies on a title's turned rectangle."""
    angle = np.radians(title.angle)
    along, across = (
        np.array([np.cos(angle), np.sin(angle)]),
        np.array([-np.sin(angle), np.cos(angle)]),
    )
    left, top, right, bottom = number.bounds()
    points = [(x, y) for x in (left, right) for y in (top, bottom)] + [(number.x, number.y)]
    rest = np.array(points) - (title.x, title.y)
    inside = (np.abs(rest @ along) < title.width / 2 - 1) & (
        np.abs(rest @ across) < title.height / 2 - 1
    )
    return bool(inside.any())


ALL_ROUND = [
    Camera(float(a), float(e), perspective=p)
    for a, e, p in itertools.product(range(-180, 180, 23), (0, 8, 26, 60, 90), (True, False))
]


@pytest.mark.parametrize("size", [(760, 400), (330, 210), (300, 560)])
def test_no_text_is_cut_off_or_lies_on_another(size: tuple[int, int]) -> None:
    crossed = shown = 0
    for camera in ALL_ROUND:
        made = laid_out(camera, *size)
        rooms = [t.bounds() for t in made.texts]
        assert min(r[0] for r in rooms) >= 0, camera
        assert min(r[1] for r in rooms) >= 0, camera
        assert max(r[2] for r in rooms) <= size[0], camera
        assert max(r[3] for r in rooms) <= size[1], camera
        titles = [t for t in made.texts if t.title]
        for title, number in itertools.product(titles, made.texts):
            if not number.title:
                crossed += crosses(title, number)
        shown += len(titles)
        numbers = [t.bounds() for t in made.texts if not t.title]
        for a, b in itertools.combinations(numbers, 2):
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1], camera
    # Titles keep clear of numbers, but for a corner where two short edges meet.
    assert crossed <= 0.04 * shown


def test_every_axis_has_its_unit_and_its_ends() -> None:
    texts = [t.text for t in laid_out(Camera(), 760, 430).texts]
    assert "Pedal, %" in texts
    assert "Ambient temperature, °C" in texts
    assert "Pre-engage torque, N·m" in texts
    for end in ("100", "50", "−40", "200"):
        assert end in texts


def test_numbers_stand_at_their_breakpoints() -> None:
    """From the front the columns' numbers stand as far apart as the breakpoints are."""
    rulers = the_rulers()
    seen = lens(
        Camera(*Look.FRONT.value, perspective=False), CORNERS, 900, 500, margins(rulers, measure)
    )
    made = layout(seen, rulers, measure)
    numbers = [t for t in made.texts if not t.title]
    lowest = max(t.y for t in numbers)
    below = {t.text: t.x for t in numbers if t.y > lowest - 1}
    assert set(below) == {"0", "5", "20", "45", "60", "100"}
    shares = [
        (below[t] - below["0"]) / (below["100"] - below["0"]) for t in ("5", "20", "45", "60")
    ]
    np.testing.assert_allclose(shares, [0.05, 0.2, 0.45, 0.6], atol=1e-6)


def test_an_axis_seen_end_on_says_nothing() -> None:
    top = [t.text for t in laid_out(Camera(*Look.TOP.value), 500, 400).texts]
    assert "Pedal, %" in top
    assert "Pre-engage torque, N·m" not in top
    side = [t.text for t in laid_out(Camera(*Look.SIDE.value), 500, 400).texts]
    assert "Pedal, %" not in side
    assert "Ambient temperature, °C" in side


@pytest.mark.parametrize("camera", [Camera(a, 20.0) for a in (-60.0, 40.0, 130.0, -140.0)])
def test_the_walls_stand_behind(camera: Camera) -> None:
    seen = lens(camera, CORNERS, 600, 400)
    x, y = back(seen)
    depth = {
        (a, b): seen.project(np.array([a, b, 0.0]) * HALF)[2] for a in (-1, 1) for b in (-1, 1)
    }
    assert max(depth, key=lambda corner: depth[corner]) == (x, y)
    lines = walls((x, y), FRAME, FRAME.x(COLUMNS), FRAME.y(ROWS))
    assert np.abs(lines).max(axis=(0, 1)) == pytest.approx(HALF)
    upright = lines[np.abs(lines[:, 0, 2] - lines[:, 1, 2]) > 1]
    assert not (upright[:, 0, :2] == (-x, -y)).all(axis=1).any()


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [
        (0.0, 1.0, 6, [0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (-7.0, 230.0, 6, [0, 50, 100, 150, 200]),
        (0.12, 0.13, 6, [0.12, 0.122, 0.124, 0.126, 0.128, 0.13]),
        (5.0, 5.0, 6, [5.0]),
    ],
)
def test_ticks_are_round(low: float, high: float, most: int, expected: list[float]) -> None:
    np.testing.assert_allclose(round_ticks(low, high, most), expected, rtol=1e-9)


def test_a_long_title_keeps_its_unit() -> None:
    title = elided("Pre-engage torque with a long name, N·m", 120.0, measure)
    assert title.endswith("…, N·m")
    assert measure(title)[0] <= 120
    assert elided("Pedal, %", 120.0, measure) == "Pedal, %"
