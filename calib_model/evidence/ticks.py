"""A recording on the controller's ticks, as the controller saw it: the last sample, held.

A sample stands for its signal until the next one, but no longer than a stated time; after that
the tick is masked.  Nothing is interpolated.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from ..controller.constants import Constants
from ..controller.derived import DERIVED, derive
from ..controller.inputs import INPUT_INDEX, INPUTS
from ..core.arrays import BoolArray, FloatArray
from ..core.units import convert
from ..errors import ModelError, UnitProblem
from .mapping import OWN, TARGETS, ChannelMap, Constant, FromChannel
from .recording import Channel, Recording

IRREGULAR_HOLD = 2.0
"""How long in s a sample counts where samples come irregularly, so that no gap can be told."""
SAME_INSTANT = 1e-6
"""A sample so many seconds after a tick counts as being there at the tick: stamps are rounded."""
MOST_TICKS = 1_000_000
"""Over five hours at 20 ms.  A tick takes half a kilobyte with all inputs, given and derived."""
FEW_TICKS = 200_000
"""An hour at 20 ms, for whatever recording..."""
TICKS_PER_SAMPLE = 100
"""...and so many more per sample of its fullest channel, which is `IRREGULAR_HOLD` at 20 ms: beyond
that most ticks would be empty, and the stamps do not belong together."""


@dataclass(frozen=True, eq=False)
class Ticks:
    """What the controller read, tick by tick.

    Parameters
    ----------
    time : float array, shape (T,), s
        In the recording's own time.
    inputs : float array, shape (T, len(INPUTS))
        NaN where an input is not there, or not at that tick.
    valid : bool array, shape (T,)
        Where every input in `present` is there.
    present : tuple of str
        Inputs that are given or derived.
    signals : mapping of str to float array, shape (T,)
        The controller's own signals, by the name of the torque law's output.
    remarks : tuple of str
        What was held, taken for granted or left out.
    tick_s : float
    known : mapping of str to float array, shape (T,)
        Everything given or derived, wheel speeds included, for plots.
    holds : mapping of str to float
        By target: how long in s a sample counts.
    """

    time: FloatArray
    inputs: FloatArray
    valid: BoolArray
    present: tuple[str, ...]
    signals: Mapping[str, FloatArray]
    remarks: tuple[str, ...] = ()
    tick_s: float = 0.02
    known: Mapping[str, FloatArray] = field(default_factory=dict)
    holds: Mapping[str, float] = field(default_factory=dict)

    def input(self, name: str) -> FloatArray:
        """Return an input, shape (T,)."""
        return self.inputs[:, INPUT_INDEX[name]]

    @property
    def seconds(self) -> float:
        """How long the valid ticks last together."""
        return float(np.count_nonzero(self.valid) * self.tick_s)


def on_ticks(
    recording: Recording,
    channel_map: ChannelMap,
    constants: Constants,
    tick_s: float | None = None,
    *,
    hold_s: float | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
) -> Ticks:
    """Bring a recording to the controller's ticks.

    Parameters
    ----------
    recording : Recording
    channel_map : ChannelMap
    constants : Constants
        What the controller knows of the vehicle, for derived inputs.
    tick_s : float, optional
        The constants' tick by default.
    hold_s : float, optional
        How long a sample counts; by default 2.5 times its channel's period, or `IRREGULAR_HOLD`.
    start_s, end_s : float, optional
        The part of the recording to use; all of it by default.

    Raises
    ------
    ModelError
        If the map names a channel that is not there, or the stamps span too long a time.
    UnitProblem
        If a channel's unit is of another kind than its target's.
    """
    tick = constants.tick if tick_s is None else tick_s
    grid = _grid(recording, tick, start_s, end_s)
    held = _Held(grid)
    remarks: list[str] = []
    given: dict[str, FloatArray] = {}
    holds: dict[str, float] = {}
    units_taken = []
    for name, source in channel_map.sources.items():
        target = TARGETS[name]
        if isinstance(source, Constant):
            value = float(convert(source.value, source.unit or target.unit, target.unit))
            given[name] = np.full(grid.size, value)
            said = target.said(value)
            remarks.append(f"{target.label} is not recorded; {said} is taken throughout.")
            continue
        channel = recording.channel(source.channel)
        hold = hold_s if hold_s is not None else channel.longest_hold
        holds[name] = hold if math.isfinite(hold) else IRREGULAR_HOLD
        values = held.values(channel, holds[name])
        unit = source.unit or channel.unit
        if not unit:
            unit = target.unit
            if target.unit not in ("", "-", "0/1"):
                units_taken.append(f"{channel.name} ({target.unit})")
        given[name] = _converted(values, unit, target.unit, source, name)
    if units_taken:
        remarks.append(f"These channels state no unit: {', '.join(units_taken)} was taken.")
    remarks += _held_words(holds)
    signals = {n.removeprefix(OWN): v for n, v in given.items() if n.startswith(OWN)}
    known = derive({n: v for n, v in given.items() if not n.startswith(OWN)}, constants)
    inputs = np.full((grid.size, len(INPUTS)), math.nan)
    formulas = {d.name: d.formula for d in DERIVED}
    present = []
    for one in INPUTS:
        if one.name not in known or (one.computed and one.name not in given):
            continue  # the law works out the rest itself, with the same formulas
        inputs[:, INPUT_INDEX[one.name]] = known[one.name]
        present.append(one.name)
        if one.name not in given:
            words = one.name.replace("_", " ")
            remarks.append(f"{words} is derived: {formulas[one.name]}.")
    columns = [INPUT_INDEX[name] for name in present]
    valid = (
        np.isfinite(inputs[:, columns]).all(axis=1)
        if columns
        else np.zeros(grid.size, dtype=np.bool_)
    )
    return Ticks(
        grid, inputs, valid, tuple(present), MappingProxyType(signals), tuple(remarks), tick,
        MappingProxyType(known), MappingProxyType(holds),
    )  # fmt: skip


def _grid(recording: Recording, tick: float, start: float | None, end: float | None) -> FloatArray:
    if not tick > 0:
        raise ModelError(f"A tick of {tick} s cannot be.", "Give a tick such as 0.02 s.")
    first, last = recording.span
    first = first if start is None else max(first, start)
    last = last if end is None else min(last, end)
    count = (last - first) / tick + 1
    samples = max([0, *(c.time.size for c in recording.channels.values())])
    most = min(MOST_TICKS, FEW_TICKS + TICKS_PER_SAMPLE * samples)
    if not math.isfinite(count) or count > most:
        raise ModelError(
            f"The time stamps of {recording.name} span {last - first:.6g} s, with at most "
            f"{samples} samples in a channel; at ticks of {tick:g} s at most {most * tick:.6g} s "
            "are looked at.",
            "Look at its channels for stamps that do not belong to the others, or cut it in parts.",
        )
    return np.asarray(first + tick * np.arange(max(0, math.floor(count + 1e-6))), dtype=np.float64)


class _Held:
    """The newest sample at each tick; channels of one rate share the search."""

    def __init__(self, grid: FloatArray) -> None:
        self._grid = grid
        self._places: dict[int, tuple[FloatArray, npt.NDArray[np.int64]]] = {}

    def values(self, channel: Channel, hold: float) -> FloatArray:
        """Return what a channel showed at each tick, NaN where nothing valid is young enough."""
        if not channel.time.size:
            return np.full(self._grid.size, math.nan)
        place = self._newest(channel.time)
        if not channel.valid.all():
            # The newest that is valid: a reading lost for a moment leaves the one before.
            own = np.where(channel.valid, np.arange(channel.time.size), -1)
            newest = np.maximum.accumulate(own)
            place = np.where(place >= 0, newest[place], -1)
        there = np.maximum(place, 0)
        age = self._grid - channel.time[there]
        good = (place >= 0) & (age <= hold + SAME_INSTANT)
        return np.where(good, channel.values[there], math.nan)

    def _newest(self, time: FloatArray) -> npt.NDArray[np.int64]:
        kept = self._places.get(id(time))
        if kept is None:
            place = np.searchsorted(time, self._grid + SAME_INSTANT, side="right") - 1
            kept = self._places[id(time)] = (time, np.asarray(place, dtype=np.int64))
        return kept[1]


def _converted(
    values: FloatArray, unit: str, target: str, source: FromChannel, name: str
) -> FloatArray:
    try:
        found = convert(values, unit, target)
    except UnitProblem as problem:
        raise UnitProblem(
            f"Channel {source.channel!r} for {name}: {problem.problem}",
            "Choose another channel, or name the unit it is in.",
        ) from None
    return found if source.factor == 1.0 else found * source.factor


def _held_words(holds: Mapping[str, float]) -> list[str]:
    """Say how long samples count, once per length."""
    lengths: dict[float, int] = {}
    for hold in holds.values():
        rounded = round(hold, 6)
        lengths[rounded] = lengths.get(rounded, 0) + 1
    return [
        f"The last sample is held for at most {length:g} s ({count} signals)."
        for length, count in sorted(lengths.items())
    ]
