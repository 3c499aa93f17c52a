"""What every plot as inline SVG shares: its sheet, a frame with round ticks, labels of axes.

Black on white, all text escaped; no scripts, links or styles from outside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis
from ..core.numbers import short
from ..core.units import shown

Range = tuple[float, float]


@dataclass(frozen=True)
class Frame:
    """Where the values of a plot lie on its sheet.

    Parameters
    ----------
    x, y : tuple of float
        Lowest and highest value across and up; they differ.
    width, height : float
        Of the whole sheet, in dots.
    left, right, top, bottom : float
        Margins in dots.
    """

    x: Range
    y: Range
    width: float = 430
    height: float = 260
    left: float = 62
    right: float = 12
    top: float = 26
    bottom: float = 44

    @property
    def wide(self) -> float:
        """Width between the margins in dots."""
        return self.width - self.left - self.right

    @property
    def high(self) -> float:
        """Height between the margins in dots."""
        return self.height - self.top - self.bottom

    def across(self, x: float) -> float:
        """Return where a value lies from the left, in dots."""
        return round(self.left + (x - self.x[0]) / (self.x[1] - self.x[0]) * self.wide, 2)

    def down(self, y: float) -> float:
        """Return where a value lies from above, in dots."""
        return round(
            self.height - self.bottom - (y - self.y[0]) / (self.y[1] - self.y[0]) * self.high, 2
        )

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Return where a point lies from the left and from above, in dots."""
        return self.across(x), self.down(y)

    def sheet(self, title: str) -> str:
        """Return the beginning of the element; the caller adds the closing tag."""
        return sheet(self.width, self.height, title, self.left)

    def ruled(self, x_label: str, y_label: str, most_across: int = 6) -> str:
        """Return ticks, their lines and the labels of both axes."""
        return self.ruled_across(x_label, most_across) + self.ruled_up(y_label)

    def ruled_across(self, label: str, most: int = 6) -> str:
        """Return upright lines at round values of x, with the axis's label below."""
        low = self.height - self.bottom
        parts = []
        for tick in ticks(*self.x, most):
            x = self.across(tick)
            parts.append(
                f'<path d="M{x} {self.top}V{low}" stroke="#ddd"/>'
                f'<text x="{x}" y="{low + 15}" text-anchor="middle">{short(tick, 5)}</text>'
            )
        middle = self.left + self.wide / 2
        parts.append(
            f'<text x="{middle}" y="{self.height - 8}" text-anchor="middle">{escape(label)}</text>'
        )
        return "".join(parts)

    def ruled_up(self, label: str) -> str:
        """Return level lines at round values of y, with the axis's label on the left."""
        parts = []
        for tick in ticks(*self.y):
            y = self.down(tick)
            parts.append(
                f'<path d="M{self.left} {y}H{self.width - self.right}" stroke="#ddd"/>'
                f'<text x="{self.left - 6}" y="{y + 4}" text-anchor="end">{short(tick, 5)}</text>'
            )
        return "".join([*parts, upright(label, self.top + self.high / 2)])


def sheet(width: float, height: float, title: str, left: float = 4) -> str:
    """Return the beginning of a plot: a white sheet with its title; the caller closes it.

    Parameters
    ----------
    width, height : float
        In dots.
    title : str
        Plain text.
    left : float
        Where the title begins, in dots.
    """
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" role="img" font-family="sans-serif" font-size="11">'
        f"<title>{escape(title)}</title>"
        f'<rect x="0" y="0" width="{width}" height="{height}" fill="#fff"/>'
        f'<text x="{left}" y="16" font-size="12" font-weight="bold">{escape(title)}</text>'
    )


def upright(label: str, middle: float) -> str:
    """Return the label of an axis that points up, about its middle in dots from above."""
    return (
        f'<text x="14" y="{middle}" text-anchor="middle" '
        f'transform="rotate(-90 14 {middle})">{escape(label)}</text>'
    )


def axis_words(axis: Axis) -> str:
    """Return an axis's label with its unit."""
    unit = shown(axis.unit)
    return f"{axis.label} [{unit}]" if unit else axis.label


def range_of(arrays: Sequence[FloatArray]) -> Range:
    """Return the lowest and highest number of all, with a little room; NaN is passed over.

    Parameters
    ----------
    arrays : sequence of float arrays of any shape
    """
    finite = [a[np.isfinite(a)] for a in arrays]
    every = np.concatenate(finite) if finite else np.zeros(0)
    if not every.size:
        return 0.0, 1.0
    low, high = float(every.min()), float(every.max())
    room = (high - low) * 0.04 or abs(low) * 0.05 or 1.0
    return low - room, high + room


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return round numbers between two, at most `most` of them."""
    span = high - low
    if not (math.isfinite(span) and span > 0):
        return []
    step = 10.0 ** math.floor(math.log10(span / most))
    for factor in (1, 2, 5, 10):
        if span / (step * factor) <= most:
            step *= factor
            break
    first = math.ceil(low / step)
    last = math.floor(high / step)
    return [round(n * step, 12) + 0.0 for n in range(first, last + 1)]
