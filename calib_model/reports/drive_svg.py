"""Signals along a drive as inline SVG: time plots and a strip of which table decided.

An hour has more ticks than a page has dots: each column of dots shows the smallest and largest
value in its stretch, so that no peak is lost.  A gap stays a gap.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from html import escape

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from .frame import Frame, sheet

WIDTH, HEIGHT = 940, 230
_TOP, _BOTTOM = 26, 34
_TIME = "seconds of the drive"
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
    frame = replace(_frame(time, HEIGHT), y=_range([s.values for s in signals]))
    parts = [frame.sheet(title), frame.ruled(_TIME, unit, 10)]
    for signal in signals:
        path = _path(time, signal.values, frame)
        parts.append(f'<path d="{path}" fill="none" {_LOOKS[signal.look]}/>')
    x = float(WIDTH - frame.right)
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
    row_height = 16
    frame = _frame(time, _TOP + row_height * len(rows) + _BOTTOM, left=190)
    left, across = frame.left, frame.across
    parts = [sheet(WIDTH, frame.height, title), frame.ruled_across(_TIME, 10)]
    for number, (label, mask) in enumerate(rows):
        y = _TOP + number * row_height
        parts.append(
            f'<text x="{left - 6}" y="{y + 12}" text-anchor="end">{escape(label)}</text>'
            f'<path d="M{left} {y + row_height}H{WIDTH - frame.right}" stroke="#ddd"/>'
        )
        marks = [
            f"M{across(a):.1f} {y + 3}V{y + row_height - 3}H{max(across(b), across(a) + 0.6):.1f}"
            f"V{y + 3}Z"
            for a, b in _stretches(time, mask, (frame.x[1] - frame.x[0]) / _COLUMNS)
        ]
        parts.append(f'<path d="{"".join(marks) or "M0 0"}" fill="#222"/>')
    return "".join([*parts, "</svg>"])


def _frame(time: FloatArray, height: float, left: float = 66) -> Frame:
    """Return a frame that is as long as the drive."""
    start, end = (float(time[0]), float(time[-1])) if time.size else (0.0, 1.0)
    end = end if end > start else start + 1.0
    return Frame((start, end), (0.0, 1.0), WIDTH, height, left, 10, _TOP, _BOTTOM)


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


def _path(time: FloatArray, values: FloatArray, frame: Frame) -> str:
    when, low, high = envelope(time, values)
    parts: list[str] = []
    drawing = False
    for seconds, least, most in zip(when.tolist(), low.tolist(), high.tolist(), strict=True):
        if not math.isfinite(least):
            drawing = False
            continue
        x, first, second = frame.across(seconds), frame.down(least), frame.down(most)
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
