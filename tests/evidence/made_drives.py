"""Drives made by hand: ticks with chosen inputs, as a recording would leave them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from calib_model.controller.inputs import INPUT_INDEX, INPUTS
from calib_model.core.calibration_set import CalibrationSet
from calib_model.evidence.ticks import Ticks
from calib_model.store import read_set_here

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
TICK = 0.02


def ticks_of(
    seconds: float, *, valid: Any = None, signals: Any = None, tick_s: float = TICK, **inputs: Any
) -> Ticks:
    """Return ticks: each input a number, an array of one value per tick, or a function of time."""
    time = np.arange(round(seconds / tick_s)) * tick_s
    rows = np.full((time.size, len(INPUTS)), np.nan)
    for name, given in inputs.items():
        rows[:, INPUT_INDEX[name]] = given(time) if callable(given) else given
    good = np.ones(time.size, dtype=bool) if valid is None else np.asarray(valid)
    present = tuple(name for name in INPUT_INDEX if name in inputs)
    return Ticks(time, rows, good, present, dict(signals or {}), tick_s=tick_s)


def sample(name: str) -> CalibrationSet:
    """Return a sample set by its short name."""
    path = SAMPLES / f"larch_{name}.h5"
    return read_set_here(path.read_bytes(), path).set


def winter_round(seconds: float = 120.0, **more: Any) -> Ticks:
    """Start, stop and turn on snow at -8 degC: every input of the law is there."""

    def speed(t: np.ndarray) -> np.ndarray:
        return np.abs(28 * np.sin(t / 9) + 14 * np.sin(t / 3.1))

    def pedal(t: np.ndarray) -> np.ndarray:
        return np.clip(45 * np.sin(t / 4 + 0.4) + 30 * np.sin(t / 1.3), 0, 100)

    given: dict[str, Any] = {
        "ambient_temperature": lambda t: -8 + 0.01 * t,
        "pedal": pedal,
        "vehicle_speed": speed,
        "wiper_state": lambda t: (t // 40) % 2,
        "brake_state": lambda t: (t % 37 > 35).astype(float),
        "steering_angle": lambda t: 380 * np.sin(t / 7),
        "lateral_acceleration": lambda t: 3.5 * np.sin(t / 7),
        "yaw_rate": lambda t: 12 * np.sin(t / 7),
        "axle_speed_difference": lambda t: np.clip(18 * np.sin(t / 2.3), -1, None),
        "oil_temperature": 5.0,
        "motor_temperature": -5.0,
        "shaft_speed": lambda t: speed(t) / 3.6 / 0.335 * 2.6,
        "shaft_synchronised": -1.0,
        "grade": 2.0,
        "inside_brake_request": 0.0,
    }
    return ticks_of(seconds, **{**given, **more})
