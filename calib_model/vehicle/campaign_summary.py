"""Distributions and worst cases of a campaign."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .campaign import Campaign
from .metrics import Metric
from .metrics_all import metric

PERCENTILES = (5.0, 25.0, 50.0, 75.0, 95.0)
WORST = 3


@dataclass(frozen=True)
class Distribution:
    """How one metric of one manoeuvre spreads with one set.

    Parameters
    ----------
    manoeuvre : str
        Its id.
    set_name : str
    metric : Metric
    runs : int
        Made.
    missing : int
        Of these, without a value.
    least, most, mean : float
        NaN if no run has a value.
    percentiles : tuple of (percent, value)
        Linear between order statistics (the definition that numpy and SciPy share).
    worst : tuple of int
        Rows of the worst runs, the worst first; runs without a value do not count.
    without : tuple of int
        Rows of the first runs without a value.
    """

    manoeuvre: str
    set_name: str
    metric: Metric
    runs: int
    missing: int
    least: float
    most: float
    mean: float
    percentiles: tuple[tuple[float, float], ...]
    worst: tuple[int, ...]
    without: tuple[int, ...]


def distributions(campaign: Campaign, worst: int = WORST) -> Iterator[Distribution]:
    """Yield the distribution of every metric by manoeuvre and set.

    Parameters
    ----------
    campaign : Campaign
    worst : int
        How many worst runs to name.
    """
    plan = campaign.plan
    for number, manoeuvre in enumerate(plan.manoeuvres):
        for name in manoeuvre.metrics:
            for which, named in enumerate(plan.sets):
                yield _distribution(campaign, number, which, named.name, metric(name), worst)


def incomplete(campaign: Campaign) -> dict[str, list[int]]:
    """Return the rows that did not go to their end, by why."""
    found: dict[str, list[int]] = {}
    for row in np.flatnonzero(campaign.done & ~campaign.completed).tolist():
        found.setdefault(campaign.why[row], []).append(row)
    return found


def _distribution(
    campaign: Campaign, number: int, which: int, set_name: str, of: Metric, worst: int
) -> Distribution:
    rows = campaign.rows(number, which)
    done = campaign.done[rows]
    values = campaign.metrics[of.name][rows]
    there = done & np.isfinite(values)
    finite = values[there]
    order = np.flatnonzero(there)
    # Stable, so that equal values are named in the order of their rows.
    ranked = order[
        np.argsort(-values[order] if of.better != "higher" else values[order], kind="stable")
    ]
    some = finite.size > 0
    return Distribution(
        manoeuvre=campaign.plan.manoeuvres[number].id,
        set_name=set_name,
        metric=of,
        runs=int(done.sum()),
        missing=int((done & ~np.isfinite(values)).sum()),
        least=float(finite.min()) if some else np.nan,
        most=float(finite.max()) if some else np.nan,
        mean=float(finite.mean()) if some else np.nan,
        percentiles=tuple(
            (p, float(v))
            for p, v in zip(PERCENTILES, np.percentile(finite, PERCENTILES), strict=True)
        )
        if some
        else (),
        worst=tuple((ranked[:worst] + rows.start).tolist()),
        without=tuple((np.flatnonzero(done & ~np.isfinite(values))[:worst] + rows.start).tolist()),
    )
