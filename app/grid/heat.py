"""Colours of cells by value: a perceptual map blended into the palette, with readable text."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PySide6.QtGui import QColor, QPalette

from app.colours import difference_map, is_dark, mixed, text_on, value_map
from app.scale import about_zero, is_signed, span_of
from calib_model.core.arrays import FloatArray

_STEPS = 64
_TINT, _TINT_DARK = 0.55, 0.45
"""Share of the map in the blend: enough to see a shape, little enough to stay calm, and in both
themes so little that all numbers are in the one colour of text."""


@dataclass(frozen=True)
class Heat:
    """Background and text colours for one palette, from low to high values."""

    backgrounds: tuple[QColor, ...]
    texts: tuple[QColor, ...]

    @classmethod
    def of(cls, palette: QPalette, tint: float | None = None, *, signed: bool = False) -> Heat:
        """Return the colours that suit a light or dark palette; signed ones part at zero."""
        base = palette.color(QPalette.ColorRole.Base)
        dark = is_dark(palette)
        if tint is None:
            tint = _TINT_DARK if dark else _TINT
        ramp = (difference_map if signed else value_map)(dark=dark)
        picked = ramp[np.rint(np.linspace(0, len(ramp) - 1, _STEPS)).astype(int)]
        backgrounds = tuple(mixed(base, QColor(*rgb), tint) for rgb in picked.tolist())
        return cls(backgrounds, tuple(text_on(b) for b in backgrounds))


def levels(values: FloatArray) -> tuple[float, float] | None:
    """Return the range that colours stand for, see `app.scale`."""
    span = span_of(values)
    return about_zero(span) if span is not None and is_signed(span) else span


def steps_of(values: FloatArray, span: tuple[float, float] | None) -> npt.NDArray[np.int64]:
    """Return the colour number of each value, -1 where there is none, same shape."""
    if span is None:
        return np.full(values.shape, -1, dtype=np.int64)
    low, high = span
    known = np.isfinite(values)
    share = (np.where(known, values, low) - low) / (high - low)
    return np.where(known, np.rint(np.clip(share, 0, 1) * (_STEPS - 1)), -1).astype(np.int64)
