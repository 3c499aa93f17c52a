"""Sweeps of an actuator: which samples lie on the way up, which on the way down, which on neither.

A sweep turns where the driven input turns by more than a dead band.  Right after a turn friction
holds the actuator still: such samples lie between the branches and belong to neither.  The same
goes for the free travel at an end, where the input moves and nothing answers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short, with_unit
from ..core.rule import find_axis
from ..core.table import Table
from ..rules.relations import Hysteresis
from .fit import FitProposal, _fitted, ready
from .fit_options import FitOptions
from .samples import Samples, SamplesRefused
from .screening import screened

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
LOOKED_AT = 1_000_000
"""Samples among which two branches are looked for where nobody asked for them."""
RESTLESS = 0.2
"""An input that moves by this share of its range from sample to sample makes no sweep."""
APART = 3.0
"""Branches differ where they are further apart than so many standard errors, and ..."""
APART_NOISE = 0.5
"""... by more than this share of the noise within a branch, and ..."""
APART_SPAN = 0.002
"""... by more than this share of the values' range."""


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


@dataclass(frozen=True, eq=False)
class BranchReport:
    """Two branches and what lies between them.

    Parameters
    ----------
    rising, falling : str
        Ids of the tables of the way up and the way down.
    sweeps : Sweeps
    width : float array, the tables' shape
        Distance between the branches at each node, as proposed; NaN where either has no data.
    error : float array, the tables' shape
        Its standard error.
    gap : float
        Smallest distance over all nodes where a gap is asked for.
    asked : float
        The gap that is guaranteed.
    """

    rising: str
    falling: str
    sweeps: Sweeps
    width: FloatArray
    error: FloatArray
    gap: float
    asked: float


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
    _refuse_no_sweep(samples, sweeps)
    wanted = 1 if branch == "up" else -1
    return samples.only(np.asarray(sweeps.direction == wanted))


def _refuse_no_sweep(samples: Samples, sweeps: Sweeps) -> None:
    if not is_sweep(samples, sweeps):
        raise SamplesRefused(
            f"The samples do not go up and down in sweeps ({sweeps.up} on the way up, "
            f"{sweeps.down} on the way down, {sweeps.turns} turns).",
            "Give them in the order they were taken, and name the column that drives the sweep.",
        )


def refuse_two_branches(table: Table, samples: Samples, options: FitOptions) -> None:
    """Raise if the samples lie on two branches that differ: a pooled fit would fit neither.

    Raises
    ------
    SamplesRefused
        With the distance between the branches.
    """
    if samples.rows < 2 * FEWEST:
        return
    if samples.rows > LOOKED_AT:  # the beginning of a long recording shows whether it sweeps
        samples = samples.only(np.arange(samples.rows) < LOOKED_AT)
    sweeps = split(samples)
    if not is_sweep(samples, sweeps):
        return
    kept, _ = screened(table, samples, hold=options.hold)
    used = np.flatnonzero(kept.use & (sweeps.direction != 0))
    if used.size < 2 * FEWEST:
        return
    distance, error, noise = _distance(table, kept, sweeps, used)
    values = np.asarray(kept.values)[used]
    span = float(np.ptp(values))
    large = abs(distance) > max(APART * error, APART_NOISE * noise, APART_SPAN * span)
    if large:
        above = "above" if distance > 0 else "below"
        raise SamplesRefused(
            f"The samples on the way up lie {with_unit(abs(distance), table.unit, 3)} {above} "
            f"those on the way down (noise within a branch "
            f"{with_unit(noise, table.unit, 2)}): one fit through both would fit neither.",
            "Fit the two branches to their two tables, or one branch alone.",
        )


def _distance(
    table: Table, samples: Samples, sweeps: Sweeps, used: IntArray
) -> tuple[float, float, float]:
    """Mean distance of the branches (up less down), its error, and the noise within one."""
    from .assembly import locate_cells, two_axes

    points = [np.asarray(p)[used] for p in samples.points]
    values = np.asarray(samples.values)[used]
    cell, t, _ = locate_cells(two_axes(table.axes), points)
    # Small cells of equal place, so that the slope of the table does not matter.
    place = cell * 4 + np.minimum((t * 4).astype(np.int64), 3)
    if samples.specimen.size:
        place = place * len(samples.specimens) + np.asarray(samples.specimen)[used].astype(np.int64)
    rising = sweeps.direction[used] > 0
    gaps, weights, noises = [], [], []
    order = np.argsort(place, kind="stable")
    for group in np.split(order, np.flatnonzero(np.diff(place[order])) + 1):
        up, down = group[rising[group]], group[~rising[group]]
        if min(up.size, down.size) < 3:
            continue
        # The answer to a straight line within the place, with a step between the branches.
        design = np.stack([np.ones(group.size), t[group] - 0.5, rising[group] - 0.5], axis=1)
        found, *_ = np.linalg.lstsq(design, values[group], rcond=None)
        rest = values[group] - design @ found
        gaps.append(float(found[2]))
        weights.append(min(up.size, down.size))
        noises.append(float(np.median(np.abs(rest))) / 0.6745)
    if not gaps:
        return 0.0, np.inf, 0.0
    w = np.array(weights, dtype=np.float64)
    mean = float(np.average(gaps, weights=w))
    spread = float(np.sqrt(np.average((np.array(gaps) - mean) ** 2, weights=w)))
    noise = float(np.average(noises, weights=w))
    return mean, np.hypot(spread / np.sqrt(len(gaps)), noise / np.sqrt(w.sum())), noise


def fit_branches(
    content: CalibrationSet,
    rising: str,
    falling: str,
    samples: Samples,
    options: FitOptions | None = None,
    *,
    nominal: Sequence[str] = (),
    against: Sequence[CalibrationSet] = (),
) -> FitProposal:
    """Fit the two branches of a sweep to their two tables, a gap between them guaranteed.

    Parameters
    ----------
    content : CalibrationSet
    rising, falling : str
        Ids of the tables of the way up and of the way down of the driven input; of one shape
        and equal axes.
    samples : Samples
        In the order they were taken.
    options : FitOptions, optional
        `FitOptions.gap` asks for more than the tables' own rule.
    nominal : sequence of str
        Units under test that make the tables; all by default.
    against : sequence of CalibrationSet

    Raises
    ------
    SamplesRefused
        If there are no sweeps, or the branches lie the wrong way round for the tables' rule.
    AtOdds
        If rules and locks cannot all hold.
    """
    options = FitOptions() if options is None else options
    up_table, down_table = content[rising], content[falling]
    for table in (up_table, down_table):
        ready(table)
    if up_table.axes != down_table.axes or up_table.unit != down_table.unit:
        raise SamplesRefused(
            f"{up_table.label} and {down_table.label} have different axes or units.",
            "Give both the same breakpoints first.",
        )
    sweeps = split(samples)
    _refuse_no_sweep(samples, sweeps)
    kept, _ = screened(up_table, samples, hold=options.hold)
    used = np.flatnonzero(kept.use & (sweeps.direction != 0))
    distance, error, _ = _distance(up_table, kept, sweeps, used)
    upper = _upper(content, rising, falling, distance)
    _refuse_reversed(up_table, down_table, upper == rising, distance, error)
    ruled, asked, scope_rule = _with_gap(content, rising, falling, upper, options.gap)
    parts = {
        rising: samples.only(np.asarray(sweeps.direction > 0)),
        falling: samples.only(np.asarray(sweeps.direction < 0)),
    }
    found = _fitted(ruled, parts, options, nominal, against)
    found = _with_own_rules(found, content)
    lower = falling if upper == rising else rising
    width = found.values(upper) - found.values(lower)
    known = (found.fits[rising].state > 0) & (found.fits[falling].state > 0)
    spread = np.hypot(found.fits[rising].error, found.fits[falling].error)
    inside = _in_scope(content[lower], scope_rule)
    gap = float(width[inside].min()) if inside.any() else float("nan")
    report = BranchReport(
        rising,
        falling,
        sweeps,
        np.where(known, width, np.nan),
        np.where(known, spread, np.nan),
        gap,
        asked,
    )
    mean = float(np.nanmean(report.width)) if known.any() else float("nan")
    counts = (
        f"{sweeps.up} samples on the way up, {sweeps.down} on the way down; {sweeps.neither} on "
        "neither branch (at turns and on free travel) are left out."
    )
    apart = (
        f"The branches are {with_unit(mean, up_table.unit, 3)} apart on average; at least "
        f"{with_unit(asked, up_table.unit, 3)} is kept between them."
    )
    return replace(found, notes=(counts, apart, *found.notes), branches=report)


def _upper(content: CalibrationSet, rising: str, falling: str, distance: float) -> str:
    """Id of the table that must stay above: by rule, or else by the samples."""
    for lower, upper in ((falling, rising), (rising, falling)):
        if any(isinstance(r, Hysteresis) and r.other == upper for r in content[lower].rules):
            return upper
    return rising if distance >= 0 else falling


def _refuse_reversed(
    up: Table, down: Table, rising_above: bool, distance: float, error: float
) -> None:
    wrong = distance < 0 if rising_above else distance > 0
    if wrong and abs(distance) > APART * error:
        side = "below" if rising_above else "above"
        raise SamplesRefused(
            f"The samples on the way up lie {with_unit(abs(distance), up.unit, 3)} {side} those "
            f"on the way down, but {up.label} must stay "
            f"{'above' if rising_above else 'below'} {down.label}.",
            "Exchange the two tables, or check which column drives the sweep.",
        )


def _with_gap(
    content: CalibrationSet, rising: str, falling: str, upper: str, gap: float
) -> tuple[CalibrationSet, float, Hysteresis]:
    """Return the set with the gap as a rule for the fit, and the gap."""
    lower = falling if upper == rising else rising
    table = content[lower]
    own = [r for r in table.rules if isinstance(r, Hysteresis) and r.other == upper]
    rule = own[0] if own else Hysteresis(upper, branches=True)
    wanted = max(gap, rule.distance(table))
    if own and wanted == rule.distance(table):
        return content, wanted, rule
    rule = replace(rule, gap=wanted)
    rules = (*(r for r in table.rules if r not in own), rule)
    return content.with_table(replace(table, rules=rules)), wanted, rule


def _with_own_rules(found: FitProposal, content: CalibrationSet) -> FitProposal:
    """Undo the rule that was added for the fit: a fit changes values, never rules."""
    before, after = dict(found.before), dict(found.after)
    for place in before:
        if place[0] == 0:
            own = content[place[1]]
            before[place] = own
            after[place] = own.with_values(after[place].values)
    return replace(found, before=before, after=after)


def _in_scope(table: Table, rule: Hysteresis) -> np.ndarray:
    inside = np.ones(table.shape, dtype=bool)
    for part in rule.scope:
        axis = find_axis(table, part.axis)
        x = table.axes[axis].values
        keep = (x >= part.low) & (x <= part.high)
        inside &= keep.reshape([-1 if n == axis else 1 for n in range(len(table.axes))])
    return inside


def told(report: BranchReport, unit: str) -> str:
    """Say the width in a sentence."""
    width = report.width[np.isfinite(report.width)]
    if not width.size:
        return "No node has data of both branches."
    return (
        f"Distance between the branches {short(float(width.min()), 3)} to "
        f"{with_unit(float(width.max()), unit, 3)}."
    )
