"""Colours of the window: maps for values and differences, readable text, pens from the palette.

Nothing here needs pyqtgraph.  Both colour maps step evenly in lightness (CIE L*), so that they
read the same for colour-blind eyes and on a grey printout.  Low values are pale and high ones
deep in a light window and in a dark one, so that pictures that are passed on agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PySide6.QtCore import Qt
from PySide6.QtGui import QBrush, QColor, QPalette, QPen

from app.look.choices import value_anchors
from app.look.palettes import is_dark, tones_of
from app.look.tokens import tones
from calib_model.core.arrays import FloatArray

Rgb = npt.NDArray[np.uint8]

__all__ = [
    "Inks", "Rgb", "colours_of", "contrast", "difference_map", "distinct", "inks", "is_dark",
    "luminance", "luminances", "mixed", "pen", "rgba", "text_on", "tones_of", "value_map",
    "wants_dark_text",
]  # fmt: skip

STEPS = 256


def value_map(*, dark: bool) -> Rgb:
    """Return the map for values that the user chose, lowest first.

    Returns
    -------
    ndarray of uint8, shape (256, 3)
    """
    return _ramp(value_anchors(dark=dark))


def difference_map(*, dark: bool) -> Rgb:
    """Return the map for differences: blue is lower, the middle is equal, orange is higher.

    Returns
    -------
    ndarray of uint8, shape (255, 3)
        An odd number, so that zero has a colour of its own: that of the middle.
    """
    own = tones(dark=dark)
    return _ramp((*own.lower, *own.higher[-2::-1]), STEPS - 1)


def colours_of(values: FloatArray, low: float, high: float, ramp: Rgb) -> Rgb:
    """Return the colour of each value on a ramp from `low` to `high`.

    Parameters
    ----------
    values : float array, any shape
        NaN gets the first colour; draw such cells in another way.
    low, high : float
        Values beyond them get the colours of the ends; if they are equal, all get the middle.
    ramp : ndarray of uint8, shape (n, 3)

    Returns
    -------
    ndarray of uint8, shape (*values.shape, 3)
    """
    last = len(ramp) - 1
    if not high > low:
        place = np.full(values.shape, last / 2)
    else:
        place = (np.nan_to_num(values, nan=low) - low) / (high - low) * last
    colours: Rgb = ramp[np.clip(np.rint(place), 0, last).astype(np.intp)]
    return colours


def luminance(colour: QColor) -> float:
    """Return the relative luminance of a colour, 0 for black to 1 for white (WCAG 2)."""
    return float(luminances(np.array([colour.red(), colour.green(), colour.blue()], np.uint8)))


def luminances(rgb: Rgb) -> FloatArray:
    """Return relative luminances.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (..., 3)

    Returns
    -------
    ndarray of float64, shape (...)
    """
    share = rgb / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(a: QColor, b: QColor) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2)."""
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


# Where black and white text contrast equally: (1.05)/(L+0.05) == (L+0.05)/(0.05).
_BALANCE = float(np.sqrt(1.05 * 0.05) - 0.05)


def text_on(background: QColor) -> QColor:
    """Return black or white, whichever reads better on a background (at least 4.58 to 1)."""
    return QColor(Qt.GlobalColor.black if luminance(background) > _BALANCE else "white")


def wants_dark_text(rgb: Rgb) -> npt.NDArray[np.bool_]:
    """Tell for each colour of an array whether black reads better on it than white."""
    return np.asarray(luminances(rgb) > _BALANCE)


def mixed(a: QColor, b: QColor, share: float) -> QColor:
    """Return `a` with a share of `b` mixed in (0 gives `a`, 1 gives `b`)."""
    pairs = zip(rgba(a)[:3].tolist(), rgba(b)[:3].tolist(), strict=True)
    return QColor.fromRgbF(*(min(max(x + (y - x) * share, 0.0), 1.0) for x, y in pairs))


def rgba(colour: QColor, alpha: float = 1.0) -> FloatArray:
    """Return a colour as red, green, blue and alpha, each 0 to 1."""
    return np.array([colour.redF(), colour.greenF(), colour.blueF(), alpha])


def distinct(colour: QColor, background: QColor, ratio: float = 3.0) -> QColor:
    """Return the colour, moved towards the readable end until it contrasts with a background.

    3 to 1 is what WCAG 2 asks of parts of a drawing, 4.5 to 1 of text.
    """
    goal = text_on(background)
    for share in np.linspace(0.0, 1.0, 21):
        moved = mixed(colour, goal, float(share))
        if contrast(moved, background) >= ratio:
            return moved
    return goal


@dataclass(frozen=True)
class Inks:
    """The colours that a plot draws with, taken from a palette.

    Parameters
    ----------
    ground : QColor
        Of the plot's area.
    line : QColor
        Axes, the line in work, text.
    quiet, faint : QColor
        Lines that stand back: overlays; limits, other slices and storage steps.
    accent : QColor
        Selection and focus.
    error, warning, note : QColor
        Findings; their marks differ in shape as well.
    dark : bool
    """

    ground: QColor
    line: QColor
    quiet: QColor
    faint: QColor
    accent: QColor
    error: QColor
    warning: QColor
    note: QColor
    dark: bool

    def of(self, severity: str) -> QColor:
        """Return the colour for a finding's severity."""
        return {"error": self.error, "warning": self.warning}.get(str(severity), self.note)


def inks(palette: QPalette) -> Inks:
    """Return the colours for a palette."""
    ground = palette.color(QPalette.ColorRole.Base)
    line = palette.color(QPalette.ColorRole.Text)
    own = tones_of(palette)
    return Inks(
        ground=ground,
        line=line,
        quiet=distinct(mixed(line, ground, 0.4), ground, 3.0),
        faint=distinct(mixed(line, ground, 0.75), ground, 1.6),
        accent=distinct(palette.color(QPalette.ColorRole.Accent), ground, 3.0),
        error=distinct(QColor(own.error), ground, 3.5),
        warning=distinct(QColor(own.warning), ground, 3.5),
        note=distinct(QColor(own.note), ground, 3.5),
        dark=is_dark(palette),
    )


def pen(colour: QColor, width: float = 1.0, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> QPen:
    """Return a pen whose width is in screen units, whatever the plot's scale."""
    made = QPen(QBrush(colour), width, style)
    made.setCosmetic(True)
    return made


def _ramp(anchors: Sequence[str], steps: int = STEPS) -> Rgb:
    rgb = np.array([[int(text[i : i + 2], 16) for i in (1, 3, 5)] for text in anchors], float)
    at = np.linspace(0, len(anchors) - 1, steps)
    columns = [np.interp(at, np.arange(len(anchors)), rgb[:, c]) for c in range(3)]
    ramp: Rgb = np.rint(np.stack(columns, axis=-1)).astype(np.uint8)
    return ramp
