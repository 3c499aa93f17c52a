"""Vehicles without what a closed form leaves out, and roads whose friction does not vary."""

from __future__ import annotations

from calib_model.vehicle.parameters import LARCH, Vehicle
from calib_model.vehicle.scene import Ground, Patch, ground

GRAVITY = 9.81
WHEELS = ("fl", "fr", "rl", "rr")


def bare(**changes: float) -> Vehicle:
    """The invented van without air, rolling resistance, bearing and oil drag, overrun and noise."""
    plain = {
        "drag_area": 0.0,
        "rolling_resistance": 0.0,
        "shaft_drag": 0.0,
        "overrun_torque": 0.0,
        "wheel_speed_noise": 0.0,
    }
    oil = LARCH.curves["clutch.oil"]
    return LARCH.with_curve("clutch.drag", oil * 0.0).replaced(**{**plain, **changes})


def flat(friction: float, grade: float = 0.0) -> Ground:
    """A road on which sliding friction is the same at every slip worth mentioning."""
    return ground(Patch(0.0, (friction, 200.0, 0.0)), grade=grade)
