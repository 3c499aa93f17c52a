"""Large invented sets for tests and benchmarks, the same for every run."""

from __future__ import annotations

from functools import lru_cache

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
_FACTOR = Storage("uint8", 1, 100)
_SIGNED = Storage("int16", 1, 10)
_STORAGES = (_TORQUE, _FACTOR, _SIGNED, Storage("float32"), Storage())
_INPUTS = (
    ("vehicle speed", "km/h", "vehicle_speed", 240.0),
    ("pedal", "%", "pedal", 100.0),
    ("ambient temperature", "degC", "ambient_temperature", 90.0),
    ("steering angle", "deg", "steering_angle_abs", 540.0),
)
_RELATIONS = {"low_grip": ">=", "towing": "free"}


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
    kinds = np.array([0] * 12 + [1] * 5 + [2] * 3)[np.arange(n) % 20]
    tables = [_table(number, int(kind), random) for number, kind in enumerate(kinds)]
    return CalibrationSet(
        tables,
        programme="Larch",
        mode="normal",
        base_mode="normal",
        name=f"Generated set {seed}",
        revision="1",
        description="Invented; no figure means anything.",
    )


def _table(number: int, kind: int, random: np.random.Generator) -> Table:
    storage = _STORAGES[number % len(_STORAGES)]
    top = {"uint16": 450.0, "uint8": 2.0, "int16": 1000.0}.get(storage.type, 120.0)
    shape = _shape(kind, random)
    axes = tuple(_axis(length, random) for length in shape)
    values = np.asarray(random.uniform(0.05, 0.2) * top)
    for position, length in enumerate(shape):
        rise = np.linspace(0.0, random.uniform(0.1, 0.35) * top, length)
        values = values + np.expand_dims(rise, tuple(i for i in range(kind) if i != position))
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


def _shape(kind: int, random: np.random.Generator) -> tuple[int, ...]:
    if kind == 0:
        return ()
    if kind == 1:
        return (int(random.integers(6, 21)),)
    return int(random.integers(8, 21)), int(random.integers(8, 25))


def _axis(length: int, random: np.random.Generator) -> Axis:
    name, unit, quantity, top = _INPUTS[int(random.integers(len(_INPUTS)))]
    start = -40.0 if unit == "degC" else 0.0
    steps = random.integers(1, 4, length - 1).cumsum()
    values = start + np.concatenate([[0], steps]) * (top / steps[-1])
    return Axis(values, name, unit, quantity)
