"""A signal that stands still where it should move: found by what the channel does otherwise.

Thresholds are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..core.arrays import FloatArray

Indices = npt.NDArray[np.int64]

FROZEN_SECONDS = 1.0
"""One value for at least so long, in s, may be a signal that froze..."""
FROZEN_TIMES = 12.0
"""...if that is so many times what the channel holds a value for otherwise (its 99 % longest)..."""
LIVELY_SHARE = 0.6
"""...and the channel moves from sample to sample at least so often."""
NOISY_SHARE = 0.2
"""A signal with noise turns back at this share of its steps at least; it never settles..."""
RELEASE_STEPS = 8.0
"""...one without may, and has frozen only if it then leaps by so many usual steps (the 90 %)."""
FEWEST_HOLDS = 100
"""What a channel does otherwise is known from this many different readings on."""


def frozen(time: FloatArray, values: FloatArray) -> Indices:
    """Return places at which a lively channel stands still: all but the first of each hold.

    Zero, and an end of the range that is reached more than once, are where a signal rests or
    saturates; a value it comes back to for as long again (an offset at standstill) is no frozen
    one either.  A switch or a slow signal holds values as a rule, so that none stands out.

    Parameters
    ----------
    time : float array, shape (n,), s
        Strictly increasing.
    values : float array, shape (n,)
        Finite.

    Returns
    -------
    int array, shape (k,)
        Rising.
    """
    none = np.empty(0, dtype=np.int64)
    starts = np.concatenate(([0], np.flatnonzero(values[1:] != values[:-1]) + 1))
    if starts.size < FEWEST_HOLDS:
        return none
    ends = np.concatenate((starts[1:], [values.size])) - 1
    seconds = time[ends] - time[starts]
    long = np.flatnonzero(seconds >= FROZEN_SECONDS)
    if not long.size:
        return none
    lengths = ends - starts + 1
    level = values[starts]
    low, high = float(level.min()), float(level.max())
    rests = level == 0
    for extreme in (low, high):
        there = level == extreme
        if np.count_nonzero(there) > 1:
            rests |= there
    lively = ~rests
    lively[long] = False
    others = lengths[lively]
    if others.size < FEWEST_HOLDS or others.size < LIVELY_SHARE * int(others.sum()):
        return none
    usual = float(np.quantile(others, 0.99))
    steps = np.diff(level)
    turns = np.count_nonzero(steps[1:] * steps[:-1] < 0)
    leap = 0.0 if turns > NOISY_SHARE * steps.size else RELEASE_STEPS
    leap *= float(np.quantile(np.abs(steps), 0.9))
    released = np.append(np.abs(steps), 0.0)
    found = [
        hold
        for hold in long.tolist()
        if not rests[hold]
        and lengths[hold] > FROZEN_TIMES * usual
        and released[hold] >= leap
        and np.count_nonzero(level[long] == level[hold]) == 1
    ]
    if not found:
        return none
    return np.concatenate([np.arange(starts[h] + 1, ends[h] + 1) for h in found])
