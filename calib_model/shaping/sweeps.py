"""Sweeps of an actuator: which samples lie on the way up, which on the way down, which on neither.

A sweep turns where the driven input turns by more than a dead band.  Right after a turn friction
holds the actuator still: such samples lie between the branches and belong to neither.  The same
goes for the free travel at an end, where the input moves and nothing answers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..core.arrays import FloatArray, IntArray
from .samples import Samples, SamplesRefused

DEAD_BAND = 0.05
"""A turn is a turn if the input goes back by this share of its range."""
SETTLED = 0.01
"""An answer that has moved by this share of its range after a turn is at rest no more, ..."""
NOISY = 4.0
"""... nor one that has moved by so many standard deviations of its noise, if that is less."""
AT_TURN = 2
"""By so many samples a running median may miss where exactly the input turns."""
FEWEST = 20
"""A stretch with fewer samples is no branch."""
RESTLESS = 0.2
"""An input that moves by this share of its range from sample to sample makes no sweep."""


@dataclass(frozen=True, eq=False)
class Sweeps:
    """Samples by branch.

    Parameters
    ----------
    direction : int array, shape (n,)
        1 on the way up, -1 on the way down, 0 on neither.
    turns : int
    up, down, neither : int
        Numbers of samples.
    """

    direction: IntArray
    turns: int
    up: int
    down: int
    neither: int


def split(samples: Samples, *, axis: int = 0) -> Sweeps:
    """Tell the branches apart, by the driven input (the value, if none was named).

    Parameters
    ----------
    samples : Samples
        In the order they were taken.
    axis : int
        The axis that answers the input (or drives it, where the value answers).

    Raises
    ------
    SamplesRefused
        If there is no sweep: the input never turns, or turns all the time.
    """
    direction = np.zeros(samples.rows, dtype=np.int64)
    turns = 0
    for chosen in _by_specimen(samples):
        drive = np.asarray(samples.drive if samples.drive.size else samples.values)[chosen]
        x = np.asarray(samples.points[axis])[chosen]
        v = np.asarray(samples.values)[chosen]
        good = np.isfinite(drive) & np.isfinite(x) & np.isfinite(v)
        chosen, drive, x, v = chosen[good], drive[good], x[good], v[good]
        if drive.size < FEWEST:
            continue
        # What the samples say of themselves is told from their running medians: a stray sample
        # is no turn.
        if float(np.abs(np.diff(drive)).mean()) > RESTLESS * _reach(drive):
            turns += drive.size  # scattered points, no sweep
            continue
        answers = [_calm(x)] if not samples.drive.size else [_calm(x), _calm(v)]
        given, drive = drive, _calm(drive)
        ends = _exact(given, drive, _turns(drive))
        turns += max(ends.size - 2, 0)
        if drive.size < FEWEST * (ends.size - 1):
            continue  # it turns all the time: no sweep
        direction[chosen] = _labelled(drive, answers, ends)
    up, down = int((direction > 0).sum()), int((direction < 0).sum())
    return Sweeps(direction, turns, up, down, len(samples) - up - down)


def _by_specimen(samples: Samples) -> list[IntArray]:
    used = np.flatnonzero(samples.use)
    if not samples.specimen.size:
        return [used]
    codes = np.asarray(samples.specimen)[used]
    return [used[codes == code] for code in range(len(samples.specimens))]


def _calm(values: FloatArray) -> FloatArray:
    """Running median of five."""
    padded = np.concatenate([values[[0, 0]], values, values[[-1, -1]]])
    return np.asarray(
        np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=-1), dtype=np.float64
    )


def _turns(drive: FloatArray) -> IntArray:
    """Places where the drive turns by more than the dead band; first and last included."""
    low, high = np.quantile(drive, [0.002, 0.998])
    band = DEAD_BAND * float(high - low)
    if band <= 0:
        return np.array([0, drive.size - 1])
    step = np.diff(drive)
    local = np.flatnonzero(step[1:] * step[:-1] <= 0) + 1
    places = np.concatenate([[0], local, [drive.size - 1]]).tolist()
    values = drive[places].tolist()
    ends = [0]
    best, best_at, sense = values[0], 0, 0
    low_at = high_at = 0
    low_v = high_v = values[0]
    for at, value in zip(places, values, strict=True):
        if sense == 0:
            if value < low_v:
                low_v, low_at = value, at
            if value > high_v:
                high_v, high_at = value, at
            if value - low_v > band:
                sense, best, best_at = 1, value, at
                ends.append(low_at)
            elif high_v - value > band:
                sense, best, best_at = -1, value, at
                ends.append(high_at)
        elif (value - best) * sense >= 0:
            best, best_at = value, at
        elif (best - value) * sense > band:
            ends.append(best_at)
            sense, best, best_at = -sense, value, at
    ends.append(drive.size - 1)
    return np.unique(np.array(ends))


def _exact(given: FloatArray, calm: FloatArray, ends: IntArray) -> IntArray:
    """Turns where the input itself turns, which its running median tells to two samples."""
    near = _unrest(given)
    found = ends.copy()
    for n, end in enumerate(ends[1:-1].tolist(), start=1):
        sense = 1.0 if calm[end] >= calm[ends[n - 1]] else -1.0
        around = np.arange(max(end - AT_TURN, 0), min(end + AT_TURN + 1, given.size))
        # A stray sample is no turn.
        sound = around[np.abs(given[around] - calm[around]) <= max(near, abs(_at(calm, end)))]
        if sound.size:
            top = sense * given[sound]
            found[n] = int(sound[np.argmax(top >= top.max() - near)])  # the first of equals
    return np.unique(found)


def _at(calm: FloatArray, end: int) -> float:
    """How far the input goes from sample to sample next to a turn."""
    part = calm[max(end - 5, 0) : end + 6]
    return float(np.ptp(part))


def _unrest(values: FloatArray) -> float:
    """By how much values differ that are meant to be the same: noise, or a step of storage."""
    # Fourth differences, so that a curve or a bend of it is no noise (their weights: 1 4 6 4 1).
    bend = np.abs(np.diff(values, n=4))
    noise = float(np.median(bend)) / 0.6745 / 70**0.5 if bend.size else 0.0
    step = np.abs(np.diff(values))
    step = step[step > 0]
    if not step.size:
        return 0.0
    steps = step / step.min()
    stored = bool((np.abs(steps - np.rint(steps)) < 1e-3).all())
    return max(NOISY * noise, 1.5 * float(step.min()) if stored else 0.0)


def _onset(answer: FloatArray, near: float) -> int:
    """Sample at which an answer leaves where it rests at the beginning; its length if nowhere.

    It has left once it stays out of the noise: a slow start is no free travel.
    """
    rest = _level(answer[:5])
    far = np.abs(answer - rest) > near
    moved = np.flatnonzero(far[:-2] & far[1:-1] & far[2:])  # one stray sample is no move
    if not moved.size:
        return answer.size
    first = int(moved[0])
    sign = 1.0 if answer[first] > rest else -1.0
    rest = _level(answer[: max(first, 1)])  # of all that rest: five may lie on one side of it
    before = np.flatnonzero(sign * (answer[:first] - rest) <= near)
    begin = int(before[-1]) + 1 if before.size else 0
    # The level of five samples that move already lies at the third.
    return 0 if begin <= 3 else begin


def _labelled(drive: FloatArray, answers: Sequence[FloatArray], ends: IntArray) -> IntArray:
    direction = np.zeros(drive.size, dtype=np.int64)
    drive_range = _reach(drive)
    reaches = [_reach(answer) for answer in answers]
    nears = [
        min(SETTLED * reach, _unrest(answer))
        for answer, reach in zip(answers, reaches, strict=True)
    ]
    for number, (a, b) in enumerate(zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True)):
        if b - a < 3:
            continue
        part = slice(a, b + 1)
        travel = float(drive[b] - drive[a])
        if abs(travel) < DEAD_BAND * drive_range:
            continue
        # The sample at which the input turns is the last of the way it came.
        first, last = min(number, 1), b - a
        for answer, reach, near in zip(answers, reaches, nears, strict=True):
            y = answer[part]
            if reach <= 0 or _reach(y) < 0.1 * reach:
                continue  # an input that is held during this sweep says nothing
            begin = _onset(y, near)
            # A long way of the input without an answer at the end is free travel; a short way
            # is just the last piece of the branch.
            end, back = b - a, b - a - _onset(y[::-1], near)
            if back >= 0:
                rest = float(abs(drive[b] - drive[a + back]))
                if rest > 2 * SETTLED * drive_range:
                    end = back
            # What has settled must not be taken for held because of one stray sample.
            first, last = max(first, begin), min(last, end)
        if last > first:
            direction[a + first : a + last + 1] = 1 if travel > 0 else -1
    return direction


def _reach(values: FloatArray) -> float:
    some = values[:: max(1, values.size // 100_000)]
    low, high = np.quantile(some, [0.002, 0.998])
    return float(high - low)


def _level(values: FloatArray) -> float:
    return float(np.median(values))


def is_sweep(samples: Samples, sweeps: Sweeps) -> bool:
    """Whether the samples were taken in sweeps: long ways up and down, few turns."""
    moving = sweeps.up + sweeps.down
    return (
        min(sweeps.up, sweeps.down) >= FEWEST
        and moving >= FEWEST * (sweeps.turns + 1)
        and moving >= 0.3 * max(len(samples), 1)
    )


def one_branch(samples: Samples, branch: str) -> Samples:
    """Return the samples of one branch."""
    if branch not in ("up", "down"):
        raise SamplesRefused(f"There is no branch {branch!r}.", "Use up or down.")
    sweeps = split(samples)
    refuse_no_sweep(samples, sweeps)
    wanted = 1 if branch == "up" else -1
    return samples.only(np.asarray(sweeps.direction == wanted))


def refuse_no_sweep(samples: Samples, sweeps: Sweeps) -> None:
    """Raise if the samples were not taken in sweeps."""
    if not is_sweep(samples, sweeps):
        raise SamplesRefused(
            f"The samples do not go up and down in sweeps ({sweeps.up} on the way up, "
            f"{sweeps.down} on the way down, {sweeps.turns} turns).",
            "Give them in the order they were taken, and name the column that drives the sweep.",
        )
