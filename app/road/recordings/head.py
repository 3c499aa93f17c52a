"""Where the play head goes by keys: plain arithmetic over ticks."""

from __future__ import annotations

import numpy as np

from app.road.recordings.scene import IntArray, runs_of
from calib_model.core.arrays import FloatArray

TRAIL_S = 6.0
"""Seconds before the play head that are shown over the tables."""


def after_seconds(time: FloatArray, tick: int, seconds: float) -> int:
    """Return the tick that lies some seconds later (earlier if negative), within the drive."""
    goal = float(time[tick]) + seconds
    found = int(np.searchsorted(time, goal + 1e-9, side="right")) - 1
    if seconds < 0:
        found = int(np.searchsorted(time, goal - 1e-9))
    return min(max(found, 0), time.size - 1)


def next_change(codes: IntArray, tick: int, by: int) -> int | None:
    """Return where what governs changes next (or began before); None if it does not."""
    begins = runs_of(codes)
    if by > 0:
        later = begins[begins > tick]
        return int(later[0]) if later.size else None
    earlier = begins[begins < tick]
    return int(earlier[-1]) if earlier.size else None


def next_moment(starts: FloatArray, now: float, by: int) -> float | None:
    """Return the next (or last) of some moments; None if there is none.

    Parameters
    ----------
    starts : ndarray
        Seconds, in any order; NaN is skipped.
    now : float
    by : int
        1 or -1.
    """
    known = np.sort(starts[np.isfinite(starts)])
    if by > 0:
        later = known[known > now + 1e-9]
        return float(later[0]) if later.size else None
    earlier = known[known < now - 1e-9]
    return float(earlier[-1]) if earlier.size else None


def trail_of(time: FloatArray, tick: int, seconds: float = TRAIL_S, most: int = 150) -> slice:
    """Return the ticks of the last seconds, thinned to so many points, the present one last."""
    first = after_seconds(time, tick, -seconds)
    step = max((tick - first) // most, 1)
    begin = tick - ((tick - first) // step) * step
    return slice(begin, tick + 1, step)
