"""Colours of cells by value: a perceptual map blended into the palette, with readable text."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PySide6.QtGui import QColor, QPalette

from calib_model.core.arrays import FloatArray

# The plots' map for values: nine anchors evenly spaced in lightness, pale to deep in a light
# window, deep to pale in a dark one, so that low values stay near the background.
_ANCHORS = "fbf6cf b5e4b6 87caa3 5dada6 2f91a7 2871a4 2e538f 293775 1d1d5c"
_STEPS = 64
_TINT = 0.55
"""Share of the map in the blend: enough to see a shape, little enough to stay calm."""


def map_colours(*, dark: bool, steps: int = _STEPS) -> npt.NDArray[np.float64]:
    """Return the map's colours from low to high, shape (steps, 3), each 0..255."""
    anchors = _ANCHORS.split()[::-1] if dark else _ANCHORS.split()
    rgb = np.array([[int(a[i : i + 2], 16) for i in (0, 2, 4)] for a in anchors], dtype=float)
    at = np.linspace(0, len(anchors) - 1, steps)
    return np.stack([np.interp(at, np.arange(len(anchors)), rgb[:, c]) for c in range(3)], axis=1)


def luminance(colour: QColor) -> float:
    """Return the relative luminance of a colour (WCAG 2.1, definition of the term)."""
    total = 0.0
    for weight, part in zip(
        (0.2126, 0.7152, 0.0722),
        (colour.redF(), colour.greenF(), colour.blueF()),
        strict=True,
    ):
        linear = part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        total += weight * linear
    return total


def contrast(a: QColor, b: QColor) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2.1)."""
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def readable_on(background: QColor) -> QColor:
    """Return black or white, whichever reads better on `background` (at least 4.5 to 1)."""
    dark, light = QColor(0, 0, 0), QColor(255, 255, 255)
    return dark if contrast(dark, background) >= contrast(light, background) else light


def blended(a: QColor, b: QColor, share: float) -> QColor:
    """Return `a` with a share of `b` mixed in."""
    return QColor.fromRgbF(
        a.redF() + (b.redF() - a.redF()) * share,
        a.greenF() + (b.greenF() - a.greenF()) * share,
        a.blueF() + (b.blueF() - a.blueF()) * share,
    )


@dataclass(frozen=True)
class Heat:
    """Background and text colours for one palette, from low to high values."""

    backgrounds: tuple[QColor, ...]
    texts: tuple[QColor, ...]

    @classmethod
    def of(cls, palette: QPalette, tint: float = _TINT) -> Heat:
        """Return the colours that suit a light or dark palette."""
        base = palette.color(QPalette.ColorRole.Base)
        dark = luminance(base) < luminance(palette.color(QPalette.ColorRole.Text))
        backgrounds = tuple(
            blended(base, QColor(*(round(c) for c in rgb)), tint) for rgb in map_colours(dark=dark)
        )
        return cls(backgrounds, tuple(readable_on(b) for b in backgrounds))


def levels(values: FloatArray) -> tuple[float, float] | None:
    """Return the smallest and largest finite value, or None where all are equal or empty."""
    finite = values[np.isfinite(values)]
    if not finite.size:
        return None
    low, high = float(finite.min()), float(finite.max())
    return (low, high) if high > low else None


def steps_of(values: FloatArray, span: tuple[float, float] | None) -> npt.NDArray[np.int64]:
    """Return the colour number of each value, -1 where there is none, same shape."""
    if span is None:
        return np.full(values.shape, -1, dtype=np.int64)
    low, high = span
    known = np.isfinite(values)
    share = (np.where(known, values, low) - low) / (high - low)
    return np.where(known, np.rint(np.clip(share, 0, 1) * (_STEPS - 1)), -1).astype(np.int64)
