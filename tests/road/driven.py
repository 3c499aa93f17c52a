"""A small recording of a snowy drive whose truth is known: for tests of the window.

The controller's torque in it is the replay of the set that is named as having been in the
vehicle, so that the replay of that set agrees with it and that of another does not.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calib_model.controller.constants import LARCH
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import digest
from calib_model.evidence.mapping import suggest
from calib_model.evidence.reading import read_recording
from calib_model.evidence.replay import replay
from calib_model.evidence.ticks import on_ticks

RATE = 0.02
GAP = (20.0, 21.0)
"""No samples between these seconds."""
DOUBLE = 10.0
"""At this second a time stamp comes twice."""


@dataclass(frozen=True)
class Driven:
    """A file, and what lies in it."""

    path: Path
    seconds: float
    set_digest: str


def write_drive(
    path: Path,
    content: CalibrationSet,
    *,
    seconds: float = 40.0,
    says_set: bool = True,
    own_signals: bool = True,
) -> Driven:
    """Write a recording of a launch on snow, a bend and a cruise."""
    time = np.round(np.arange(0.0, seconds, RATE), 3)
    rng = np.random.default_rng(11)
    speed = 60 * np.clip(time / 15, 0, 1) + 3 * np.sin(time / 3) * (time > 15)
    slip = 6 * np.exp(-((time - 3) ** 2) / 4) + 4 * np.exp(-((time - 27) ** 2) / 2)
    columns = {
        "ambient_temperature [degC]": np.full(time.size, -8.0),
        "pedal [%]": np.clip(45 - 1.2 * time + 20 * np.sin(time / 2), 0, 100),
        "vehicle_speed [km/h]": np.abs(speed),
        "wheel_speed_fl [km/h]": np.abs(speed) + slip + 0.05 * rng.normal(size=time.size),
        "wheel_speed_fr [km/h]": np.abs(speed) + slip + 0.05 * rng.normal(size=time.size),
        "wheel_speed_rl [km/h]": np.abs(speed),
        "wheel_speed_rr [km/h]": np.abs(speed),
        "steering_angle [deg]": 40 * np.sin(time / 4) * (time > 12),
        "yaw_rate [deg/s]": 4 * np.sin(time / 4) * (time > 12),
        "lateral_acceleration [m/s2]": 1.5 * np.sin(time / 4) * (time > 12),
        "oil_temperature [degC]": np.full(time.size, 40.0),
        "motor_temperature [degC]": np.full(time.size, 35.0),
    }
    columns = {name: np.round(values, 3) for name, values in columns.items()}
    digest_line = f"# set digest: {digest(content)}\n" if says_set else ""
    head = f"# start: 2026-01-14T07:30:00\n{digest_line}"
    keep = (time < GAP[0]) | (time >= GAP[1])
    if own_signals:
        _write(path, head, time[keep], {n: v[keep] for n, v in columns.items()})
        recording = read_recording(path)
        ticks = on_ticks(recording, suggest(recording), LARCH)
        torque = replay(content, ticks, LARCH).output("torque")
        own = np.interp(time, ticks.time, np.nan_to_num(torque))
        columns["clutch_torque [N.m]"] = np.round(own, 3)
    _write(path, head, time[keep], {n: v[keep] for n, v in columns.items()}, double=DOUBLE)
    return Driven(path, float(time[-1] - time[0]), digest(content))


def _write(
    path: Path,
    head: str,
    time: np.ndarray,
    columns: dict[str, np.ndarray],
    double: float | None = None,
) -> None:
    lines = [head + ",".join(["time [s]", *columns])]
    for row, stamp in enumerate(time.tolist()):
        cells = ",".join(repr(float(values[row])) for values in columns.values())
        lines.append(f"{stamp:.3f},{cells}")
        if double is not None and abs(stamp - double) < RATE / 2:
            lines.append(f"{stamp:.3f},{cells}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
