"""Inputs that are worked out from others, each defined once, with unit and formula.

Signs are those of ISO 8855: the vehicle's y axis points left, so steering angle, yaw rate and
lateral acceleration are positive in a left turn.  Wheel speeds are never negative.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib_model.controller import formulas
from calib_model.controller.constants import KMH_PER_SHAFT, Constants
from calib_model.core.arrays import FloatArray

Signals = Mapping[str, FloatArray]
Compute = Callable[[Signals, Constants], FloatArray]

RAW_SIGNALS: Mapping[str, tuple[str, str]] = {
    "wheel_speed_fl": ("km/h", "front left wheel speed"),
    "wheel_speed_fr": ("km/h", "front right wheel speed"),
    "wheel_speed_rl": ("km/h", "rear left wheel speed"),
    "wheel_speed_rr": ("km/h", "rear right wheel speed"),
    "steering_angle": ("deg", "steering wheel angle, left positive"),
    "yaw_rate": ("deg/s", "yaw rate, left positive"),
    "lateral_acceleration": ("m/s2", "lateral acceleration, left positive"),
    "clutch_torque": ("N.m", "torque at the clutch, measured or commanded in the vehicle"),
}
"""Signals of the vehicle from which inputs are derived: unit and meaning."""


@dataclass(frozen=True)
class Derived:
    """One derived signal.

    Parameters
    ----------
    name, unit : str
    needs : tuple of str
        Signals it is worked out from, in the units of `RAW_SIGNALS`, `INPUTS` or `DERIVED`.
    formula : str
        As text, with the constants by their names in `Constants`.
    compute : callable
        Takes a mapping with the needed signals and the constants.
    """

    name: str
    unit: str
    needs: tuple[str, ...]
    formula: str
    compute: Compute


def _front(s: Signals, c: Constants) -> FloatArray:
    return 0.5 * (s["wheel_speed_fl"] + s["wheel_speed_fr"])


def _rear(s: Signals, c: Constants) -> FloatArray:
    return 0.5 * (s["wheel_speed_rl"] + s["wheel_speed_rr"])


def _speed(s: Signals, c: Constants) -> FloatArray:
    return s["mean_rear_speed"]


def _difference(s: Signals, c: Constants) -> FloatArray:
    return (s["mean_front_speed"] - s["mean_rear_speed"]) / float(c.array[KMH_PER_SHAFT])


def _steering_abs(s: Signals, c: Constants) -> FloatArray:
    return np.abs(s["steering_angle"])


def _lateral(s: Signals, c: Constants) -> FloatArray:
    return np.asarray(s["vehicle_speed"] / 3.6 * np.radians(s["yaw_rate"]))


def _lateral_abs(s: Signals, c: Constants) -> FloatArray:
    return np.abs(s["lateral_acceleration"])


def _reference(s: Signals, c: Constants) -> FloatArray:
    return np.asarray(
        formulas.reference_yaw_rate_deg(
            s["steering_angle"],
            s["vehicle_speed"],
            c.wheelbase,
            c.steering_ratio,
            c.understeer_gradient,
        )
    )


def _yaw_error(s: Signals, c: Constants) -> FloatArray:
    error = formulas.yaw_rate_error_deg(s["reference_yaw_rate"], s["yaw_rate"], c.turn_threshold)
    return np.asarray(error)


def _slip(s: Signals, c: Constants) -> FloatArray:
    slip = formulas.front_slip_kmh(
        s["axle_speed_difference"], s["expected_axle_difference"], float(c.array[KMH_PER_SHAFT])
    )
    return np.asarray(slip)


def _shaft_target(s: Signals, c: Constants) -> FloatArray:
    target = formulas.shaft_speed_target_rad(
        s["vehicle_speed"], s["axle_speed_difference"], float(c.array[KMH_PER_SHAFT])
    )
    return np.asarray(target)


def _plate_slip(s: Signals, c: Constants) -> FloatArray:
    return np.abs(s["axle_speed_difference"])


def _power(s: Signals, c: Constants) -> FloatArray:
    return np.asarray(formulas.slip_power_watt(s["clutch_torque"], s["plate_slip_speed"]))


DERIVED: tuple[Derived, ...] = (
    Derived(
        "mean_front_speed",
        "km/h",
        ("wheel_speed_fl", "wheel_speed_fr"),
        "(wheel_speed_fl + wheel_speed_fr) / 2",
        _front,
    ),
    Derived(
        "mean_rear_speed",
        "km/h",
        ("wheel_speed_rl", "wheel_speed_rr"),
        "(wheel_speed_rl + wheel_speed_rr) / 2",
        _rear,
    ),
    Derived("vehicle_speed", "km/h", ("mean_rear_speed",), "mean_rear_speed", _speed),
    Derived(
        "axle_speed_difference",
        "rad/s",
        ("mean_front_speed", "mean_rear_speed"),
        "rear_ratio (mean_front_speed − mean_rear_speed) / (3.6 wheel_radius)",
        _difference,
    ),
    Derived("steering_angle_abs", "deg", ("steering_angle",), "|steering_angle|", _steering_abs),
    Derived(
        "lateral_acceleration",
        "m/s2",
        ("vehicle_speed", "yaw_rate"),
        "vehicle_speed / 3.6 · yaw_rate · π / 180, which leaves out sideslip and road bank",
        _lateral,
    ),
    Derived(
        "lateral_acceleration_abs",
        "m/s2",
        ("lateral_acceleration",),
        "|lateral_acceleration|",
        _lateral_abs,
    ),
    Derived(
        "reference_yaw_rate",
        "deg/s",
        ("steering_angle", "vehicle_speed"),
        "v / (wheelbase + understeer_gradient v²) · steering_angle / steering_ratio, "
        "v = vehicle_speed / 3.6",
        _reference,
    ),
    Derived(
        "yaw_rate_error",
        "deg/s",
        ("reference_yaw_rate", "yaw_rate"),
        "(reference_yaw_rate − yaw_rate) · turn; turn is the sign of yaw_rate beyond "
        "turn_threshold, else of reference_yaw_rate",
        _yaw_error,
    ),
    Derived(
        "front_slip",
        "km/h",
        ("axle_speed_difference", "expected_axle_difference"),
        "3.6 wheel_radius / rear_ratio (axle_speed_difference − expected_axle_difference)",
        _slip,
    ),
    Derived(
        "shaft_speed_target",
        "rad/s",
        ("vehicle_speed", "axle_speed_difference"),
        "rear_ratio / (3.6 wheel_radius) vehicle_speed + axle_speed_difference",
        _shaft_target,
    ),
    Derived(
        "plate_slip_speed",
        "rad/s",
        ("axle_speed_difference",),
        "|axle_speed_difference|, while the driveshaft is connected",
        _plate_slip,
    ),
    Derived(
        "slip_power",
        "W",
        ("clutch_torque", "plate_slip_speed"),
        "|clutch_torque · plate_slip_speed|",
        _power,
    ),
)
"""Every derived signal, each after those it needs.

`front_slip` needs what the table of the expected difference says; the torque law reads it itself.
"""


def derive(signals: Mapping[str, npt.ArrayLike], constants: Constants) -> dict[str, FloatArray]:
    """Work out what can be worked out; what is given stays as it is.

    Parameters
    ----------
    signals : mapping of str to array_like
        By name, broadcastable to each other.
    constants : Constants

    Returns
    -------
    dict of str to ndarray of float64
        The given signals, and those derived from them.
    """
    known: dict[str, FloatArray] = {
        name: np.asarray(values, dtype=np.float64) for name, values in signals.items()
    }
    for one in DERIVED:
        if one.name not in known and all(need in known for need in one.needs):
            known[one.name] = one.compute(known, constants)
    return known
