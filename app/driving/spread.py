"""How a measure spreads over the runs of a campaign: shares below, or counts per class.

Plain numpy, so that it can be checked without a screen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib_model.core.arrays import FloatArray, IntArray

if TYPE_CHECKING:
    from calib_model.vehicle.campaign import Campaign
    from calib_model.vehicle.metrics import Metric

PERCENTS = (5.0, 50.0, 95.0)
MOST_CLASSES = 40


@dataclass(frozen=True)
class Spread:
    """One measure of one manoeuvre with one set.

    Parameters
    ----------
    set_name : str
    rows : int array
        Runs of the campaign, by number.
    values : float array, shape (len(rows),)
        NaN where a run gave no number.
    completed : bool array, shape (len(rows),)
    """

    set_name: str
    rows: IntArray
    values: FloatArray
    completed: np.ndarray

    @property
    def known(self) -> FloatArray:
        """The values there are, rising."""
        return np.sort(self.values[np.isfinite(self.values)])

    def percentile(self, percent: float) -> float:
        """Return a percentile, linear between order statistics; NaN without values."""
        known = self.known
        return float(np.percentile(known, percent)) if known.size else float("nan")

    def worst(self, measure: Metric) -> float:
        """Return the worst value: the largest where lower is better, and where neither is."""
        known = self.known
        if not known.size:
            return float("nan")
        return float(known[0] if measure.better == "higher" else known[-1])

    def beyond(self, measure: Metric, limit: float) -> int:
        """Return how many values do not keep a limit; 0 if there is none."""
        if not np.isfinite(limit):
            return 0
        known = self.known
        beyond = known < limit if measure.better == "higher" else known > limit
        return int(np.count_nonzero(beyond))


def spreads(campaign: Campaign, manoeuvre: str, metric: str) -> list[Spread]:
    """Return the spread of a metric for every set, in the order in which the sets were run."""
    values, number = campaign.metrics.get(metric), _number(campaign, manoeuvre)
    if values is None or number is None:
        return []
    found = []
    for which, named in enumerate(campaign.plan.sets):
        rows = np.arange(len(campaign))[campaign.rows(number, which)]
        found.append(Spread(named.name, rows, values[rows], campaign.completed[rows]))
    return found


def shares(known: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return corners of the line of shares: at each value the share of runs at or below it, in %.

    Parameters
    ----------
    known : float array, shape (n,), rising

    Returns
    -------
    x, y : float arrays, shape (2n,)
        From 0 % to 100 %.
    """
    n = known.size
    if not n:
        return np.empty(0), np.empty(0)
    y = np.arange(n + 1) / n * 100.0
    return np.repeat(known, 2), np.repeat(y, 2)[1:-1]


def classes(of_all: FloatArray) -> FloatArray:
    """Return borders of classes for values of all sets together.

    The width follows the rule of Freedman and Diaconis, as numpy has it; at most 40 classes.
    """
    known = of_all[np.isfinite(of_all)]
    if not known.size:
        return np.array([0.0, 1.0])
    low, high = float(known.min()), float(known.max())
    if high - low <= 1e-12 * max(abs(low), abs(high), 1.0):
        half = 0.5 * (abs(low) * 0.01 or 1.0)
        return np.array([low - half, low + half])
    borders = np.histogram_bin_edges(known, "fd")
    if borders.size > MOST_CLASSES + 1 or borders.size < 6:
        borders = np.linspace(low, high, min(max(borders.size, 9), MOST_CLASSES + 1))
    return np.asarray(borders, dtype=np.float64)


def outline(known: FloatArray, borders: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the outline of the counts per class."""
    counts = np.histogram(known, borders)[0].astype(np.float64)
    x = np.repeat(borders, 2)
    return x, np.concatenate(([0.0], np.repeat(counts, 2), [0.0]))


def worst_rows(campaign: Campaign, manoeuvre: str, measure: Metric, count: int) -> list[int]:
    """Return runs, the worst first: those not completed, then by value.

    Parameters
    ----------
    campaign : Campaign
    manoeuvre : str
    measure : Metric
    count : int
        How many at most.
    """
    found = spreads(campaign, manoeuvre, measure.name)
    if not found:
        return []
    rows = np.concatenate([s.rows for s in found])
    values = np.concatenate([s.values for s in found])
    completed = np.concatenate([s.completed for s in found])
    sign = 1.0 if measure.better == "higher" else -1.0
    rank = np.where(completed, np.where(np.isfinite(values), sign * values, np.inf), -np.inf)
    order = np.argsort(rank, kind="stable")[:count]
    return [int(r) for r in rows[order]]


def _number(campaign: Campaign, manoeuvre: str) -> int | None:
    ids = [m.id for m in campaign.plan.manoeuvres]
    return ids.index(manoeuvre) if manoeuvre in ids else None
