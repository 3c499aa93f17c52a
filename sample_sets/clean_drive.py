"""A drive as it would be recorded without faults: sensors, and what the torque law commanded.

The law runs over the very samples that are written.  Those that are kept beside the recordings may
be given instead of the script's own: the two can differ by a digit from one processor to another,
because elementary functions differ in their last bits there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib_model.controller.binding import bind
from calib_model.controller.constants import LARCH
from calib_model.controller.law import Run, run
from calib_model.controller.outputs import DISCONNECTED, OPENING, SPIN_UP
from calib_model.core.calibration_set import CalibrationSet
from calib_model.evidence.mapping import suggest
from calib_model.evidence.recording import Channel, Recording
from calib_model.evidence.ticks import on_ticks
from sample_sets.drives import BASE_RATE, KMH_PER_SHAFT, STEPS, Script, exact_signals, signals
from sample_sets.planting import Written

Array = npt.NDArray[np.float64]
_COMMANDED = ("torque", "clamp", "current", "state")


@dataclass(frozen=True)
class Drive:
    """A drive.

    Parameters
    ----------
    clean : dict of name to array
        Samples of each column at its rate, rounded to its digits.
    exact : dict of name to array
        What they were rounded from, in the column's unit.
    slack : dict of name to float
        How far a clean sample may lie from the exact one, in the column's unit: half a step of
        the sensor, half a written digit, and what follows from the steps of what it is made of.
    """

    clean: dict[str, Array]
    exact: dict[str, Array]
    slack: dict[str, float]


def drive(
    script: Script,
    columns: Sequence[Written],
    content: CalibrationSet,
    kept: Mapping[str, Array] | None = None,
) -> Drive:
    """Return a drive by its script.

    Parameters
    ----------
    script : Script
    columns : sequence of Written
    content : CalibrationSet
        The set in the vehicle.
    kept : dict of name to array, optional
        Clean samples that the law is to run over, in place of the script's.
    """
    raw = signals(script, content)
    # The law estimates the plate temperature, which is recorded all the same: the law runs once
    # to have one, and then over the recorded one.
    for _ in range(2):
        recording = _recording(raw, columns, kept or {})
        found, tick_s = law_along(recording, content)
        _fill(raw, found, tick_s)
    exact = {**raw, **exact_signals(script, content)}
    at = {c.name: slice(None, None, BASE_RATE // c.rate) for c in columns}
    return Drive(
        {c.name: _rounded(raw[c.signal][at[c.name]], c) for c in columns},
        {c.name: exact[c.signal][at[c.name]] * c.factor for c in columns},
        {c.name: 0.5 * (_step(c.signal) * c.factor + 10.0**-c.digits) for c in columns},
    )


def law_along(recording: Recording, content: CalibrationSet) -> tuple[Run, float]:
    """Return the law's run over a recording, and its tick in s."""
    ticks = on_ticks(recording, suggest(recording), LARCH)
    return run(bind(content, LARCH), ticks.inputs, valid=ticks.valid), ticks.tick_s


def clean_recording(clean: Mapping[str, Array], columns: Sequence[Written]) -> Recording:
    """Return what would be recorded without faults, less what the controller commands."""
    channels = {}
    for column in columns:
        if column.name in clean and column.signal not in _COMMANDED:
            values = clean[column.name]
            time = np.arange(values.size) / column.rate
            good = np.ones(values.size, dtype=np.bool_)
            channels[column.name] = Channel(
                column.name, column.unit, time, values, good, "", 1 / column.rate
            )
    return Recording("clean", "", channels)


def _recording(
    raw: Mapping[str, Array], columns: Sequence[Written], kept: Mapping[str, Array]
) -> Recording:
    clean = {
        c.name: kept.get(c.name, _rounded(raw[c.signal][:: BASE_RATE // c.rate], c))
        for c in columns
        if c.signal in raw
    }
    return clean_recording(clean, columns)


def _rounded(values: Array, column: Written) -> Array:
    return np.asarray(np.round(values * column.factor, column.digits) + 0.0)  # never -0


def _step(signal: str) -> float:
    if signal == "shaft_speed":  # follows from two wheel speeds, each in its steps
        return STEPS["wheel_speed_fl"] / KMH_PER_SHAFT
    return STEPS.get(signal, 0.0)


def _fill(raw: dict[str, Array], found: Run, tick_s: float) -> None:
    """Add what the law commanded, held between ticks, and what follows from it."""
    place = np.minimum((raw["time"] / tick_s + 1e-6).astype(np.int64), found.good.size - 1)
    first = int(np.argmax(found.good))
    place = np.maximum(place, first)
    for name in _COMMANDED:
        raw[name] = found.output(name)[place]
    raw.setdefault("plate_temperature", found.output("plate_temperature")[place])
    # The shaft turns with the front wheels while connected, runs down and is spun up again.
    front = 0.5 * (raw["wheel_speed_fl"] + raw["wheel_speed_fr"])
    target = front / 3.6 / LARCH.wheel_radius * LARCH.rear_ratio
    shaft = target.copy()
    for n in range(1, shaft.size):
        state = raw["state"][n]
        if state == DISCONNECTED:
            shaft[n] = max(0.0, shaft[n - 1] - 90.0 / BASE_RATE)
        elif state in (OPENING, SPIN_UP) and shaft[n - 1] < target[n] - 1:
            shaft[n] = min(target[n], shaft[n - 1] + 900.0 / BASE_RATE)
    raw["shaft_speed"] = shaft
