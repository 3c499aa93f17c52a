"""A vehicle recording: channels on their own time stamps, and what is wrong with them.

Nothing is filled in.  What cannot be trusted is masked (``valid``) and listed (`Fault`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..errors import ModelError

GAP = "gap"
DUPLICATE = "duplicate stamp"
BACKWARD = "backward stamp"
NO_STAMP = "no stamp"
DROP_OUT = "drop-out"
FROZEN = "frozen"
OUT_OF_RANGE = "out of range"
DAMAGED_ROW = "damaged row"
KINDS = (GAP, DUPLICATE, BACKWARD, NO_STAMP, DROP_OUT, FROZEN, OUT_OF_RANGE, DAMAGED_ROW)

GAP_PERIODS = 2.5
"""A hole longer than this many sample periods is a gap: one sample may be late, two not."""


@dataclass(frozen=True)
class Fault:
    """Something in a recording that is masked.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    channel : str
        The channel's name, or which channels in words (``12 channels at 50 Hz``).
    start_s, end_s : float
        From where to where in s: the good samples around a gap; the first and the last masked
        sample otherwise.  NaN for a fault that has no place in time.
    count : int
        Samples masked; 0 for a gap.
    words : str
        A sentence for the list.
    channels : tuple of str
        Every channel concerned.
    """

    kind: str
    channel: str
    start_s: float
    end_s: float
    count: int
    words: str
    channels: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.end_s - self.start_s


@dataclass(frozen=True, eq=False)
class Channel:
    """One signal of a recording.

    Parameters
    ----------
    name, unit : str
        The unit as this program writes it; empty if the file states none.
    time : float array, shape (n,), s
        Strictly increasing.  Channels of one rate share the array.
    values : float array, shape (n,)
    valid : bool array, shape (n,)
        False for a sample that is not to be used; its value may be anything.
    comment : str
    period : float
        Usual distance of samples in s; NaN if they come irregularly or there is but one.
    """

    name: str
    unit: str
    time: FloatArray
    values: FloatArray
    valid: BoolArray
    comment: str = ""
    period: float = math.nan

    def __post_init__(self) -> None:
        if not self.time.shape == self.values.shape == self.valid.shape or self.time.ndim != 1:
            raise ModelError(
                f"Channel {self.name!r}: time, values and valid differ in length.",
                "Give one time stamp and one mark per value.",
            )

    @property
    def longest_hold(self) -> float:
        """How long in s a sample stands for its signal; infinite if samples come irregularly."""
        return GAP_PERIODS * self.period if math.isfinite(self.period) else math.inf

    @cached_property
    def extremes(self) -> tuple[float, float]:
        """Smallest and largest valid value; NaN if there is none."""
        if not self.valid.any():
            return math.nan, math.nan
        low = np.min(self.values, where=self.valid, initial=math.inf)
        high = np.max(self.values, where=self.valid, initial=-math.inf)
        return float(low), float(high)

    def masked(self) -> FloatArray:
        """Return the values, NaN where not valid, shape (n,)."""
        return np.where(self.valid, self.values, math.nan)

    def whole(self) -> tuple[FloatArray, FloatArray]:
        """Return time and values for drawing: NaN where not valid, and one NaN inside each gap.

        Returns
        -------
        time : ndarray of float64, shape (m,)
            Seconds.
        values : ndarray of float64, shape (m,)
        """
        hold = self.longest_hold
        holes = np.flatnonzero(np.diff(self.time) > hold) if math.isfinite(hold) else np.empty(0)
        values = self.masked()
        if not holes.size:
            return self.time, values
        after = holes.astype(np.int64) + 1
        middle = 0.5 * (self.time[after - 1] + self.time[after])
        return np.insert(self.time, after, middle), np.insert(values, after, math.nan)


@dataclass(frozen=True, eq=False)
class Recording:
    """What a vehicle recorded.

    Parameters
    ----------
    name : str
        For lists: the file's name without its folder.
    sha256 : str
        Of the file's bytes.
    channels : mapping of name to Channel
        In the file's order.
    faults : tuple of Fault
        In order of time.
    start : str
        ISO 8601 date-time of time zero; empty if the file does not say.
    vehicle_set_digest : str
        Digest of the set that was in the vehicle; empty if the file does not say.
    source : str
        Path it was read from.
    comment : str
    remarks : tuple of str
        What the reader left out or took for granted.
    """

    name: str
    sha256: str
    channels: Mapping[str, Channel]
    faults: tuple[Fault, ...] = ()
    start: str = ""
    vehicle_set_digest: str = ""
    source: str = ""
    comment: str = ""
    remarks: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        object.__setattr__(self, "channels", MappingProxyType(dict(self.channels)))

    def __reduce__(self) -> tuple[Any, ...]:
        plain = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return (_rebuilt, ({**plain, "channels": dict(self.channels)},))

    @cached_property
    def span(self) -> tuple[float, float]:
        """First and last time stamp in s; (0, 0) without samples."""
        times = [c.time for c in self.channels.values() if c.time.size]
        if not times:
            return 0.0, 0.0
        return min(float(t[0]) for t in times), max(float(t[-1]) for t in times)

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.span[1] - self.span[0]

    def channel(self, name: str) -> Channel:
        """Return a channel by its name.

        Raises
        ------
        ModelError
        """
        found = self.channels.get(name)
        if found is None:
            raise ModelError(
                f"Recording {self.name} has no channel {name!r}.",
                f"It has: {', '.join(list(self.channels)[:40])}.",
            )
        return found


def _rebuilt(plain: dict[str, Any]) -> Recording:
    return Recording(**plain)
