"""Faults in time stamps and samples: found, listed, masked; never filled in.

Thresholds are common practice, no source.  A signal that truly does what a rule takes for a
fault is masked for a few samples: the list says where, so that it can be looked at.
"""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..core.arrays import BoolArray, FloatArray
from .frozen import frozen
from .recording import (
    BACKWARD,
    DROP_OUT,
    DUPLICATE,
    FROZEN,
    GAP,
    GAP_PERIODS,
    NO_STAMP,
    OUT_OF_RANGE,
    Fault,
)

Indices = npt.NDArray[np.int64]

REGULAR_SHARE = 0.8
"""This share of sample distances near the median makes a channel one of a fixed rate."""
MOST_LISTED = 200
"""Faults of one kind on one channel that are listed one by one; the rest are summed up."""
MOST_PLACES = 5000
"""Gaps, and runs of stamps out of order, that are listed; more would only be scrolled past."""
MOST_DOUBTFUL = 1_000_000
"""So many stamps out of order are sorted out with as few losses as possible; of more, what runs
ahead of all before it is kept, which is quicker by far."""
LONGEST_DROP_OUT = 3.0
"""A value that leaves and comes back within this time in s may be a drop-out, later a reading."""
JUMP_STEPS = 20.0
"""A jump is impossible from this many usual steps on (the 90 % largest that is not zero)..."""
JUMP_SHARE = 0.2
"""...if it is also this share of all that the channel covers."""
RETURN_SHARE = 0.3
"""After a drop-out the value is back to within this share of the jump."""
SPIKE_SAMPLES = 2
"""So few samples are a spike even if they differ; a longer drop-out holds one value."""
COMMON_SHARE = 0.02
"""A value that a channel shows for more than this share of its samples is no filler."""
FEW_LEVELS = 8
"""A channel with no more different values than this is a switch: it may jump."""
FILLER_SPANS = 3.0
"""A value repeated and this many times further out than all others span is a filler."""
BOUNDS: dict[str, tuple[float, float]] = {
    "degC": (-90.0, 1500.0),
    "K": (180.0, 1800.0),
    "km/h": (-150.0, 500.0),
    "m/s": (-42.0, 140.0),
    "mph": (-94.0, 311.0),
    "m/s2": (-200.0, 200.0),
    "deg/s": (-2000.0, 2000.0),
}
"""What no road vehicle reaches, by unit (common practice, no source)."""


@dataclass(frozen=True)
class Stamps:
    """Time stamps that can be used.

    Parameters
    ----------
    time : float array, shape (k,), s
        Strictly increasing.
    keep : int array, shape (k,), or None
        Which samples they belong to; None for all of them.
    period : float
        Usual distance in s; NaN if irregular.
    faults : tuple of Fault
        Without a channel.
    """

    time: FloatArray
    keep: Indices | None
    period: float
    faults: tuple[Fault, ...]


def clean_stamps(time: npt.ArrayLike) -> Stamps:
    """Sort out time stamps.

    Of equal stamps the first is kept.  Of stamps that are out of order as few are left out as
    possible, whether one ran ahead or fell back.

    Parameters
    ----------
    time : array_like of float, shape (n,), s
    """
    stamps = np.asarray(time, dtype=np.float64)
    if stamps.size < 2:
        kept = np.flatnonzero(np.isfinite(stamps))
        lost = _no_stamp(stamps, kept)
        return Stamps(stamps[kept], kept if lost else None, math.nan, tuple(lost))
    steps = np.diff(stamps)
    keep: Indices | None = None
    faults: list[Fault] = []
    if not bool((steps > 0).all()) or not math.isfinite(stamps[-1]):
        kept = np.flatnonzero(np.isfinite(stamps))
        faults += _no_stamp(stamps, kept)
        good = kept[_in_order(stamps[kept])]
        faults += _disorder(stamps, kept, good)
        keep, stamps = good, stamps[good]
        steps = np.diff(stamps)
    period = _period(steps)
    if math.isfinite(period):
        faults += _gaps(stamps, steps, period, keep)
    return Stamps(stamps, keep, period, tuple(sorted(faults, key=_place)))


def _place(fault: Fault) -> tuple[float, float]:
    start = fault.start_s if math.isfinite(fault.start_s) else -math.inf
    return start, fault.end_s if math.isfinite(fault.end_s) else start


def _no_stamp(stamps: FloatArray, kept: Indices) -> list[Fault]:
    lost = stamps.size - kept.size
    if not lost:
        return []
    words = f"{_samples(lost)} without a time stamp {_were(lost)} left out."
    return [Fault(NO_STAMP, "", math.nan, math.nan, lost, words)]


def _in_order(stamps: FloatArray) -> Indices:
    """Return which stamps form the longest strictly increasing run, shape (k,)."""
    n = stamps.size
    before = np.concatenate([[-math.inf], np.maximum.accumulate(stamps)[:-1]])
    after = np.concatenate([np.minimum.accumulate(stamps[::-1])[::-1][1:], [math.inf]])
    # What is above all before it and below all after it belongs to every longest run.
    settled = (stamps > before) & (stamps < after)
    doubtful = np.flatnonzero(~settled)
    if not doubtful.size:
        return np.arange(n)
    if doubtful.size > MOST_DOUBTFUL:
        return np.flatnonzero(stamps > before)
    chosen = _longest_increasing(stamps[doubtful].tolist())
    keep = settled.copy()
    keep[doubtful[chosen]] = True
    return np.flatnonzero(keep)


def _longest_increasing(values: list[float]) -> list[int]:
    """Return positions of a longest strictly increasing subsequence; the first of equals."""
    tails: list[float] = []
    ends: list[int] = []
    previous: list[int] = []
    for position, value in enumerate(values):
        place = bisect.bisect_left(tails, value)
        previous.append(ends[place - 1] if place else -1)
        if place == len(tails):
            tails.append(value)
            ends.append(position)
        elif value < tails[place]:
            tails[place] = value
            ends[place] = position
    chosen = []
    at = ends[-1] if ends else -1
    while at >= 0:
        chosen.append(at)
        at = previous[at]
    return chosen[::-1]


def _disorder(stamps: FloatArray, kept: Indices, good: Indices) -> list[Fault]:
    """Name what is out of order, a fault per run of samples.

    A duplicate repeats the stamp of the sample before it: the clock stood still.  Where the clock
    was set back, its stamps are backward ones, even if they equal some that were there before.
    """
    lost = np.setdiff1d(kept, good, assume_unique=True)
    if not lost.size:
        return []
    # Runs of lost samples follow one kept sample each; a duplicate equals that one, with nothing
    # but duplicates between.
    before = np.searchsorted(good, lost) - 1
    other = (before < 0) | (stamps[good[np.maximum(before, 0)]] != stamps[lost])
    others = np.cumsum(other)
    begins = np.concatenate(([True], before[1:] != before[:-1]))
    start = np.maximum.accumulate(np.where(begins, np.arange(lost.size), 0))
    same = others - others[start] + other[start] == 0
    faults = []
    for kind, chosen in ((DUPLICATE, lost[same]), (BACKWARD, lost[~same])):
        runs = _runs(chosen)
        for run in runs[:MOST_PLACES]:
            first, last = float(stamps[run].min()), float(stamps[run].max())
            count = int(run.size)
            if kind == DUPLICATE:
                words = f"{_samples(count)} with a stamp that was there before {_were(count)} "
                words += f"left out at {_seconds(first)}; the first one counts."
            else:
                words = f"{_samples(count)} out of order {_were(count)} left out; "
                words += f"the clock showed {_seconds(first)}"
                words += f" to {_seconds(last)}." if count > 1 else "."
            faults.append(Fault(kind, "", first, last, count, words))
        if len(runs) > MOST_PLACES:
            rest = np.concatenate(runs[MOST_PLACES:])
            words = f"{rest.size} more samples at {len(runs) - MOST_PLACES} places were left out."
            span = float(stamps[rest].min()), float(stamps[rest].max())
            faults.append(Fault(kind, "", *span, int(rest.size), words))
    return faults


def _period(steps: FloatArray) -> float:
    """Return the usual distance of samples, NaN if there is none."""
    if steps.size < 2:
        return math.nan
    usual = float(np.median(steps))
    near = np.count_nonzero((steps > 0.5 * usual) & (steps < 1.5 * usual))
    return usual if near >= REGULAR_SHARE * steps.size else math.nan


def _gaps(time: FloatArray, steps: FloatArray, period: float, keep: Indices | None) -> list[Fault]:
    holes = np.flatnonzero(steps > GAP_PERIODS * period)
    if keep is not None:
        # A hole that samples with bad stamps left behind is told with those samples.
        missing = steps[holes] / period - 1
        holes = holes[missing > np.diff(keep)[holes] - 1 + (GAP_PERIODS - 1)]
    faults = []
    for hole in holes[:MOST_PLACES].tolist():
        start, end = float(time[hole]), float(time[hole + 1])
        words = f"Nothing was recorded for {end - start:.4g} s from {_seconds(start)} on."
        faults.append(Fault(GAP, "", start, end, 0, words))
    if holes.size > MOST_PLACES:
        start, end = float(time[holes[MOST_PLACES]]), float(time[holes[-1] + 1])
        words = f"Nothing was recorded at {holes.size - MOST_PLACES} more places."
        faults.append(Fault(GAP, "", start, end, 0, words))
    return faults


# -- samples --------------------------------------------------------------------------------


def check_samples(
    time: FloatArray,
    values: FloatArray,
    unit: str = "",
    invalid: BoolArray | None = None,
) -> tuple[BoolArray | None, tuple[Fault, ...]]:
    """Find samples that are no readings.

    Parameters
    ----------
    time : float array, shape (n,), s
        Strictly increasing.
    values : float array, shape (n,)
    unit : str
    invalid : bool array, shape (n,), optional
        Samples that the file itself marks.

    Returns
    -------
    valid : bool array, shape (n,), or None
        None if every sample is valid.
    faults : tuple of Fault
        Without a channel.
    """
    n = values.size
    bad = ~np.isfinite(values)
    if invalid is not None:
        bad |= invalid
    faults: list[Fault] = []
    if bad.any():
        faults += _listed(DROP_OUT, time, values, np.flatnonzero(bad), "no value")
    limits = BOUNDS.get(unit)
    with np.errstate(invalid="ignore"):
        if limits is not None:
            beyond = ((values < limits[0]) | (values > limits[1])) & ~bad
            if beyond.any():
                faults += _listed(
                    OUT_OF_RANGE, time, values, np.flatnonzero(beyond), f"beyond any in {unit}"
                )
                bad |= beyond
    good = np.flatnonzero(~bad) if bad.any() else None
    use = values if good is None else values[good]
    at = time if good is None else time[good]
    odd = _odd(at, use)
    if odd.size:
        places = odd if good is None else good[odd]
        faults += _listed(DROP_OUT, time, values, places, "")
        bad[places] = True
    held = frozen(at, use)
    held = held if good is None else good[held]
    held = held[~bad[held]]
    if held.size:
        faults += _listed(FROZEN, time, values, held, "")
        bad[held] = True
    if not faults:
        return None, ()
    valid = ~bad
    assert valid.shape == (n,)
    return valid, tuple(sorted(faults, key=_place))


def _odd(time: FloatArray, values: FloatArray) -> Indices:
    """Return places of fillers and impossible jumps."""
    none = np.empty(0, dtype=np.int64)
    if values.size < 5:
        return none
    steps = np.diff(values)
    size = np.abs(steps)
    largest = float(size.max())
    if largest == 0:
        return none
    # Nearly every channel ends here: no step stands out by far, as some samples tell already.
    every = max(1, size.size // 4000)
    some = size[::every]
    some = some[some > 0]
    if some.size > 100 and largest < JUMP_STEPS / 2 * float(np.quantile(some, 0.9)):
        return none
    low, high = np.quantile(values[::every], [0.01, 0.99]).tolist()
    if largest < JUMP_SHARE / 2 * (high - low) or _few_levels(values):
        return none
    fillers = _fillers(values)
    if fillers.size:
        rest = np.setdiff1d(np.arange(values.size), fillers, assume_unique=True)
        inner = _odd(time[rest], values[rest]) if rest.size else none
        return np.sort(np.concatenate([fillers, rest[inner]]))
    moved = size[size > 0]
    usual = float(np.quantile(moved, 0.9))
    low, high = np.quantile(values, [0.005, 0.995]).tolist()
    limit = max(JUMP_STEPS * usual, JUMP_SHARE * (high - low))
    jumps = np.flatnonzero(size > limit)
    if not jumps.size:
        return none
    return _between_jumps(time, values, jumps)


def _few_levels(values: FloatArray) -> bool:
    """Tell whether the values are those of a switch, looking no further than needed."""
    return np.unique(values[:: max(1, values.size // 1000)]).size <= FEW_LEVELS and (
        np.unique(values).size <= FEW_LEVELS
    )


def _fillers(values: FloatArray) -> Indices:
    """Return places of one value, repeated and far outside all others."""
    low, high = float(values.min()), float(values.max())
    for extreme in (high, low):
        there = values == extreme
        count = int(np.count_nonzero(there))
        if not 2 <= count <= values.size // 2:
            continue
        others = values[~there]
        least, most = float(others.min()), float(others.max())
        far = min(abs(extreme - least), abs(extreme - most))
        if far > FILLER_SPANS * (most - least) and most > least:
            return np.flatnonzero(there)
    return np.empty(0, dtype=np.int64)


def _between_jumps(time: FloatArray, values: FloatArray, jumps: Indices) -> Indices:
    found: list[Indices] = []
    place = 0
    listed = jumps.tolist()
    while place < len(listed):
        start = listed[place]
        away = values[start + 1] - values[start]
        after = place + 1
        while after < len(listed) and time[listed[after]] - time[start + 1] <= LONGEST_DROP_OUT:
            end = listed[after]
            inside = values[start + 1 : end + 1]
            back = abs(values[end + 1] - values[start]) <= RETURN_SHARE * abs(away)
            if back and (inside.size <= SPIKE_SAMPLES or _is_held(inside, values)):
                found.append(np.arange(start + 1, end + 1))
                place = after
                break
            after += 1
        place += 1
    return np.concatenate(found) if found else np.empty(0, dtype=np.int64)


def _is_held(inside: FloatArray, values: FloatArray) -> bool:
    """Tell whether one value is held that is no reading: zero, or one hardly seen otherwise.

    A signal that saturates (a torque at its limit) holds one value too, but often.
    """
    value = inside[0]
    if not bool((inside == value).all()):
        return False
    seen = int(np.count_nonzero(values == value))
    return bool(value == 0) or seen <= max(inside.size, COMMON_SHARE * values.size)


def _listed(
    kind: str, time: FloatArray, values: FloatArray, places: Indices, what: str
) -> list[Fault]:
    """Return a fault per run of neighbouring samples; many are summed up."""
    runs = _runs(places)
    faults = [_one(kind, time, values, run, what) for run in runs[:MOST_LISTED]]
    if len(runs) > MOST_LISTED:
        rest = np.concatenate(runs[MOST_LISTED:])
        start, end = float(time[rest[0]]), float(time[rest[-1]])
        words = f"{rest.size} more samples at {len(runs) - MOST_LISTED} places are masked alike."
        faults.append(Fault(kind, "", start, end, int(rest.size), words))
    return faults


def _one(kind: str, time: FloatArray, values: FloatArray, run: Indices, what: str) -> Fault:
    start, end, count = float(time[run[0]]), float(time[run[-1]]), int(run.size)
    if not what:
        value = float(values[run[0]])
        alike = bool((values[run] == value).all())
        what = f"a jump to {value:.6g}" if count <= SPIKE_SAMPLES else f"held at {value:.6g}"
        what = what if alike else "an impossible jump"
        if kind == FROZEN:
            what = f"the signal stands still at {value:.6g}"
    words = f"{_samples(count)} from {_seconds(start)} on {_were(count)} masked: {what}."
    return Fault(kind, "", start, end, count, words)


def _runs(places: Indices) -> list[Any]:
    """Cut sorted indices into runs of neighbours."""
    if not places.size:
        return []
    return np.split(places, np.flatnonzero(np.diff(places) > 1) + 1)


def _samples(count: int) -> str:
    return "1 sample" if count == 1 else f"{count} samples"


def _were(count: int) -> str:
    return "was" if count == 1 else "were"


def _seconds(value: float) -> str:
    return f"{value:.6g} s" if abs(value) < 1e5 else f"{value:.3f} s"
