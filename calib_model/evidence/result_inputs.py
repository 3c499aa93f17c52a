"""What may be chosen for a picture of the resulting torque: inputs, their ranges, their points."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib_model.controller.inputs import INPUT_INDEX, INPUTS, SYNC_YES
from calib_model.core.arrays import FloatArray
from calib_model.core.axis import Axis, Interpolation
from calib_model.lookup import lookup

if TYPE_CHECKING:
    from calib_model.controller.binding import Bound

SLIP, AXLES = "front_slip", "axle_speed_difference"
STEERING, ASKED = "steering_angle", "inside_brake_request"

LABELS: Mapping[str, str] = {
    "ambient_temperature": "Ambient temperature",
    "pedal": "Accelerator pedal",
    "vehicle_speed": "Vehicle speed",
    "grade": "Grade",
    STEERING: "Steering wheel angle",
    SLIP: "Front slip",
    AXLES: "Axle speed difference",
    "yaw_rate_error": "Yaw-rate error",
    "lateral_acceleration_abs": "Lateral acceleration",
    "wiper_state": "Wiper state",
    "brake_state": "Brake state",
    ASKED: "Inside brake wanted",
    "plate_temperature": "Plate temperature",
    "oil_temperature": "Oil temperature",
    "motor_temperature": "Motor temperature",
    "slip_power": "Slip power",
}
"""Inputs that can be chosen, in the order they are offered.

The axle speed difference stands for the front slip where it is an axis: the law then takes the
expected difference off by itself.  The slip error, the clamp and the speeds of plates and shaft
follow from the others.
"""

UNITS: Mapping[str, str] = {name: INPUTS[INPUT_INDEX[name]].unit for name in LABELS}

_USUAL: Mapping[str, float] = {
    "ambient_temperature": -10.0,
    "pedal": 40.0,
    "vehicle_speed": 10.0,
    "plate_temperature": 60.0,
    "oil_temperature": 40.0,
    "motor_temperature": 20.0,
}
"""Where an input stands at first; the others at 0."""

_RANGES: Mapping[str, tuple[float, float]] = {SLIP: (0.0, 12.0), AXLES: (-8.0, 40.0)}
"""Ranges of inputs that no table reads as they are; own choice."""
MOST_POINTS = 64
FILL = 36
"""A range is cut into about so many steps, beside the breakpoints."""


@dataclass(frozen=True)
class Choice:
    """One input that may be chosen.

    Parameters
    ----------
    name, label, unit : str
    low, high : float
        Range that the tables cover.
    usual : float
        Where it stands at first.
    states : tuple of float
        The values of an input that is read in steps; empty for others.
    points : float array, rising
        Where an axis along this input is looked at: every breakpoint of the tables that read it,
        and points between them.
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    usual: float
    states: tuple[float, ...]
    points: FloatArray


def choices(bounds: Sequence[Bound]) -> tuple[Choice, ...]:
    """Return what may be chosen for some bound sets: what their tables read, in a fixed order."""
    tables = [table for bound in bounds for table in bound.tables.values()]
    axes: dict[str, list[Axis]] = {}
    for table in tables:
        for axis in table.axes:
            axes.setdefault(axis.quantity, []).append(axis)
    roles = {role for bound in bounds for role in bound.tables}
    found = []
    for name, label in LABELS.items():
        unit = UNITS[name]
        read = [*axes.get(name, ())]
        mirrored = axes.get("steering_angle_abs", []) if name == STEERING else []
        if name == ASKED and "inside_rear_brake" in roles:
            found.append(Choice(name, label, unit, 0.0, 1.0, 0.0, (0.0, 1.0), np.array([0.0, 1.0])))
        elif name in _RANGES and roles & {"slip_gain", "slip_target"}:
            low, high = _RANGES[name]
            points = np.linspace(low, high, FILL + 13)
            found.append(Choice(name, label, unit, low, high, 0.0, (), points))
        elif read or mirrored:
            found.append(_choice(name, label, unit, read, mirrored))
    return tuple(found)


def _choice(
    name: str, label: str, unit: str, read: Sequence[Axis], mirrored: Sequence[Axis]
) -> Choice:
    values = [axis.values for axis in read]  # a bound axis is in the controller's unit
    for axis in mirrored:
        values += [axis.values, -axis.values]
    every = np.unique(np.concatenate(values))
    low, high = float(every[0]), float(every[-1])
    usual = min(max(_USUAL.get(name, 0.0), low), high)
    if all(axis.interpolation is Interpolation.STEP for axis in (*read, *mirrored)):
        return Choice(name, label, unit, low, high, usual, tuple(every.tolist()), every)
    return Choice(name, label, unit, low, high, usual, (), filled(every))


def filled(breakpoints: FloatArray) -> FloatArray:
    """Return breakpoints with points between them, at most MOST_POINTS where that can be."""
    low, high = float(breakpoints[0]), float(breakpoints[-1])
    if not high > low:
        return breakpoints
    every = [breakpoints]
    step = (high - low) / FILL
    for left, right in itertools.pairwise(breakpoints.tolist()):
        count = round((right - left) / step)
        every.append(np.linspace(left, right, max(count, 1) + 1)[1:-1])
    points = np.unique(np.concatenate(every))
    while points.size > max(MOST_POINTS, breakpoints.size):
        own = np.isin(points, breakpoints)
        gaps = np.diff(points, append=np.inf)
        gaps[own] = np.inf
        points = np.delete(points, int(np.argmin(gaps)))
    return points


def inputs_at(
    points: Mapping[str, FloatArray | float], bound: Bound, kmh_per_shaft: float
) -> FloatArray:
    """Return rows of inputs for the torque law.

    Parameters
    ----------
    points : mapping of input name to float or float array, shape (n,)
        What is not named stands where `choices` has it at first.
    bound : Bound
        Its expected axle speed difference turns a slip into an axle speed difference.
    kmh_per_shaft : float
        Speed in km/h per rad/s of the shaft.

    Returns
    -------
    float array, shape (n, len(INPUTS))
        NaN where the law works the input out itself.
    """
    named: dict[str, FloatArray | float] = {**dict.fromkeys(LABELS, 0.0), **_USUAL, **points}
    count = max(np.size(v) for v in named.values())
    rows = np.full((count, len(INPUTS)), np.nan)
    for name, value in named.items():
        rows[:, INPUT_INDEX[name]] = value
    speed = rows[:, INPUT_INDEX["vehicle_speed"]]
    if AXLES in points:
        rows[:, INPUT_INDEX[SLIP]] = np.nan
    else:
        slip = rows[:, INPUT_INDEX[SLIP]]
        rows[:, INPUT_INDEX[AXLES]] = slip / kmh_per_shaft + _expected(rows, bound)
    axles = rows[:, INPUT_INDEX[AXLES]]
    rows[:, INPUT_INDEX["shaft_speed"]] = speed / kmh_per_shaft + axles
    rows[:, INPUT_INDEX["shaft_synchronised"]] = SYNC_YES
    rows[:, INPUT_INDEX["yaw_rate"]] = 0.0
    rows[:, INPUT_INDEX["lateral_acceleration"]] = 0.0
    return rows


def _expected(rows: FloatArray, bound: Bound) -> FloatArray | float:
    """Return the expected axle speed difference at each row, in rad/s at the shaft."""
    table = bound.tables.get("expected_axle_difference")
    if table is None:
        return 0.0

    places = []
    for axis in table.axes:
        if axis.quantity == "steering_angle_abs":
            places.append(np.abs(rows[:, INPUT_INDEX[STEERING]]))
        else:
            places.append(rows[:, INPUT_INDEX[axis.quantity]])
    return lookup(table, places)
