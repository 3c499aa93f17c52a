"""Tables that work with the brakes; their changes need the brake engineer."""

from __future__ import annotations

import numpy as np

from calib_model.core.rule import Range
from calib_model.core.table import Table
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import FixedValue, Monotone, ZeroEnd

from .parts import AT_CLUTCH, AT_WHEEL, SAME, STEERING_ABS, axis, relations, table

GROUP = "Braking"


def tables(mode: str) -> list[Table]:
    """Return the tables of the group for one drive mode."""
    return [_left_while_braking(), _inside_brake(mode), _clutch_beside_it(mode)]


def _left_while_braking() -> Table:
    speed = axis("vehicle_speed", (0, 20, 50, 90, 160))
    return table(
        "brake_control_torque",
        "Torque left while brake control is active",
        "N.m",
        GROUP,
        (speed,),
        (20, 16, 10, 5, 0),
        (0, 30),
        ("uint8", "0.5"),
        (
            Monotone("vehicle_speed", "down"),
            Bounds(0, 30, reason="on ice a rear axle locks together below 100 N.m"),
        ),
        SAME,
        f"Torque that stays while brake control works. {AT_CLUTCH} Wheel speeds must stay "
        "independent: on ice a rear axle saturates below 100 N.m.",
    )


def _inside_brake(mode: str) -> Table:
    steering = axis("steering_angle_abs", (0, 180, 270, 360, 450, 500, 540))
    speed = axis("vehicle_speed", (0, 3, 6, 10, 15, 20))
    # Full lock gives most; it comes in while the vehicle starts to creep and is gone at 20 km/h.
    lock = np.array([0, 0, 0, 80, 180, 220, 240])[:, None]
    creep = np.array([0.5, 1.0, 0.9, 0.6, 0.25, 0.0])
    torque = np.round(lock * creep / 5) * 5
    torque[4:, 4] = 60  # one value at 15 km/h: what the driver of the parking circle found
    if mode == "low_grip":
        torque = torque * 0.8  # packed snow locks the wheel above about 220 N.m
    return table(
        "inside_rear_brake",
        "Inside-rear brake torque",
        "N.m",
        GROUP,
        (steering, speed),
        torque,
        (0, 400),
        ("uint16", "0.5"),
        (
            Monotone("steering_angle_abs", "up"),
            Monotone(
                "vehicle_speed",
                "down",
                scope=(Range("vehicle_speed", 3.0),),
                reason="a parking aid, not for driving",
            ),
            ZeroEnd(
                "vehicle_speed",
                reason="the last column is held at every higher speed",
            ),
            FixedValue(
                0.0,
                scope=(Range("steering_angle_abs", high=270.0),),
                reason="only a tight turn needs it",
            ),
        ),
        relations("<=", "zero"),
        f"Brake torque on the inner rear wheel, to tighten the turning circle. {AT_WHEEL} "
        f"{STEERING_ABS} The last speed column is held at every higher speed, so it must be zero; "
        "above about 220 N.m the wheel locks on packed snow.",
    )


def _clutch_beside_it(mode: str) -> Table:
    steering = axis("steering_angle_abs", (270, 360, 450, 500, 540))
    torque = (140, 110, 80, 60, 45) if mode == "low_grip" else (120, 90, 60, 45, 30)
    return table(
        "clutch_during_inside_brake",
        "Clutch torque while the inside brake is active",
        "N.m",
        GROUP,
        (steering,),
        torque,
        (0, 150),
        ("uint8", 1),
        (Monotone("steering_angle_abs", "down", reason="no wind-up against the brake"),),
        relations("free", "=="),
        f"Most clutch torque while the inner rear wheel is braked. {STEERING_ABS} {AT_CLUTCH} "
        "The clutch must not wind up against the brake.",
    )
