"""Metrics: what is read off a drive, each with its unit and the direction that is better.

All are desk estimates.  What the model cannot give (jolt, stick-slip noise) is not here: it has no
compliant half-shafts and no gearbox.  Where a metric has no value it says why, in words.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

import numpy as np

from ..core.arrays import BoolArray, FloatArray

if TYPE_CHECKING:
    from ..controller.binding import Bound
    from .manoeuvres import Manoeuvre
    from .parameters import Vehicle
    from .trace import Trace

Better = Literal["lower", "higher", "neither"]
BETTER_WORDS: Mapping[Better, str] = MappingProxyType(
    {"lower": "lower is better", "higher": "higher is better", "neither": "neither way is better"}
)


FLOORS: Mapping[str, tuple[float, str]] = MappingProxyType(
    {
        "s": (0.001, "the model's step"),
        "m": (0.001, "a millimetre, which no measurement of a drive tells"),
        "km/h": (0.05, "the resolution of the wheel speeds"),
        "N.m": (0.1, "a fifth of the step in which torques are stored"),
        "%": (0.05, "half of the last digit shown"),
        "Hz": (0.005, "the rounding of a line's place in the spectrum"),
        "degC": (0.05, "half of the last digit that sensors give"),
        "kJ": (0.01, "what the energy ledger does not close by"),
        "1/h": (0.5, "less than one more in two hours"),
        "deg/(m/s2)": (0.001, "what noise of the sensors leaves"),
    }
)
"""Smallest change that means something, by unit, and where it is from: below it two values are the
same.  Rounding is far below: a billionth more wheel radius moves no metric of the built-in
manoeuvres by a hundredth of it (tested)."""


class NoValue(Exception):
    """A metric has no value in this drive; the text says why, as a sentence."""


@dataclass(frozen=True, eq=False)
class DrivenRun:
    """What a metric is computed from.

    Parameters
    ----------
    trace : Trace
    manoeuvre : Manoeuvre
    vehicle : Vehicle
    bound : Bound
        What the controller believed.
    again : callable
        Drives another manoeuvre with everything else alike; returns its trace.
    counterpart : Trace or None
        The drive that changes are against; see `Manoeuvre.counterpart`.
    """

    trace: Trace
    manoeuvre: Manoeuvre
    vehicle: Vehicle
    bound: Bound
    again: Callable[[Manoeuvre], Trace]
    counterpart: Trace | None = None

    @property
    def time(self) -> FloatArray:
        """Time in s."""
        return self.trace.columns["time"]

    def __getitem__(self, name: str) -> FloatArray:
        return self.trace[name]

    @property
    def pedal_start(self) -> float:
        """When the driver begins to press the accelerator, s; 0 if at once or never."""
        points = self.manoeuvre.driver.pedal
        for (begin, _), (_, value) in itertools.pairwise(points):
            if value > 0:
                return max(begin, 0.0)
        return 0.0

    def since(self, start: float, end: float = np.inf) -> BoolArray:
        """Return the ticks from `start` to before `end`, both in s."""
        return (self.time >= start - 1e-9) & (self.time < end - 1e-9)


@dataclass(frozen=True)
class Metric:
    """One metric.

    Parameters
    ----------
    name : str
        Key in files.
    label : str
    unit : str
    better : str
        ``lower``, ``higher`` or ``neither``.
    how : str
        How it is read off, in a sentence.
    compute : callable
        Returns the value, or raises `NoValue`.
    """

    name: str
    label: str
    unit: str
    better: Better
    how: str
    compute: Callable[[DrivenRun], float]

    @property
    def floor(self) -> float:
        """Smallest change that means something; see `FLOORS`."""
        return FLOORS[self.unit][0]


@dataclass(frozen=True)
class Reading:
    """A metric of one drive.

    Parameters
    ----------
    metric : Metric
    value : float or None
    why : str
        Why there is no value; empty if there is one.
    limit : float or None
        What the user set.
    """

    metric: Metric
    value: float | None
    why: str = ""
    limit: float | None = None

    @property
    def name(self) -> str:
        """The metric's name."""
        return self.metric.name

    @property
    def beyond(self) -> bool:
        """Whether the value is on the wrong side of the user's limit."""
        if self.value is None or self.limit is None:
            return False
        return (
            self.value < self.limit if self.metric.better == "higher" else self.value > self.limit
        )


def read(one: Metric, drive: DrivenRun) -> Reading:
    """Read a metric off a drive.

    Parameters
    ----------
    one : Metric
    drive : DrivenRun
    """
    limit = drive.manoeuvre.limits.get(one.name)
    if not drive.trace.completed:
        return Reading(one, None, f"The drive did not end as meant: {drive.trace.why}", limit)
    try:
        value = float(one.compute(drive))
    except NoValue as none:
        return Reading(one, None, str(none), limit)
    if not np.isfinite(value):
        return Reading(one, None, "The drive left no number to read.", limit)
    return Reading(one, value, "", limit)
