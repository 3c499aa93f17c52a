"""Formulas that numpy and the compiled law share, each written once.

They take arrays or single numbers, so that `calib_model.controller.derived` calls them as they
are and `calib_model.controller.kernel` compiles them.  Units are in the parameters' names.
"""

from __future__ import annotations

from typing import Any

import numpy as np


def reference_yaw_rate_deg(
    steering_deg: Any, speed_kmh: Any, wheelbase: Any, ratio: Any, gradient: Any
) -> Any:
    """Yaw rate in deg/s that steering and speed ask for: v / (L + K v^2) times the wheel angle.

    `gradient` is the understeer gradient K in rad/(m/s2).
    """
    v = speed_kmh / 3.6
    return v / (wheelbase + gradient * (v * v)) * (steering_deg / ratio)


def yaw_rate_error_deg(reference: Any, measured: Any, threshold: Any) -> Any:
    """Yaw-rate error in deg/s, positive = understeer whichever the turn.

    Which way the vehicle turns is told by the measured yaw rate once it is above `threshold`,
    so that steering against a skid counts as oversteer; else by the steering.
    """
    # Truth values as factors, since `where` makes an array of single numbers.
    turning = np.abs(measured) > threshold
    turn = np.sign(measured) * turning + np.sign(reference) * (1 - turning)
    # Straight ahead with hardly any yaw rate there is no turn, and any yaw rate is too much.
    return (reference - measured) * turn - np.abs(measured) * (turn == 0.0)


def shaft_speed_target_rad(speed_kmh: Any, axle_difference_rad: Any, kmh_per_shaft: Any) -> Any:
    """Speed in rad/s that the front axle asks of the shaft."""
    return speed_kmh / kmh_per_shaft + axle_difference_rad


def front_slip_kmh(axle_difference_rad: Any, expected_rad: Any, kmh_per_shaft: Any) -> Any:
    """Slip of the front axle in km/h, the difference expected in the turn taken off."""
    return (axle_difference_rad - expected_rad) * kmh_per_shaft


def slip_power_watt(torque: Any, plate_slip_rad: Any) -> Any:
    """Heat in W that enters the plates."""
    return np.abs(torque * plate_slip_rad)
