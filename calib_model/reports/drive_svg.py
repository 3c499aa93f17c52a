"""Signals along a drive as inline SVG: time plots and a strip of which table decided.

An hour has more ticks than a page has dots: each column of dots shows the smallest and largest
value in its stretch, so that no peak is lost.  A gap stays a gap.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.numbers import short
from .svg import ticks as round_ticks

WIDTH, HEIGHT = 940, 230
_LEFT, _RIGHT, _TOP, _BOTTOM = 66, 10, 26, 34
_COLUMNS = 860
_LOOKS = {
    "measured": 'stroke="#b0b0b0" stroke-width="4"',
    "a": 'stroke="#000" stroke-width="1.2"',
    "b": 'stroke="#0050a0" stroke-width="1.2" stroke-dasharray="5 2"',
}


@dataclass(frozen=True)
class Signal:
    """One line.

    Parameters
    ----------
    label : str
    values : float array, shape (T,)
        NaN leaves a gap.
    look : str
        ``measured`` (thick, grey), ``a`` (solid) or ``b`` (dashed).
    """

    label: str
    values: FloatArray
    look: str


def time_plot(time: FloatArray, signals: Sequence[Signal], title: str, unit: str) -> str:
    """Return signals over time as an SVG element.

    Parameters
    ----------
    time : float array, shape (T,)
        Seconds.
    signals : sequence of Signal
    title, unit : str
    """
    low, high = _range([s.values for s in signals])
    start, end = (float(time[0]), float(time[-1])) if time.size else (0.0, 1.0)
    span = end - start or 1.0

    def across(seconds: float) -> float:
        return _LEFT + (seconds - start) / span * (WIDTH - _LEFT - _RIGHT)

    def up(value: float) -> float:
        return HEIGHT - _BOTTOM - (value - low) / (high - low) * (HEIGHT - _TOP - _BOTTOM)

    parts = [_head(title, HEIGHT), *_time_axis(start, end, HEIGHT, across)]
    for tick in round_ticks(low, high):
        y = round(up(tick), 1)
        parts.append(
            f'<path d="M{_LEFT} {y}H{WIDTH - _RIGHT}" stroke="#ddd"/>'
            f'<text x="{_LEFT - 6}" y="{y + 4}" text-anchor="end">{escape(short(tick))}</text>'
        )
    middle = (_TOP + HEIGHT - _BOTTOM) / 2
    parts.append(
        f'<text x="13" y="{middle}" text-anchor="middle" '
        f'transform="rotate(-90 13 {middle})">{escape(unit)}</text>'
    )
    for signal in signals:
        path = _path(time, signal.values, across, up)
        parts.append(f'<path d="{path}" fill="none" {_LOOKS[signal.look]}/>')
    x = float(WIDTH - _RIGHT)
    for signal in reversed(signals):
        x -= 34 + 6.5 * len(signal.label)
        parts.append(
            f'<path d="M{x:.1f} 13h24" fill="none" {_LOOKS[signal.look]}/>'
            f'<text x="{x + 28:.1f}" y="17">{escape(signal.label)}</text>'
        )
    return "".join([*parts, "</svg>"])


def strip(time: FloatArray, rows: Sequence[tuple[str, BoolArray]], title: str) -> str:
    """Return when each of several things held, a row each, as an SVG element.

    Parameters
    ----------
    time : float array, shape (T,)
        Seconds.
    rows : sequence of (str, bool array)
    title : str
    """
    left, row_height = 190, 16
    height = _TOP + row_height * len(rows) + _BOTTOM
    start, end = (float(time[0]), float(time[-1])) if time.size else (0.0, 1.0)
    span = end - start or 1.0

    def across(seconds: float) -> float:
        return left + (seconds - start) / span * (WIDTH - left - _RIGHT)

    parts = [_head(title, height), *_time_axis(start, end, height, across)]
    for number, (label, mask) in enumerate(rows):
        y = _TOP + number * row_height
        parts.append(
            f'<text x="{left - 6}" y="{y + 12}" text-anchor="end">{escape(label)}</text>'
            f'<path d="M{left} {y + row_height}H{WIDTH - _RIGHT}" stroke="#ddd"/>'
        )
        marks = [
            f"M{across(a):.1f} {y + 3}V{y + row_height - 3}H{max(across(b), across(a) + 0.6):.1f}"
            f"V{y + 3}Z"
            for a, b in _stretches(time, mask, span / _COLUMNS)
        ]
        parts.append(f'<path d="{"".join(marks) or "M0 0"}" fill="#222"/>')
    return "".join([*parts, "</svg>"])


def _head(title: str, height: float) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" '
        f'height="{height}" role="img" font-family="sans-serif" font-size="11">'
        f"<title>{escape(title)}</title>"
        f'<rect x="0" y="0" width="{WIDTH}" height="{height}" fill="#fff"/>'
        f'<text x="4" y="16" font-size="12" font-weight="bold">{escape(title)}</text>'
    )


def _time_axis(start: float, end: float, height: float, across: object) -> list[str]:
    assert callable(across)
    parts = []
    for tick in round_ticks(start, end, 10):
        x = round(across(tick), 1)
        parts.append(
            f'<path d="M{x} {_TOP}V{height - _BOTTOM}" stroke="#eee"/>'
            f'<text x="{x}" y="{height - _BOTTOM + 14}" text-anchor="middle">'
            f"{escape(short(tick))}</text>"
        )
    parts.append(
        f'<text x="{WIDTH / 2}" y="{height - 6}" text-anchor="middle">seconds of the drive</text>'
    )
    return parts


def _range(arrays: Sequence[FloatArray]) -> tuple[float, float]:
    finite = [a[np.isfinite(a)] for a in arrays]
    every = np.concatenate(finite) if finite else np.zeros(0)
    if not every.size:
        return 0.0, 1.0
    low, high = min(float(every.min()), 0.0), float(every.max())
    room = (high - low) * 0.04 or 1.0
    return low - (room if low < 0 else 0.0), high + room


def envelope(
    time: FloatArray, values: FloatArray, columns: int = _COLUMNS
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the smallest and largest value in each of at most `columns` stretches.

    Parameters
    ----------
    time, values : float arrays, shape (T,)
    columns : int

    Returns
    -------
    tuple of three float arrays, shape (n,)
        Beginning of each stretch, smallest and largest value; NaN where it holds no number.
    """
    count = time.size
    if count <= columns:
        return time, values, values
    starts = np.linspace(0, count, columns, endpoint=False).astype(np.int64)
    numbers = np.isfinite(values)
    low = np.minimum.reduceat(np.where(numbers, values, np.inf), starts)
    high = np.maximum.reduceat(np.where(numbers, values, -np.inf), starts)
    empty = ~np.logical_or.reduceat(numbers, starts)
    low[empty], high[empty] = np.nan, np.nan
    return time[starts], low, high


def _path(time: FloatArray, values: FloatArray, across: object, up: object) -> str:
    assert callable(across)
    assert callable(up)
    when, low, high = envelope(time, values)
    parts: list[str] = []
    drawing = False
    for seconds, least, most in zip(when.tolist(), low.tolist(), high.tolist(), strict=True):
        if not math.isfinite(least):
            drawing = False
            continue
        x, first, second = across(seconds), up(least), up(most)
        parts.append(f"{'L' if drawing else 'M'}{x:.1f} {first:.1f}")
        if abs(second - first) > 0.05:
            parts.append(f"V{second:.1f}")
        elif not drawing:
            parts.append("h0.1")  # a single tick between gaps is a dot
        drawing = True
    return "".join(parts) or "M0 0"


def _stretches(time: FloatArray, mask: BoolArray, close: float) -> list[tuple[float, float]]:
    """Return where a mask holds, stretches that a reader could not tell apart joined."""
    edges = np.diff(mask.astype(np.int8), prepend=np.int8(0), append=np.int8(0))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    found: list[tuple[float, float]] = []
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        a, b = float(time[start]), float(time[end - 1])
        if found and a - found[-1][1] < close:
            found[-1] = (found[-1][0], b)
        else:
            found.append((a, b))
    return found
