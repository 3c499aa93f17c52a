"""Colours: readable for everybody, in light and dark."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from PySide6.QtGui import QColor, QPalette

from app import colours
from app.grid.heat import Heat
from app.look.choices import FIRST, MAPS, Choices, choose
from app.look.palettes import palette


def lightness(rgb: np.ndarray) -> np.ndarray:
    # CIE 1976 lightness from relative luminance (CIE 15, from memory).
    y = colours.luminances(rgb)
    return np.where(y > (6 / 29) ** 3, 116 * np.cbrt(y) - 16, y * (29 / 3) ** 3)


def test_luminance_of_the_primaries_is_the_standards_weights() -> None:
    # WCAG 2 definition of relative luminance: 0.2126 R + 0.7152 G + 0.0722 B (W3C, from memory).
    assert colours.luminance(QColor("#ff0000")) == pytest.approx(0.2126)
    assert colours.luminance(QColor("#00ff00")) == pytest.approx(0.7152)
    assert colours.luminance(QColor("#0000ff")) == pytest.approx(0.0722)
    assert colours.luminance(QColor("#000000")) == 0.0


def test_contrast_at_known_pairs() -> None:
    # WCAG 2: ratios run from 1:1 to 21:1.  The grey #767676 on white is widely given as the
    # lightest that passes 4.5:1, with 4.54:1, and #777777 as failing with 4.48:1 (from memory).
    white = QColor("#ffffff")
    assert colours.contrast(QColor("#000000"), white) == pytest.approx(21.0)
    assert colours.contrast(white, white) == 1.0
    assert colours.contrast(QColor("#767676"), white) == pytest.approx(4.54, abs=0.005)
    assert colours.contrast(QColor("#777777"), white) == pytest.approx(4.48, abs=0.005)


@pytest.mark.usefixtures("map_in_use")
def test_text_reads_on_every_cell_colour() -> None:
    # WCAG 2 success criterion 1.4.3 asks for 4.5 to 1 (W3C, from memory).
    for ramp in (
        colours.value_map(dark=False),
        colours.value_map(dark=True),
        colours.difference_map(dark=False),
        colours.difference_map(dark=True),
    ):
        for rgb, dark_text in zip(ramp, colours.wants_dark_text(ramp), strict=True):
            ground = QColor(*rgb.tolist())
            text = colours.text_on(ground)
            assert (text == QColor("black")) == bool(dark_text)
            assert colours.contrast(text, ground) >= 4.5


@pytest.fixture(params=MAPS)
def map_in_use(request: pytest.FixtureRequest) -> Iterator[None]:
    choose(Choices(values=request.param))
    yield
    choose(FIRST)


@pytest.mark.usefixtures("map_in_use")
@pytest.mark.parametrize("name", ["light", "dark"])
def test_numbers_in_the_grid_read_on_every_map(name: str) -> None:
    # WCAG 2 success criterion 1.4.3 asks for 4.5 to 1 (W3C, from memory).
    for ground, text in zip(*vars(Heat.of(palette(name))).values(), strict=True):
        assert colours.contrast(text, ground) >= 4.5


@pytest.mark.usefixtures("map_in_use")
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_value_map_steps_evenly_in_lightness(dark: bool) -> None:
    light = lightness(colours.value_map(dark=dark))
    assert (np.diff(light) < 0.2).all()  # falls; rounding to 8 bits may stand still
    # Over more than half of what there is, and in the dark without white and without black.
    assert light[0] - light[-1] > (60 if dark else 75)
    assert not dark or (light[0] < 90 and light[-1] > 22)
    straight = np.linspace(light[0], light[-1], light.size)
    assert np.abs(light - straight).max() < 2.0


# Machado, Oliveira and Fernandes 2009, severity 1.0, on linear RGB (from memory).
BLINDNESS = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
TO_XYZ = np.array(  # sRGB, IEC 61966-2-1 (from memory)
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)


def lab(rgb: np.ndarray, seen: np.ndarray) -> np.ndarray:
    share = rgb / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    xyz = np.clip(linear @ seen.T, 0, 1) @ TO_XYZ.T / (TO_XYZ @ np.ones(3))
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=-1
    )


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("kind", ["none", *BLINDNESS])
def test_lower_and_higher_differ_for_colour_blind_eyes(kind: str, dark: bool) -> None:
    seen = np.array(BLINDNESS.get(kind, np.eye(3)))
    ramp = colours.difference_map(dark=dark)
    seen_ramp = lab(ramp, seen)
    half = len(ramp) // 2
    for share in (0.25, 0.5, 1.0):
        step = int(half * share)
        apart = np.linalg.norm(seen_ramp[half - step] - seen_ramp[half + step])
        # A colour difference of about 2.3 is just noticeable (Mahy 1994, from memory).
        assert apart > 10, f"{share} of the range: {apart:.1f}"


@pytest.mark.parametrize("dark", [False, True])
def test_no_difference_has_the_middle_colour(dark: bool) -> None:
    ramp = colours.difference_map(dark=dark)
    spread = ramp[len(ramp) // 2].astype(int)
    assert spread.max() - spread.min() < 10  # a grey
    found = colours.colours_of(np.array([-2.0, 0.0, 2.0]), -2.0, 2.0, ramp)
    assert (found == ramp[[0, len(ramp) // 2, -1]]).all()


def test_colours_outside_the_range_are_those_of_the_ends() -> None:
    ramp = colours.value_map(dark=False)
    found = colours.colours_of(np.array([-5.0, 15.0, np.nan]), 0.0, 10.0, ramp)
    assert (found == ramp[[0, -1, 0]]).all()
    assert (colours.colours_of(np.array([3.0]), 3.0, 3.0, ramp) == ramp[128]).all()


@pytest.mark.parametrize(("base", "text"), [("#ffffff", "#000000"), ("#1d1f22", "#e6e6e6")])
def test_inks_stand_out_from_the_ground(base: str, text: str) -> None:
    palette = QPalette()
    palette.setColor(QPalette.ColorRole.Base, QColor(base))
    palette.setColor(QPalette.ColorRole.Text, QColor(text))
    palette.setColor(QPalette.ColorRole.Accent, QColor("#308cc6"))
    inks = colours.inks(palette)
    assert inks.dark == (base != "#ffffff")
    # WCAG 2 success criterion 1.4.11: parts of a drawing need 3 to 1 (W3C, from memory).
    for ink in (inks.line, inks.quiet, inks.accent, inks.error, inks.warning, inks.note):
        assert colours.contrast(ink, inks.ground) >= 3.0


@pytest.mark.usefixtures("map_in_use")
@pytest.mark.parametrize("kind", BLINDNESS)
def test_the_value_maps_agree_and_read_without_colour(kind: str) -> None:
    # A picture made in the light and one made in the dark say the same: low is pale in both, and
    # equal values have about equal hues.
    seen = np.array(BLINDNESS[kind])
    light, dark = (lab(colours.value_map(dark=d), seen) for d in (False, True))
    for ramp in (light, dark):
        steps = np.linalg.norm(ramp[:: len(ramp) // 8] - np.roll(ramp[:: len(ramp) // 8], 1, 0),
                               axis=1)[1:]  # fmt: skip
        assert steps.min() > 5  # each eighth is told from the next; about 2.3 is just noticed
    apart = np.linalg.norm(light[:, 1:] - dark[:, 1:], axis=1)
    assert apart.max() < 12
