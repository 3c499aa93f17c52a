"""How numbers lie in memory for the compiled model: one record type per kind.

Compiled code reads the fields by name; the names of parameters are those of the vehicle file.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from calib_model.core.arrays import FloatArray
from calib_model.vehicle.parameters import PARAMETERS
from calib_model.vehicle.trace import COLUMNS, LEDGER

Records = npt.NDArray[Any]


def _numbers(*names: str) -> np.dtype[Any]:
    return np.dtype([(name, "f8") for name in names])


DERIVED = (
    "body_mass",
    "to_front",
    "to_rear",
    "height",
    "body_inertia",
    "effective_radius",
    "wheelbase",
)
"""What follows from the parameters, beside them."""

VEHICLE = _numbers(*PARAMETERS, *DERIVED)

SCENE = _numbers(
    "step",
    "tick",
    "over_time",
    "speed",
    "heading",
    "connected",
    "ambient_temperature",
    "motor_temperature",
    "oil_temperature",
    "plate_temperature",
    "wiper_state",
    "traction_control",
    "brake_traction",
    "slip_braking",
    "fixed_clutch_torque",
    "fixed_drive_torque",
    "stop_speed",
    "seed",
    "actuator_lag",
    "actuator_rate",
)
"""What a scene says in single numbers; the last two are the actuator's at its temperature."""

STATE = _numbers(
    # body
    "x",
    "y",
    "heading",
    "way",
    "vx",
    "vy",
    "yaw_rate",
    "rate_x",  # rate of the forward speed, m/s2
    "rate_y",  # lateral acceleration, m/s2
    "load_x",  # specific force forward, behind which the wheel loads lag
    "load_y",
    # driveline
    "shaft",  # rad/s
    "connected",
    "dog_wait",  # s since the dog clutch was told to engage
    "clutch_torque",
    "clutch_capacity",
    # actuator
    "clamp",
    "travel",  # clamp, and below zero the way that the plates are open
    "play",  # travel without lag: the hysteresis' turning point
    "current",
    # engine and driver
    "pedal",
    "brake_pedal",
    "steering",
    "drive_torque",
    "traction",  # integral of traction control, 0 to 1
    "pedal_integral",
    "path_row",
    "inside_brake",
    "inside_wanted",
    "brake_active",
    # heat
    "plate",
    "oil",
    # sensors
    "seen_yaw",
    "seen_lateral",
    "seen_forward",
    "speed_estimate",  # km/h, the controller's own
    "random",
    # what is needed between the parts within one step
    "time",
    "steered",  # deg, the steering wheel angle that the front wheels stand at
    "grade",
    "slope_sin",
    "slope_cos",
    "front_rate",
    "clutch_heat",  # J within this tick
)

WHEEL = _numbers(
    "speed",  # rad/s
    "along",  # tyre deflection as slip, along the wheel
    "across",
    "load",
    "fx",
    "fy",
    "vx",  # of the ground contact in the wheel's directions, m/s
    "vy",
    "cos",
    "sin",
    "place_x",
    "place_y",
    "c1",
    "c2",
    "c3",
    "rolling",  # N.m, resistance
    "brake",  # N.m, what the brake can hold
    "let_go",  # share of the brake that lock prevention leaves
    "cap",  # N.m, what brake and rolling resistance can hold together
    "held",  # N.m, what they do hold
    "start",  # N.m, what they held in the step before
    "seen",  # km/h, filtered
    "new",  # rad/s, after this step
)

COLUMN = _numbers(*(name for name, _, _ in COLUMNS))

WORK = _numbers(*(name for name, _ in LEDGER))

# Why a drive ended before its time.
FINE, WHEEL_LIFTS, TOO_FAST, WHEEL_TOO_FAST, NOT_FINITE, STOPPED = range(6)


class Curves(NamedTuple):
    """Lists of numbers of the vehicle, at the actuator's temperature where they depend on it."""

    slip: FloatArray
    temperature: FloatArray
    friction: FloatArray
    drag_oil: FloatArray
    drag: FloatArray
    clamp: FloatArray
    apply: FloatArray
    release: FloatArray
    engine_pedal: FloatArray
    engine_share: FloatArray
    cool_speed: FloatArray
    plate_cooling: FloatArray
    oil_cooling: FloatArray
    cool_oil: FloatArray
    cool_factor: FloatArray


class Course(NamedTuple):
    """Arrays of the scene.

    Brakes are rows of start, end, wheel, torque, active.
    """

    start: FloatArray
    friction: FloatArray
    rolling: FloatArray
    grade: FloatArray
    pedal: FloatArray
    speed_target: FloatArray
    speed_control: FloatArray
    brake_pedal: FloatArray
    steering: FloatArray
    path: FloatArray
    inside_request: FloatArray
    brakes: FloatArray
