"""Figures of a signal along a drive, and what the torque law did in total."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..core.arrays import BoolArray, FloatArray

PERCENTILES = (1.0, 5.0, 25.0, 50.0, 75.0, 95.0, 99.0)
"""Computed as `numpy.percentile` does by default: linear between neighbours (Hyndman and Fan 7)."""


@dataclass(frozen=True)
class Figures:
    """One signal in figures; over the ticks where it is a number.

    Parameters
    ----------
    count : int
        Ticks with a number; all figures are NaN where there are none.
    low, high, mean : float
        In the signal's unit.
    low_at, high_at : float
        When, in seconds of the drive; the first time.
    percentiles : mapping of float to float
        By percent, see `PERCENTILES`.
    """

    count: int
    low: float
    high: float
    mean: float
    low_at: float
    high_at: float
    percentiles: Mapping[float, float] = field(default_factory=dict)


def figures(time: FloatArray, values: FloatArray, valid: BoolArray | None = None) -> Figures:
    """Return the figures of a signal.

    Parameters
    ----------
    time : float array, shape (T,)
        Seconds.
    values : float array, shape (T,)
    valid : bool array, shape (T,), optional
        Ticks to count; all by default.
    """
    there = np.isfinite(values)
    if valid is not None:
        there &= valid
    chosen = values[there]
    if not chosen.size:
        nan = float("nan")
        return Figures(0, nan, nan, nan, nan, nan, dict.fromkeys(PERCENTILES, nan))
    when = time[there]
    lowest, highest = int(chosen.argmin()), int(chosen.argmax())
    levels = np.percentile(chosen, PERCENTILES)
    return Figures(
        int(chosen.size),
        float(chosen[lowest]),
        float(chosen[highest]),
        float(chosen.mean()),
        float(when[lowest]),
        float(when[highest]),
        dict(zip(PERCENTILES, levels.tolist(), strict=True)),
    )


@dataclass(frozen=True)
class DriveStats:
    """What the torque law did along a drive, in total.

    Parameters
    ----------
    seconds : float
        Of the drive, gaps included.
    valid_seconds : float
        For which the law could be run.
    governed : mapping of role to float
        Seconds for which the role's table decided the commanded torque, the longest first.
    idle_seconds : float
        Valid time in which nothing was demanded, so that no table decided.
    limited : mapping of role to float
        Those of `governed` whose table is a limit.
    limited_seconds : float
        Time for which any limit decided.
    disconnected_share : float
        Share of the valid time with the rear axle disconnected; NaN where the law had no say.
    disconnections, reconnections : int
        How often each was completed.
    reconnections_per_hour : float
        Of valid time; NaN where there was none.
    outputs : mapping of output to Figures
        Every output of the law.
    """

    seconds: float
    valid_seconds: float
    governed: Mapping[str, float]
    idle_seconds: float
    limited: Mapping[str, float]
    limited_seconds: float
    disconnected_share: float
    disconnections: int
    reconnections: int
    reconnections_per_hour: float
    outputs: Mapping[str, Figures]


def time_per_role(
    governing: np.ndarray, valid: BoolArray, tick_s: float, roles: Sequence[str]
) -> dict[str, float]:
    """Return the seconds for which each role's table decided, the longest first.

    Parameters
    ----------
    governing : int array, shape (T,)
        Index of the role, -1 for none.
    valid : bool array, shape (T,)
    tick_s : float
    roles : sequence of str
    """
    chosen = governing[valid & (governing >= 0)]
    counts = np.bincount(chosen, minlength=len(roles))
    order = np.argsort(-counts, kind="stable")
    return {roles[i]: float(counts[i] * tick_s) for i in order.tolist() if counts[i]}


def entered(mask: BoolArray, valid: BoolArray) -> int:
    """Return how often a state was entered from another one, not counting gaps.

    Parameters
    ----------
    mask : bool array, shape (T,)
        Where the state holds.
    valid : bool array, shape (T,)
        A state that holds first after a gap was not seen to be entered.
    """
    if mask.size < 2:
        return 0
    return int((mask[1:] & ~mask[:-1] & valid[1:] & valid[:-1]).sum())
