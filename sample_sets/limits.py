"""Limits on the torque demand, its slew, and the yaw term."""

from __future__ import annotations

import numpy as np

from calib_model.core.rule import Range
from calib_model.core.table import Table
from calib_model.rules.relations import Relation, ZeroWithin
from calib_model.rules.shape import Monotone

from . import larch
from .parts import (
    AT_CLUTCH,
    SAME,
    SPEED_SLEW,
    SPEED_YAW,
    STEERING_ABS,
    axis,
    over,
    relations,
    table,
    touched_up,
)

GROUP = "Limits"
YAW = "Yaw"


def tables(mode: str) -> list[Table]:
    """Return the tables of the two groups for one drive mode."""
    return [
        _steering_limit(mode),
        _rise_slew(mode),
        _fall_slew(),
        _yaw_torque(mode),
        _yaw_band(),
        _lateral_limit(mode),
    ]


def _steering_limit(mode: str) -> Table:
    steering = axis("steering_angle_abs", (0, 30, 90, 180, 270, 360, 450, 540))
    speed = axis("vehicle_speed", (0, 5, 10, 20, 40, 80))
    s, _ = over(steering, speed)
    # Wind-up grows about with the square of the steering angle; moving, the tyres relieve it.
    half = np.array([170, 180, 200, 240, 320, 420])
    limit = 700 / (1 + (s / half) ** 2)
    limit = touched_up(limit, "steering_limit", 5.0)
    limit[0] = 700  # straight ahead nothing is limited
    limit = np.minimum.accumulate(limit, axis=0)
    limit = np.maximum.accumulate(np.maximum(limit, 60), axis=1)
    if mode == "low_grip":
        limit = np.minimum(limit * 1.35, 700)  # snow lets the tyres slip before it winds up
    return table(
        "steering_limit",
        "Steering limit on torque",
        "N.m",
        GROUP,
        (steering, speed),
        limit,
        (60, 700),
        ("uint16", "0.5"),
        (
            Monotone("steering_angle_abs", "down", reason="tight turns wind the driveline up"),
            Monotone(
                "vehicle_speed", "up", reason="creeping must never be limited below standstill"
            ),
        ),
        relations(">=", "=="),
        f"Most torque at a steering angle. {STEERING_ABS} {AT_CLUTCH} Tight turns on a grippy "
        "road wind the driveline up; on snow, slip relieves it.",
    )


def _rise_slew(mode: str) -> Table:
    pedal = axis("pedal", (0, 10, 30, 60, 100))
    # A calm start at standstill, where a clunk is heard; more as the driver asks for more.
    asked = np.array([840, 1080, 1290, 1470, 1620])
    calm = np.array([1.0, 1.04, 1.08, 1.1, 1.06, 1.0])[:, None]
    slew = asked * calm * (1.03 if mode == "low_grip" else 1.0)
    return table(
        "torque_rise_slew",
        "Torque rise slew",
        "N.m/s",
        GROUP,
        (SPEED_SLEW, pedal),
        np.round(slew, -1),
        (300, 3000),
        ("uint16", 1),
        (
            Monotone("pedal", "up"),
            Relation(
                "actuator_rate",
                "<=",
                factor=larch.TORQUE_PER_CLAMP,
                factor_reason="12 faces x 0.12 x 0.055 m: torque per newton of clamp",
                reason="the actuator must be able to follow, cold as well",
            ),
        ),
        relations("free", "=="),
        f"Fastest rise of the torque demand. {AT_CLUTCH} It keeps clunks and motor current small.",
    )


def _fall_slew() -> Table:
    brake = axis("brake_state", (0, 1))
    free = np.array([1800, 1900, 2000, 2200, 2400, 2400])
    # Springs and ball ramps open the clutch without the motor: much faster than it closes.
    braking = np.array([4800, 5000, 5200, 5400, 5600, 5600])
    return table(
        "torque_fall_slew",
        "Torque fall slew",
        "N.m/s",
        GROUP,
        (SPEED_SLEW, brake),
        np.stack([free, braking], axis=1),
        (500, 6000),
        ("uint16", 1),
        (
            Relation(
                "torque_rise_slew",
                ">=",
                scope=(Range("brake_state", 1, 1),),
                reason="brake control needs the clutch open before it can close again",
            ),
            Monotone("brake_state", "up", reason="brake control needs an open clutch"),
        ),
        SAME,
        f"Fastest fall of the torque demand. {AT_CLUTCH} The brake state is read in steps: 0 no "
        "brake control, 1 brake control active, which needs an open clutch.",
    )


_BAND = np.array([5.0, 4.0, 3.0, 2.5, 2.0, 2.0])


def _yaw_torque(mode: str) -> Table:
    error = axis("yaw_rate_error", (-20, -10, -5, -2, 0, 2, 5, 10, 20))
    e, _ = over(error, SPEED_YAW)
    per_degree = np.array([6, 10, 14, 16, 16, 14])
    beyond = np.sign(e) * np.maximum(np.abs(e) - _BAND, 0)
    # Saturates, so that one bad yaw-rate signal cannot ask for everything.
    torque = 280 * np.tanh(per_degree * beyond / 280) * (0.8 if mode == "low_grip" else 1.0)
    return table(
        "yaw_error_torque",
        "Torque from yaw-rate error",
        "N.m",
        YAW,
        (error, SPEED_YAW),
        torque,
        (-300, 300),
        ("int16", "0.5"),
        (
            Monotone("yaw_rate_error", "up", reason="feed against understeer, open against over"),
            ZeroWithin("yaw_rate_error", "yaw_dead_band", reason="noise must not move the clutch"),
        ),
        relations("free", "=="),
        "Torque added for a yaw-rate error. Signed and normalised by turn direction: positive is "
        f"understeer whichever way the turn goes. {AT_CLUTCH} The rear is fed against understeer "
        "and opened against oversteer.",
    )


def _yaw_band() -> Table:
    return table(
        "yaw_dead_band",
        "Yaw-rate dead band",
        "deg/s",
        YAW,
        (SPEED_YAW,),
        _BAND,
        (1, 6),
        ("uint8", "0.05"),
        (Monotone("vehicle_speed", "down", reason="noise and road bank weigh most at low speed"),),
        SAME,
        "Half width of the yaw-rate error that is not acted on, to either side of zero. Noise and "
        "a banked road matter most at low speed.",
    )


def _lateral_limit(mode: str) -> Table:
    lateral = axis("lateral_acceleration_abs", (0, 1, 2, 3.5, 5, 7, 9))
    speed = axis("vehicle_speed", (0, 20, 40, 70, 110, 160))
    a, _ = over(lateral, speed)
    # A loaded rear tyre keeps less and less thrust; the faster, the more careful.
    least = np.array([340, 330, 300, 240, 180, 140])
    limit = 700 - (700 - least) * (a / 9) ** 1.3
    limit = touched_up(limit, "lateral_limit", 5.0)
    limit = np.minimum.accumulate(np.minimum(limit, 700), axis=0)
    # Towing: the hitch pushes sideways as well.
    limit = limit * {"normal": 1.0, "low_grip": 0.9, "towing": 0.8}[mode]
    return table(
        "lateral_limit",
        "Lateral acceleration limit on torque",
        "N.m",
        GROUP,
        (lateral, speed),
        limit,
        (100, 700),
        ("uint16", "0.5"),
        (
            Monotone(
                "lateral_acceleration_abs", "down", reason="a cornering rear axle must stay stable"
            ),
        ),
        relations("free", "<="),
        "Most torque at a lateral acceleration. Reads its absolute value, so left and right turns "
        f"are treated alike. {AT_CLUTCH} It keeps the rear axle stable.",
    )
