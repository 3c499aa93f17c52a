"""The range that colours stand for: not stretched by one slipped cell, even about zero if signed.

Cells beyond the range keep the colour of its end and carry a mark.
"""

from __future__ import annotations

import numpy as np

from calib_model.core.arrays import BoolArray, FloatArray

LEAST = 12
"""With fewer cells no one of them can be told from the rest."""
FEW = 50
"""One cell in so many may be left out, and at least one."""
FAR = 3.0
"""Outer fences: so many times the middle half's spread beyond its ends (Tukey, Exploratory Data
Analysis, 1977; from memory)."""
SIDE = 0.1
"""A table is signed if its smaller side reaches so far, as a share of the larger one."""

Span = tuple[float, float]


def span_of(values: FloatArray) -> Span | None:
    """Return the range that colours stand for.

    Parameters
    ----------
    values : float array, any shape
        NaN does not count.

    Returns
    -------
    (float, float) or None
        None where all are equal or empty.  Without a cell far off this is the least and the
        greatest value.
    """
    finite = np.sort(values[np.isfinite(values)], axis=None)
    if not finite.size:
        return None
    low, high = float(finite[0]), float(finite[-1])
    if finite.size >= LEAST:
        first, third = np.quantile(finite, (0.25, 0.75))
        reach = FAR * (third - first)
        inside = finite[(finite >= first - reach) & (finite <= third + reach)]
        out = finite.size - inside.size
        # Many cells far off are the table's shape, not slips.
        if 0 < out <= max(1, finite.size // FEW) and inside[-1] > inside[0]:
            low, high = float(inside[0]), float(inside[-1])
    return (low, high) if high > low else None


def is_signed(span: Span | None) -> bool:
    """Tell whether values lie on both sides of zero, so that zero should be seen."""
    if span is None or not span[0] < 0 < span[1]:
        return False
    small, large = sorted((-span[0], span[1]))
    return small >= SIDE * large


def about_zero(span: Span) -> Span:
    """Return the range widened to be even about zero."""
    most = max(-span[0], span[1])
    return -most, most


def beyond(values: FloatArray, span: Span | None) -> BoolArray:
    """Return which cells lie outside the range, same shape; none without one."""
    if span is None:
        return np.zeros(values.shape, dtype=bool)
    with np.errstate(invalid="ignore"):
        return np.asarray((values < span[0]) | (values > span[1]))
