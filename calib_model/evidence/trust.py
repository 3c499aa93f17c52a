"""Whether the replay matches the vehicle: its own signals against what is replayed.

Only the replay of the set that was in the vehicle can be held against the recording.  What
another set would have commanded counts for something once that replay agrees.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.numbers import short, with_unit
from .mapping import OWN

if TYPE_CHECKING:
    from .replay import Replay

AGREES, PARTLY = 0.95, 0.80
"""Share of the ticks within tolerance from which a signal agrees, or agrees in part."""
RELATIVE = 0.02
"""Tolerance as a share of the signal's range along the drive."""
FLOORS: Mapping[str, float] = {
    "N.m": 2.0,
    "N": 100.0,
    "A": 0.05,
    "km/h": 0.1,
    "rad/s": 0.2,
    "deg/s": 0.2,
    "degC": 1.0,
    "W": 20.0,
    "-": 0.01,
}
"""Smallest tolerance by unit: what such signals are sent with (common practice, no source)."""
LEEWAY = 2
"""Ticks by which a value may come early or late: sampling and sending take their time."""
SHORTEST = 1.0
"""Seconds of a signal below which nothing is said of it."""


class Level(StrEnum):
    """How far a replay may be trusted."""

    AGREES = "agrees"
    PARTLY = "agrees in part"
    FAILS = "does not agree"
    OTHER_SET = "another set was in the vehicle"
    UNKNOWN = "not known"


@dataclass(frozen=True)
class Residual:
    """One of the controller's own signals against its replay.

    Parameters
    ----------
    signal : str
        Name of the law's output, or of the role whose table is compared.
    table : str
        Id of that table; empty for an output.
    unit : str
    seconds : float
        For which both are known.
    rms, largest, bias : float
        Of measured less replayed, in `unit`; `largest` with its sign.
    largest_at : float
        When, in seconds of the drive.
    tolerance : float
        In `unit`: the larger of `RELATIVE` times the measured range and the unit's floor.
    within : float
        Share of the ticks within tolerance, a value up to `LEEWAY` ticks early or late included.
    """

    signal: str
    table: str
    unit: str
    seconds: float
    rms: float
    largest: float
    bias: float
    largest_at: float
    tolerance: float
    within: float

    @property
    def level(self) -> Level:
        """How far this signal agrees."""
        if self.seconds < SHORTEST:
            return Level.UNKNOWN
        if self.within >= AGREES:
            return Level.AGREES
        return Level.PARTLY if self.within >= PARTLY else Level.FAILS

    @property
    def words(self) -> str:
        """Say it in one line."""
        if self.seconds < SHORTEST:
            return "too short to say"
        return (
            f"{self.level}: {short(100 * self.within, 3)} % of {short(self.seconds, 4)} s within "
            f"{with_unit(self.tolerance, self.unit, 3)}; rms {with_unit(self.rms, self.unit, 3)}, "
            f"largest {with_unit(self.largest, self.unit, 3)} at {short(self.largest_at, 6)} s"
        )


@dataclass(frozen=True)
class Trust:
    """How far the replay of a set along a recording may be trusted.

    Parameters
    ----------
    level : Level
    words : str
        The verdict, in a sentence or two.
    residuals : tuple of Residual
        The worst first.
    set_digest, vehicle_digest : str
        Of the replayed set, and of the set that was in the vehicle (empty if not known).
    """

    level: Level
    words: str
    residuals: tuple[Residual, ...]
    set_digest: str
    vehicle_digest: str

    @property
    def same_set(self) -> bool | None:
        """Whether the replayed set is the one that was in the vehicle; None if not known."""
        return same_digest(self.vehicle_digest, self.set_digest)

    @property
    def counts(self) -> bool:
        """Whether comparing this set with another along the recording counts as evidence."""
        return self.level is Level.AGREES and self.same_set is True


def same_digest(written: str, full: str) -> bool | None:
    """Tell whether a digest as a recording writes it is a set's.

    Parameters
    ----------
    written : str
        Hexadecimal, at least its first 16 digits; empty if the recording does not say.
    full : str
        `calib_model.core.canonical.digest`.
    """
    text = written.strip().lower().removeprefix("sha256:")
    if not text:
        return None
    return len(text) >= 16 and full.startswith(text)


def trust(replay: Replay, vehicle_digest: str = "") -> Trust:
    """Hold the recording's own signals against the replay.

    Parameters
    ----------
    replay : Replay
        Of the set that is to be judged; the signals are those of its ticks.
    vehicle_digest : str
        Digest of the set that was in the vehicle (`Recording.vehicle_set_digest`).
    """
    residuals = []
    for name, measured in replay.ticks.signals.items():
        found = replay.computed(name)
        if found is None:
            continue
        computed, unit, table = found
        residuals.append(_residual(replay, name.removeprefix(OWN), table, unit, measured, computed))
    residuals.sort(key=lambda r: (r.seconds < SHORTEST, r.within))
    level, words = _verdict(residuals, same_digest(vehicle_digest, replay.digest))
    return Trust(level, words, tuple(residuals), replay.digest, vehicle_digest)


def _verdict(residuals: list[Residual], same: bool | None) -> tuple[Level, str]:
    told = [r for r in residuals if r.seconds >= SHORTEST]
    agrees = [r.signal for r in told if r.level is Level.AGREES]
    if same is False:
        words = (
            "The set at hand is not the one that was in the vehicle: the recording carries another "
            "digest. Differences to its signals say nothing about the replay. Replay the set that "
            "was in the vehicle first."
        )
        return Level.OTHER_SET, words
    unsure = (
        " The recording does not say which set was in the vehicle; this takes it to be this one."
        if same is None
        else ""
    )
    if not told:
        return (
            Level.UNKNOWN,
            "The recording holds none of the controller's own signals, so the replay cannot be "
            "held against the vehicle." + unsure,
        )
    worst = told[0]
    if len(agrees) == len(told):
        words = f"The replay agrees with {_listed(told)} of the recording."
        level = Level.AGREES
    elif worst.level is Level.FAILS:
        words = (
            f"The replay does not agree with the vehicle: {_name(worst.signal)} is within "
            f"tolerance for {short(100 * worst.within, 3)} % of the time only. Find out why before "
            "comparing sets: constants, the channels' mapping, or a part the law leaves out."
        )
        level = Level.FAILS
    else:
        words = (
            f"The replay agrees in part: {_name(worst.signal)} is within tolerance for "
            f"{short(100 * worst.within, 3)} % of the time. Look at where it departs before "
            "comparing sets."
        )
        level = Level.PARTLY
    return level, words + unsure


def _listed(residuals: list[Residual]) -> str:
    names = [_name(r.signal) for r in residuals]
    if len(names) == 1:
        return names[0]
    if len(names) > 4:
        return f"all {len(names)} of the controller's own signals"
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _name(signal: str) -> str:
    return signal.replace("_", " ")


def _residual(
    replay: Replay,
    name: str,
    table: str,
    unit: str,
    measured: FloatArray,
    computed: FloatArray,
) -> Residual:
    both = np.isfinite(measured) & np.isfinite(computed) & replay.valid
    count = int(both.sum())
    nan = float("nan")
    tick_s = replay.ticks.tick_s
    if not count:
        return Residual(name, table, unit, 0.0, nan, nan, nan, nan, nan, nan)
    difference = np.where(both, measured - computed, 0.0)
    largest = int(np.abs(difference).argmax())
    chosen = difference[both]
    tolerance = max(
        FLOORS.get(unit, 0.0),
        RELATIVE * float(np.ptp(measured[both])),
        1e-9 * _size(measured[both]),
    )
    apart = _apart(measured, computed, both)
    return Residual(
        name,
        table,
        unit,
        count * tick_s,
        float(np.sqrt(np.mean(chosen * chosen))),
        float(difference[largest]),
        float(chosen.mean()),
        float(replay.ticks.time[largest]),
        tolerance,
        float((apart[both] <= tolerance).mean()),
    )


def _size(values: FloatArray) -> float:
    return float(np.abs(values).max(initial=0.0))


def _apart(measured: FloatArray, computed: FloatArray, both: BoolArray) -> FloatArray:
    """Return how far each measured value lies from the replayed ones around that moment.

    The band reaches from the smallest to the largest replayed value within `LEEWAY` ticks; it
    does not reach across a gap.
    """
    low, high = computed.copy(), computed.copy()
    for shift in range(1, LEEWAY + 1):
        for ours, theirs in (
            (slice(shift, None), slice(None, -shift)),
            (slice(None, -shift), slice(shift, None)),
        ):
            near = np.where(both[theirs], computed[theirs], computed[ours])
            low[ours] = np.minimum(low[ours], near)
            high[ours] = np.maximum(high[ours], near)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.maximum(np.maximum(low - measured, measured - high), 0.0))
