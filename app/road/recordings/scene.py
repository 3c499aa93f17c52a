"""What is drawn along the time of a recording, as plain arrays; nothing here knows widgets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from calib_model.core.arrays import BoolArray, FloatArray

IntArray = npt.NDArray[np.integer]
Spans = npt.NDArray[np.float64]
"""Spans of time: shape (n, 2), start and end in seconds, rising."""


@dataclass(frozen=True)
class Trace:
    """One line of a strip.

    Parameters
    ----------
    label : str
        Such as ``commanded, A (Normal)``.
    values : ndarray, shape (T,)
        NaN leaves a gap.
    role : str
        How it is drawn: ``a``, ``b``, ``measured`` or ``plain``.
    """

    label: str
    values: FloatArray
    role: str = "plain"


@dataclass(frozen=True)
class Strip:
    """Lines that share a unit, one above the other.

    Parameters
    ----------
    name : str
        ``speed``, ``torque``, ``difference`` or ``slip``.
    title, unit : str
    traces : tuple of Trace
    """

    name: str
    title: str
    unit: str
    traces: tuple[Trace, ...]


@dataclass(frozen=True)
class Band:
    """Which table governed, tick by tick.

    Parameters
    ----------
    title : str
        Such as ``A is decided by``.
    letter : str
        What stands beside the band.
    codes : ndarray of int, shape (T,)
        Number of the role; negative where none governed.
    words : mapping of int to str
        What each number is called.
    """

    title: str
    letter: str
    codes: IntArray
    words: Mapping[int, str]

    def word(self, tick: int) -> str:
        """Return what governed at a tick, in words."""
        return self.words.get(int(self.codes[tick]), NONE)


NONE = "no table"
"""What is said where no table governed."""


@dataclass(frozen=True)
class Scene:
    """All that is drawn of one recording.

    Parameters
    ----------
    time : ndarray, shape (T,)
        Seconds, rising.
    strips, bands : tuples
    masked : ndarray, shape (n, 2)
        Spans that are left out of everything, for a fault in the recording.
    faults : ndarray, shape (n,)
        Where faults begin, in seconds, rising.
    """

    time: FloatArray
    strips: tuple[Strip, ...] = ()
    bands: tuple[Band, ...] = ()
    masked: Spans = field(default_factory=lambda: np.empty((0, 2)))
    faults: FloatArray = field(default_factory=lambda: np.empty(0))

    def tick_at(self, moment: float) -> int:
        """Return the number of the tick that is nearest to a moment."""
        last = self.time.size - 1
        place = int(np.searchsorted(self.time, moment))
        if place <= 0 or place > last:
            return min(max(place, 0), last)
        return place - int(moment - self.time[place - 1] <= self.time[place] - moment)


def spans_of(time: FloatArray, chosen: BoolArray) -> Spans:
    """Return the spans of time in which `chosen` holds.

    Parameters
    ----------
    time : ndarray, shape (T,)
    chosen : ndarray of bool, shape (T,)

    Returns
    -------
    ndarray, shape (n, 2)
        From the first chosen tick to the first that is not; the last tick ends with itself.
    """
    if not time.size:
        return np.empty((0, 2))
    edges = np.flatnonzero(np.diff(np.concatenate(([False], chosen, [False])).astype(np.int8)))
    starts, ends = edges[::2], np.minimum(edges[1::2], time.size - 1)
    return np.column_stack((time[starts], time[ends]))


def runs_of(codes: IntArray) -> IntArray:
    """Return the ticks at which a code begins, the first tick included."""
    if not codes.size:
        return np.empty(0, dtype=np.intp)
    return np.concatenate(([0], np.flatnonzero(np.diff(codes)) + 1))


def envelope(
    time: FloatArray, values: FloatArray, low: float, high: float, columns: int
) -> tuple[FloatArray, FloatArray]:
    """Return few points that look like a line of many: lowest and highest of every column.

    Parameters
    ----------
    time, values : ndarray, shape (T,)
    low, high : float
        Seconds in view.
    columns : int
        Of the screen.

    Returns
    -------
    time, values : ndarrays
        The points themselves where they are no more than two a column.  A column without a
        number gives NaN, so that a gap stays a gap; no peak is lost.
    """
    first = max(int(np.searchsorted(time, low)) - 1, 0)
    last = min(int(np.searchsorted(time, high, side="right")) + 1, time.size)
    t, v = time[first:last], values[first:last]
    if t.size <= 2 * columns:
        return t, v
    # Whole buckets of the whole recording, so that a line does not shimmer while it is moved.
    size = t.size // columns
    size = 1 << (size.bit_length() - 1)
    begin = first - first % size
    places = np.arange(begin, last, size)
    places[0] = first
    starts = places - first
    lows, highs = np.fmin.reduceat(v, starts), np.fmax.reduceat(v, starts)
    at = np.repeat(t[starts], 2)
    return at, np.column_stack((lows, highs)).reshape(-1)
