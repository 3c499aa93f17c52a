"""Colours of the window: maps for values and differences, readable text, pens from the palette.

Nothing here needs pyqtgraph.  Both colour maps step evenly in lightness (CIE L*), so that they
read the same for colour-blind eyes and on a grey printout, and both start near the background:
pale in a light window, deep in a dark one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PySide6.QtCore import Qt
from PySide6.QtGui import QBrush, QColor, QPalette, QPen

from calib_model.core.arrays import FloatArray

Rgb = npt.NDArray[np.uint8]

STEPS = 256
# Nine anchors each, evenly spaced in L*; straight lines in sRGB between them.
_VALUES = "fbf6cf b5e4b6 87caa3 5dada6 2f91a7 2871a4 2e538f 293775 1d1d5c"
_LOWER_LIGHT = "0b4f8c 1b649f 2f79b0 488ec1 66a3d0 88b7dc aacce5 cce1ec f4f4f1"
_HIGHER_LIGHT = "9a3c00 b04f09 c4631b d7782d e78e44 efa869 f1c294 f4dbc0 f4f4f1"
_LOWER_DARK = "7cc4ff 6db1eb 609ed5 538bbf 4779a8 41688d 3c5770 374654 33353a"
_HIGHER_DARK = "ffb066 e99d55 d48b46 be7938 a7692e 8b5b2c 6d4f2d 524231 33353a"


def is_dark(palette: QPalette) -> bool:
    """Tell whether a palette has light text on a dark ground."""
    base = palette.color(QPalette.ColorRole.Base)
    text = palette.color(QPalette.ColorRole.Text)
    return luminance(base) < luminance(text)


def value_map(*, dark: bool) -> Rgb:
    """Return the map for values, lowest first.

    Returns
    -------
    ndarray of uint8, shape (256, 3)
    """
    return _ramp(_VALUES.split()[::-1] if dark else _VALUES.split())


def difference_map(*, dark: bool) -> Rgb:
    """Return the map for differences: blue is lower, the middle is equal, orange is higher.

    Returns
    -------
    ndarray of uint8, shape (255, 3)
        An odd number, so that zero has a colour of its own: that of the middle.
    """
    low, high = (_LOWER_DARK, _HIGHER_DARK) if dark else (_LOWER_LIGHT, _HIGHER_LIGHT)
    return _ramp([*low.split(), *high.split()[-2::-1]], STEPS - 1)


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
    return Inks(
        ground=ground,
        line=line,
        quiet=distinct(mixed(line, ground, 0.4), ground, 3.0),
        faint=distinct(mixed(line, ground, 0.75), ground, 1.6),
        accent=distinct(palette.color(QPalette.ColorRole.Highlight), ground, 3.0),
        error=distinct(QColor("#c62828"), ground, 3.5),
        warning=distinct(QColor("#b26a00"), ground, 3.5),
        note=distinct(QColor("#3f6db5"), ground, 3.5),
        dark=is_dark(palette),
    )


def pen(colour: QColor, width: float = 1.0, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> QPen:
    """Return a pen whose width is in screen units, whatever the plot's scale."""
    made = QPen(QBrush(colour), width, style)
    made.setCosmetic(True)
    return made


def _ramp(anchors: list[str], steps: int = STEPS) -> Rgb:
    rgb = np.array([[int(text[i : i + 2], 16) for i in (0, 2, 4)] for text in anchors], float)
    at = np.linspace(0, len(anchors) - 1, steps)
    columns = [np.interp(at, np.arange(len(anchors)), rgb[:, c]) for c in range(3)]
    ramp: Rgb = np.rint(np.stack(columns, axis=-1)).astype(np.uint8)
    return ramp
