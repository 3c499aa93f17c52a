"""The two branches of a sweep: told from one, fitted to their two tables, a gap between them."""

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
from .assembly import locate_cells, two_axes
from .fit import FitProposal, _fitted, ready
from .fit_options import FitOptions
from .samples import Samples, SamplesRefused
from .screening import screened
from .sweeps import FEWEST, Sweeps, is_sweep, refuse_no_sweep, split

LOOKED_AT = 1_000_000
"""Samples among which two branches are looked for where nobody asked for them."""
APART = 3.0
"""Branches differ where they are further apart than so many standard errors, and ..."""
APART_NOISE = 0.5
"""... by more than this share of the noise within a branch, and ..."""
APART_SPAN = 0.002
"""... by more than this share of the values' range."""


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
    refuse_no_sweep(samples, sweeps)
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
