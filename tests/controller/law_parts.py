"""Small sets and rows of inputs for the tests of the torque law."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from calib_model import open_set
from calib_model.controller.constants import Constants
from calib_model.controller.inputs import INPUT_INDEX, INPUTS
from calib_model.controller.needs import ROLE_UNITS
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import QUANTITIES
from calib_model.core.table import Table

ROOT = Path(__file__).resolve().parents[2]

# Round numbers to work by hand with: 1 rad/s at the shaft is 0.5 km/h, and with friction 0.1 the
# clutch carries 0.05 N.m per newton.
ROUND = Constants(
    faces=10,
    outer_radius=0.06,
    inner_radius=0.04,
    friction=0.1,
    rear_ratio=2.52,
    wheel_radius=0.35,
)


def table(role: str, values: npt.ArrayLike, *axes: tuple[str, list[float]]) -> Table:
    """A table that plays a role; each axis is its quantity and breakpoints."""
    return Table(
        role,
        values,  # type: ignore[arg-type]
        tuple(
            Axis(
                nodes,  # type: ignore[arg-type]
                quantity=quantity,
                unit=QUANTITIES.get(quantity, "-"),
                interpolation=Interpolation.STEP
                if quantity in ("wiper_state", "brake_state")
                else Interpolation.LINEAR,
            )
            for quantity, nodes in axes
        ),
        unit=ROLE_UNITS[role],
        role=role,
    )


def flat_set(**values: float) -> CalibrationSet:
    """A set of scalar tables, one per role."""
    return CalibrationSet([table(role, value) for role, value in values.items()])


def rows(count: int, **signals: npt.ArrayLike) -> np.ndarray:
    """Rows of inputs, all others absent."""
    made = np.full((count, len(INPUTS)), np.nan)
    for name, values in signals.items():
        made[:, INPUT_INDEX[name]] = values
    return made


@lru_cache
def sample(name: str) -> CalibrationSet:
    """One of the shipped sets."""
    return open_set(ROOT / "sample_sets" / f"{name}.h5")


def drive(seed: int, count: int) -> np.ndarray:
    """A lively drive with every input that a vehicle gives: random walks and switches.

    Every third seed is a fast and calmer one, on which the driveshaft comes and goes.
    """
    calm = seed % 3 == 0
    rng = np.random.default_rng(seed)

    def walk(low: float, high: float, step: float) -> np.ndarray:
        start = rng.uniform(low, high)
        free = start + np.cumsum(rng.normal(0, step * (high - low), count))
        span = high - low
        return low + np.abs((free - low) % (2 * span) - span)  # reflected at both ends

    def switch(share: float) -> np.ndarray:
        return (walk(0, 1, 0.05) < share).astype(float)

    speed = walk(90, 150, 0.02) if calm else walk(0, rng.choice([15.0, 60.0, 150.0]), 0.01)
    steering = walk(-540, 540, 0.02) * 30 / (30 + speed)
    yaw = walk(-25, 25, 0.02)
    return rows(
        count,
        ambient_temperature=walk(20 if calm else -40, 50, 0.003),
        pedal=walk(0, 60 if calm else 100, 0.03),
        vehicle_speed=speed,
        wiper_state=np.floor(walk(0, 4, 0.01)).clip(0, 3),
        brake_state=switch(0.1),
        steering_angle=steering,
        yaw_rate=yaw,
        lateral_acceleration=walk(-9, 9, 0.02),
        oil_temperature=walk(-40, 160, 0.003),
        plate_temperature=walk(-40, 280, 0.005),
        motor_temperature=walk(-40, 100, 0.003),
        grade=walk(-10, 30, 0.005),
        axle_speed_difference=walk(-5, 4 if calm else 20, 0.03),
        inside_brake_request=switch(0.2),
        shaft_synchronised=-1.0,
    )
