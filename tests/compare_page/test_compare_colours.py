"""The sign of a difference is seen by colour-blind eyes too, beside the sign that is written."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtGui import QColor, QPalette

from app.colours import contrast, difference_map
from app.compare.grids import difference_heat

# Machado, Oliveira and Fernandes 2009 (doi 10.1109/TVCG.2009.113), severity 1.0, applied to linear
# RGB.  Written from memory, then compared entry by entry with the table that the package
# colorspacious 1.1.2 carries (`cvd.machado_et_al_2009_matrix`): they are the same.
SIMULATIONS = {
    "none": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868],
         [0.114503, 0.786281, 0.099216],
         [-0.003882, -0.048116, 1.051998]]),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968],
         [0.280085, 0.672501, 0.047413],
         [-0.011820, 0.042940, 0.968881]]),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779],
         [-0.078411, 0.930809, 0.147602],
         [0.004733, 0.691367, 0.303900]]),
}  # fmt: skip
# Lightness and colour differences: CIE 1976 (CIE 15); sRGB to XYZ: IEC 61966-2-1; both from
# memory.  A difference of about 2.3 is the least that is noticed (Mahy et al. 1994, from memory).
_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375],
     [0.2126729, 0.7151522, 0.0721750],
     [0.0193339, 0.1191920, 0.9503041]])  # fmt: skip
NOTICED = 2.3


def _lab(rgb: np.ndarray, seen_by: str) -> np.ndarray:
    share = rgb / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ SIMULATIONS[seen_by].T, 0, 1)
    white = _TO_XYZ @ np.ones(3)
    t = (seen @ _TO_XYZ.T) / white
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1
    )


def _palette(dark: bool) -> QPalette:
    palette = QPalette()
    base, text = ("#1b1f22", "#f0f0f0") if dark else ("#ffffff", "#101010")
    palette.setColor(QPalette.ColorRole.Base, QColor(base))
    palette.setColor(QPalette.ColorRole.Text, QColor(text))
    return palette


def _cells(dark: bool) -> np.ndarray:
    heat = difference_heat(_palette(dark))
    return np.array([[c.red(), c.green(), c.blue()] for c in heat.backgrounds], float)


@pytest.mark.parametrize("seen_by", SIMULATIONS)
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("what", ["grid cells", "difference map"])
def test_sign_is_distinguishable(seen_by: str, dark: bool, what: str) -> None:
    rgb = _cells(dark) if what == "grid cells" else difference_map(dark=dark).astype(float)
    lab = _lab(rgb, seen_by)
    lower, higher = lab[: len(lab) // 2], lab[: -(len(lab) // 2) - 1 : -1]
    apart = np.linalg.norm(lower - higher, axis=1)  # equal sizes of unequal sign
    sizes = np.linspace(1, 0, len(apart), endpoint=False)
    # From a fifth of the largest difference on the signs are told apart at a glance (four times
    # the least noticed step), and the more the larger the difference.
    assert (apart[sizes >= 0.2] > 4 * NOTICED).all()
    assert (np.diff(apart[::-1][len(apart) // 8 :]) > -1.5).all()
    # Each half leads away from the middle evenly: size is read from lightness.
    middle = lab[len(lab) // 2, 0]
    for half in (lower, higher):
        away = np.abs(half[:, 0] - middle)
        assert (np.diff(away) < 1.0).all()


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_numbers_read_on_every_cell(dark: bool) -> None:
    # WCAG 2 success criterion 1.4.3 asks for 4.5 to 1 (W3C, from memory).
    heat = difference_heat(_palette(dark))
    for ground, ink in zip(heat.backgrounds, heat.texts, strict=True):
        assert contrast(ground, ink) >= 4.5


def test_the_measure_would_see_a_bad_pair() -> None:
    # Red and green of about one lightness: plain to most, alike to deutan eyes.
    pair = np.array([[205.0, 92.0, 60.0], [140.0, 140.0, 40.0]])
    assert np.linalg.norm(np.subtract(*_lab(pair, "none"))) > 10 * NOTICED
    assert np.linalg.norm(np.subtract(*_lab(pair, "deutan"))) < 4 * NOTICED
