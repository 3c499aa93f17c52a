"""Turns a recording and its replay into what is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from app.road.recordings.scene import Band, Scene, Strip, Trace, spans_of
from app.road.recordings.work import Outcome
from calib_model.controller.law import OUTPUT_INDEX
from calib_model.core.arrays import FloatArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import ROLES

if TYPE_CHECKING:
    from calib_model.evidence.recording import Recording
    from calib_model.evidence.replay import Replay

MINUS = "\N{MINUS SIGN}"


def set_name(content: CalibrationSet) -> str:
    """Return what a set is called beside A or B."""
    return content.mode or content.label


def scene_of(outcome: Outcome, recording: Recording) -> Scene:
    """Return the scene of a replay: speed, torque, difference, slip, governing tables."""
    ticks, a, b = outcome.ticks, outcome.a, outcome.b
    torque, slip = OUTPUT_INDEX["torque"], OUTPUT_INDEX["slip"]
    strips = []
    speed = ticks.known.get("vehicle_speed")
    if speed is not None:
        strips.append(Strip("speed", "Speed", "km/h", (Trace("vehicle speed", speed),)))
    commanded_a = a.run.outputs[:, torque]
    traces = [Trace(f"commanded, A ({set_name(outcome.sets.a)})", commanded_a, "a")]
    if b is not None and outcome.sets.b is not None:
        commanded_b = b.run.outputs[:, torque]
        traces.append(Trace(f"commanded, B ({set_name(outcome.sets.b)})", commanded_b, "b"))
    measured = ticks.signals.get("torque")
    if measured is not None:
        traces.append(Trace("in the vehicle", measured, "measured"))
    strips.append(Strip("torque", "Clutch torque", "N.m", tuple(traces)))
    if b is not None:
        difference = Trace(f"B {MINUS} A", commanded_b - commanded_a)
        strips.append(Strip("difference", f"B {MINUS} A", "N.m", (difference,)))
    strips.append(Strip("slip", "Slip", "km/h", (Trace("slip", a.run.outputs[:, slip]),)))
    bands = [_band("A", a, outcome.sets.a)]
    if b is not None and outcome.sets.b is not None:
        bands.append(_band("B", b, outcome.sets.b))
    masked = spans_of(ticks.time, ~ticks.valid)
    return Scene(ticks.time, tuple(strips), tuple(bands), masked, _fault_starts(recording))


def _band(letter: str, replay: Replay, content: CalibrationSet) -> Band:
    return Band(f"{letter} is decided by", letter, replay.run.governing, role_words(replay))


def role_words(replay: Any) -> Mapping[int, str]:
    """Return what each role is called: by the label of the table that plays it."""
    words = {}
    for number, role in enumerate(ROLES):
        table = replay.roles.get(role)
        words[number] = table.label if table is not None else role.replace("_", " ")
    return words


def raw_scene(recording: Recording) -> Scene:
    """Return a scene of the recording alone, while there is no replay: its first channels."""
    chosen = [c for c in recording.channels.values() if c.time.size][:4]
    if not chosen:
        return Scene(np.empty(0))
    first, last = recording.span
    step = 0.02
    time = np.arange(first, last + step / 2, step)
    strips = [Strip(c.name, c.name, c.unit, (Trace(c.name, _held(c, time)),)) for c in chosen]
    return Scene(time, tuple(strips), faults=_fault_starts(recording))


def _fault_starts(recording: Recording) -> FloatArray:
    starts = np.array([fault.start_s for fault in recording.faults], dtype=np.float64)
    return np.unique(starts[np.isfinite(starts)])


def _held(channel: Any, time: FloatArray) -> FloatArray:
    """Return the last sample at each time; NaN where it is masked or too old."""
    place = np.searchsorted(channel.time, time, side="right") - 1
    sample = np.clip(place, 0, None)
    values = channel.masked()[sample]
    old = time - channel.time[sample] > channel.longest_hold
    return np.where((place < 0) | old, np.nan, values)
