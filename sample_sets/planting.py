"""Faults planted in a clean recording: gaps, wrong time stamps, drop-outs, each of them told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Planted:
    """One planted fault.

    Parameters
    ----------
    kind : str
        As `calib_model.evidence.recording` names it.
    channels : tuple of str
        Every channel it is in.
    start_s, end_s : float
        See `calib_model.evidence.recording.Fault`.
    count : int
        Samples to be masked or left out.
    """

    kind: str
    channels: tuple[str, ...]
    start_s: float
    end_s: float
    count: int


@dataclass(frozen=True)
class Written:
    """A column as it is written.

    Parameters
    ----------
    name, unit : str
        In the file.
    signal : str
        The controller's name of what it carries.
    rate : int
        Samples per second.
    digits : int
        After the decimal point.
    factor : float
        From the controller's unit to the file's.
    """

    name: str
    unit: str
    signal: str
    rate: int
    digits: int
    factor: float = 1.0


class Made:
    """A recording with its truth: clean samples, and the faults planted in them.

    Parameters
    ----------
    columns : sequence of Written
    clean : dict of name to array
        The samples of each column at its rate, as they are to be written, from 0 s on.

    Attributes
    ----------
    columns : tuple of Written
    time : dict of rate to array
        Time stamps as written, faults included.
    values : dict of name to array
        Samples as written, NaN for ``nan``; an empty cell is in `empty`.
    empty : dict of name to bool array
    clean : dict of name to (time, values)
        Without any fault.
    planted : tuple of Planted
    """

    def __init__(self, columns: Sequence[Written], clean: Mapping[str, Array]) -> None:
        self.columns = tuple(columns)
        self.time: dict[int, Array] = {}
        for column in columns:
            self.time.setdefault(column.rate, np.arange(clean[column.name].size) / column.rate)
        self.values = {c.name: clean[c.name].copy() for c in columns}
        self.empty = {c.name: np.zeros(clean[c.name].size, dtype=np.bool_) for c in columns}
        self.clean = {c.name: (self.time[c.rate].copy(), clean[c.name]) for c in columns}
        self.planted: tuple[Planted, ...] = ()

    def of_rate(self, rate: int) -> tuple[str, ...]:
        """Names of the channels of a rate."""
        return tuple(c.name for c in self.columns if c.rate == rate)

    def peak(self, name: str) -> tuple[float, float]:
        """Smallest and largest value among the samples that no fault touches."""
        time, values = self.clean[name]
        good = np.ones(time.size, dtype=np.bool_)
        for fault in self.planted:
            if name in fault.channels and fault.kind == "gap":
                good &= (time <= fault.start_s) | (time >= fault.end_s)
            elif name in fault.channels and fault.kind in ("drop-out", "out of range"):
                good &= (time < fault.start_s - 1e-9) | (time > fault.end_s + 1e-9)
        return float(values[good].min()), float(values[good].max())

    # -- faults -----------------------------------------------------------------------------

    def gap(self, start: float, end: float) -> None:
        """The recorder pauses: nothing of any rate between two moments."""
        for rate, time in self.time.items():
            keep = (time <= start) | (time >= end)
            names = self.of_rate(rate)
            if not keep.all() and np.diff(time[keep]).max(initial=0) > 2.5 / rate + 1e-9:
                first, last = time[time <= start][-1], time[time >= end][0]
                if last - first > 2.5 / rate + 1e-9:
                    self._plant(Planted("gap", names, float(first), float(last), 0))
            self.time[rate] = time[keep]
            for name in names:
                self.values[name] = self.values[name][keep]
                self.empty[name] = self.empty[name][keep]

    def duplicates(self, rate: int, at: float, count: int) -> None:
        """A row of a rate is written again, with values that are a little off."""
        place = int(np.searchsorted(self.time[rate], at - 1e-9))
        stamp = self.time[rate][place]
        self.time[rate] = np.insert(self.time[rate], place + 1, np.full(count, stamp))
        for name in self.of_rate(rate):
            again = np.full(count, self.values[name][place])
            again = again if name in ("shaft_state",) else again + 0.5
            self.values[name] = np.insert(self.values[name], place + 1, again)
            self.empty[name] = np.insert(self.empty[name], place + 1, np.zeros(count, np.bool_))
        self._plant(
            Planted("duplicate stamp", self.of_rate(rate), float(stamp), float(stamp), count)
        )

    def backward(self, rate: int, at: float, count: int, shift: float) -> None:
        """The clock is off by `shift` s for some rows of a rate."""
        place = int(np.searchsorted(self.time[rate], at - 1e-9))
        rows = slice(place, place + count)
        self.time[rate][rows] = np.round(self.time[rate][rows] + shift, 4)
        stamps = self.time[rate][rows]
        self._plant(
            Planted("backward stamp", self.of_rate(rate), float(stamps.min()),
                    float(stamps.max()), count)
        )  # fmt: skip

    def drop_out(
        self, name: str, start: float, seconds: float, value: float, kind: str = "drop-out"
    ) -> None:
        """A channel reads something else: NaN for ``nan``, zero, a filler, a spike."""
        rate = next(c.rate for c in self.columns if c.name == name)
        time = self.time[rate]
        rows = np.flatnonzero((time >= start - 1e-9) & (time < start + seconds - 1e-9))
        self.values[name][rows] = value
        ends = float(time[rows[0]]), float(time[rows[-1]])
        self._plant(Planted(kind, (name,), *ends, int(rows.size)))

    def silence(self, name: str, start: float, end: float) -> None:
        """A channel's cells stay empty for a while, as if it were not sent."""
        rate = next(c.rate for c in self.columns if c.name == name)
        time = self.time[rate]
        rows = (time > start + 1e-9) & (time < end - 1e-9)
        self.empty[name][rows] = True
        first, last = (
            time[~rows & (time <= start + 1e-9)][-1],
            time[~rows & (time >= end - 1e-9)][0],
        )
        self._plant(Planted("gap", (name,), float(first), float(last), 0))

    def _plant(self, fault: Planted) -> None:
        self.planted = (*self.planted, fault)
