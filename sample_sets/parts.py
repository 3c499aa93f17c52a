"""Small parts that every group of tables is built from: storages, axes, texts, touch-ups."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from calib_model.core.axis import Axis, Interpolation
from calib_model.core.roles import QUANTITIES
from calib_model.core.rule import Range, Rule
from calib_model.core.storage import Storage
from calib_model.core.table import Table

SEED = 20260114
"""Seed of every touch-up, so that the sets come out the same each time."""

AT_CLUTCH = (
    "Torque at the clutch, before the rear drive ratio of 2.6; both rear wheels together get "
    "2.6 times that."
)
AT_WHEEL = "Torque at the one wheel that is braked, not at the clutch."
STEERING_ABS = "Reads the absolute steering wheel angle, so left and right turns are treated alike."

SAME = {"low_grip": "==", "towing": "=="}
"""Physical tables: the same in every mode."""

_SPEED = Storage.of("uint16", "0.1")
_STORAGE = {
    "ambient_temperature": Storage.of("int8", "0.5"),
    "pedal": Storage.of("uint8", "0.5"),
    "vehicle_speed": _SPEED,
    "wiper_state": Storage.of("uint8"),
    "brake_state": Storage.of("uint8"),
    "steering_angle": Storage.of("int16", "0.1"),
    "steering_angle_abs": Storage.of("uint16", "0.1"),
    "slip_error": Storage.of("uint8", "0.05"),
    "yaw_rate_error": Storage.of("int16", "0.1"),
    "lateral_acceleration_abs": Storage.of("uint8", "0.05"),
    "plate_slip_speed": Storage("float32"),
    "plate_temperature": Storage.of("uint16", "0.5", -50),
    "oil_temperature": Storage.of("uint8", 1, -50),
    "motor_temperature": Storage.of("uint8", 1, -50),
    "clamp": Storage.of("uint16"),
    "slip_power": Storage.of("uint16"),
    "shaft_speed": Storage("float32"),
    "shaft_speed_target": Storage("float32"),
    "grade": Storage("float32"),
}
_NAMES = {
    "ambient_temperature": "Ambient temperature",
    "pedal": "Accelerator pedal",
    "vehicle_speed": "Vehicle speed",
    "wiper_state": "Wiper state",
    "brake_state": "Brake state",
    "steering_angle": "Steering wheel angle (signed)",
    "steering_angle_abs": "Steering wheel angle (absolute)",
    "slip_error": "Slip error",
    "yaw_rate_error": "Yaw-rate error",
    "lateral_acceleration_abs": "Lateral acceleration (absolute)",
    "plate_slip_speed": "Slip speed of the plates",
    "plate_temperature": "Plate temperature",
    "oil_temperature": "Oil temperature",
    "motor_temperature": "Motor temperature",
    "clamp": "Clamp force",
    "slip_power": "Slip power",
    "shaft_speed": "Shaft speed",
    "shaft_speed_target": "Shaft speed target",
    "grade": "Road grade",
}
_STEPPED = ("wiper_state", "brake_state")


def axis(quantity: str, values: Sequence[float], shared: str = "") -> Axis:
    """Return an axis that reads an input quantity."""
    how = Interpolation.STEP if quantity in _STEPPED else Interpolation.LINEAR
    return Axis(
        values,  # type: ignore[arg-type]
        _NAMES[quantity],
        QUANTITIES[quantity],
        quantity,
        how,
        storage=_STORAGE[quantity],
        shared=shared,
    )


SPEED_SLIP = axis("vehicle_speed", (0, 10, 30, 60, 100, 160), "axis.vehicle_speed_slip")
SPEED_SLEW = axis("vehicle_speed", (0, 10, 30, 60, 120, 160), "axis.vehicle_speed_slew")
SPEED_YAW = axis("vehicle_speed", (0, 20, 40, 60, 100, 160), "axis.vehicle_speed_yaw")
AMBIENT_DISCONNECT = axis(
    "ambient_temperature", (-40, -20, -10, 0, 10, 30), "axis.ambient_disconnect"
)
CLAMP_BRANCH = axis(
    "clamp", (0, 500, 1000, 2000, 3500, 5000, 7000, 9000, 10500, 12000), "axis.clamp_branch"
)
MOTOR_BRANCH = axis("motor_temperature", (-40, -10, 20, 60, 100), "axis.motor_temperature_branch")
MOTOR_DRAG = axis("motor_temperature", (-40, -20, 0, 20, 60, 100), "axis.motor_temperature_drag")

SHARED = (
    SPEED_SLIP,
    SPEED_SLEW,
    SPEED_YAW,
    AMBIENT_DISCONNECT,
    CLAMP_BRANCH,
    MOTOR_BRANCH,
    MOTOR_DRAG,
)


def relations(low_grip: str, towing: str) -> Mapping[str, str]:
    """Return what must hold in the other modes, read mode-to-base."""
    return {"low_grip": low_grip, "towing": towing}


def table(
    id: str,
    name: str,
    unit: str,
    function: str,
    axes: tuple[Axis, ...],
    values: npt.ArrayLike,
    limits: tuple[float, float],
    storage: tuple[str, str | int],
    rules: tuple[Rule, ...],
    modes: Mapping[str, str],
    description: str,
) -> Table:
    """Return a table whose values are rounded to its storage and kept inside its limits."""
    raster = Storage.of(*storage)
    kept = np.clip(np.asarray(values, dtype=np.float64), *limits)
    return Table(
        id,
        raster.nearest(kept),
        axes,
        name,
        unit,
        function,
        description,
        limits[0],
        limits[1],
        raster,
        role=id,
        relations=modes,
        rules=rules,
    )


def over(*axes: Axis) -> list[npt.NDArray[np.float64]]:
    """Return the breakpoints of each axis, shaped to broadcast into the table."""
    return list(np.meshgrid(*(a.values for a in axes), indexing="ij", sparse=True))


def at(axis_name: str, value: float) -> tuple[Range, ...]:
    """Return the scope of one axis value."""
    return (Range(axis_name, value, value),)


def touched_up(
    values: npt.NDArray[np.float64], name: str, step: float, share: float = 0.2
) -> npt.NDArray[np.float64]:
    """Return values rounded to a hand's step, a few of them one step off, as trimming leaves them.

    Parameters
    ----------
    values : ndarray
    name : str
        Id of the table, which picks its own stream of the fixed random state.
    step : float
        What a person types: 5 N.m, not 0.5.
    share : float
        Part of the cells that was trimmed.
    """
    stream = np.random.default_rng([SEED, *name.encode()])
    trimmed = stream.random(values.shape) < share
    sign = stream.integers(0, 2, values.shape) * 2 - 1
    return np.asarray((np.rint(values / step) + np.where(trimmed, sign, 0)) * step)
