"""Large invented sets for tests and benchmarks, the same for every run."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table

_FUNCTIONS = tuple(
    f"{part}_{what}"
    for part in ("clutch", "slip", "steer", "heat", "brake", "hill", "sync", "cruise")
    for what in ("base", "limit", "rate", "factor", "hold")
)
_TORQUE = Storage("uint16", 1, 2)
_STORAGES = (
    (_TORQUE, 450.0),
    (Storage("uint8", 1, 100), 2.0),
    (Storage("int16", 1, 10), 1000.0),
    (Storage("float32"), 120.0),
    (Storage(), 120.0),
)
_INPUTS = (
    ("vehicle speed", "km/h", "vehicle_speed", 0.0, 240.0),
    ("pedal", "%", "pedal", 0.0, 100.0),
    ("ambient temperature", "degC", "ambient_temperature", -40.0, 90.0),
    ("steering angle", "deg", "steering_angle_abs", 0.0, 540.0),
)
_RELATIONS = {"low_grip": ">=", "towing": "free"}
_LONGEST = 24


@lru_cache(maxsize=2)
def generated_set(n: int = 30_000, seed: int = 7) -> CalibrationSet:
    """Return an invented set: 60 % scalars, 25 % curves, 15 % maps from 8 x 8 to 20 x 24.

    Parameters
    ----------
    n : int
        Number of tables.
    seed : int
        Random state; the same set for the same numbers.  Sets of one `n` have the same ids.

    Returns
    -------
    CalibrationSet
        Every table rises along its axes and lies on its storage raster and within its limits.
    """
    random = np.random.default_rng(seed)
    kinds = np.array([0] * 12 + [1] * 5 + [2] * 3)[np.arange(n) % 20].tolist()
    shares = random.random((n, 3)).tolist()
    inputs = random.integers(len(_INPUTS), size=(n, 2)).tolist()
    lengths = np.stack([random.integers(8, 21, n), random.integers(8, 25, n)], axis=1).tolist()
    rises = random.integers(1, 4, (n, 2, _LONGEST)).cumsum(axis=2)
    tables = []
    for number, kind in enumerate(kinds):
        axes = tuple(
            _axis(rises[number, position, : lengths[number][position]], inputs[number][position])
            for position in range(kind)
        )
        tables.append(_table(number, axes, shares[number]))
    return CalibrationSet(
        {t.id: t for t in tables},
        programme="Larch",
        mode="normal",
        base_mode="normal",
        name=f"Generated set {seed}",
        revision="1",
        description="Invented; no figure means anything.",
    )


def _table(number: int, axes: tuple[Axis, ...], shares: list[float]) -> Table:
    storage, top = _STORAGES[number % len(_STORAGES)]
    values: Any = (0.05 + 0.15 * shares[0]) * top
    for axis, share in zip(axes, shares[1:], strict=False):
        span = axis.values[-1] - axis.values[0]
        rise = (axis.values - axis.values[0]) * ((0.1 + 0.25 * share) * top / span)
        values = np.add.outer(values, rise)
    function = _FUNCTIONS[number % len(_FUNCTIONS)]
    return Table(
        id=f"{function}.part_{number // 40:04d}[{number % 40}]",
        values=storage.nearest(values),
        axes=axes,
        name=f"{function.replace('_', ' ').capitalize()} {number}",
        unit="N.m" if storage is _TORQUE else "-",
        function=function,
        description=f"Invented table number {number}.",
        lower=0.0,
        upper=top,
        storage=storage,
        relations=_RELATIONS if number % 3 == 0 else {},
    )


def _axis(steps: np.ndarray, number: int) -> Axis:
    name, unit, quantity, start, span = _INPUTS[number]
    values = start + (steps - steps[0]) * (span / (steps[-1] - steps[0]))
    return Axis(values, name, unit, quantity)
