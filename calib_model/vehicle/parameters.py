"""The vehicle at the desk: a value that holds every parameter of the model."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from calib_model.controller.constants import PRESSURE, WEAR, Constants
from calib_model.core.arrays import FloatArray, frozen
from calib_model.errors import ModelError
from calib_model.vehicle.parameters_list import SECTIONS, Curve, Parameter
from calib_model.vehicle.scene import SURFACES

GRAVITY = 9.81
"""m/s2."""

PARAMETERS: Mapping[str, Parameter] = MappingProxyType(
    {p.name: p for rows in SECTIONS.values() for p in rows if isinstance(p, Parameter)}
)
"""Every single number by its name, which is unique over the sections."""

CURVES: Mapping[str, Curve] = MappingProxyType(
    {f"{s}.{c.name}": c for s, rows in SECTIONS.items() for c in rows if isinstance(c, Curve)}
)
"""Every list of numbers by section and name, such as ``actuator.apply``."""


@dataclass(frozen=True)
class Fault:
    """What is wrong with a parameter.

    Parameters
    ----------
    key : str
        Such as ``body.mass``.
    problem, remedy : str
    """

    key: str
    problem: str
    remedy: str


@dataclass(frozen=True, eq=False)
class Vehicle:
    """A vehicle: every parameter has a value.

    Parameters
    ----------
    name : str
    values : mapping of str to float
        Single numbers by name; see `PARAMETERS`.
    curves : mapping of str to float array
        Lists of numbers by section and name; see `CURVES`.
    variants : mapping of str to mapping
        What differs in a variant (laden, with a trailer): names to values.
    path : Path or None
        The file it came from.

    Raises
    ------
    ModelError
        On the first parameter that is missing or impossible; see `faults`.
    """

    name: str
    values: Mapping[str, float]
    curves: Mapping[str, FloatArray]
    variants: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    path: Path | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "values", MappingProxyType(dict(self.values)))
        curves = {k: frozen(v) for k, v in self.curves.items()}
        object.__setattr__(self, "curves", MappingProxyType(curves))
        for fault in faults(self.values, self.curves):
            raise ModelError(f"Vehicle {self.name}, {fault.key}: {fault.problem}", fault.remedy)

    def __getitem__(self, name: str) -> float:
        """Return a single number by name."""
        return self.values[name]

    def replaced(self, **changes: float) -> Vehicle:
        """Return the vehicle with some numbers changed.

        Raises
        ------
        ModelError
            On a name that is not known, or an impossible value.
        """
        for name in changes:
            if name not in PARAMETERS:
                raise ModelError(
                    f"A vehicle has no parameter {name!r}.", "See `PARAMETERS` for their names."
                )
        return replace(self, values={**self.values, **{k: float(v) for k, v in changes.items()}})

    def with_curve(self, key: str, values: npt.ArrayLike) -> Vehicle:
        """Return the vehicle with another list of numbers, such as ``actuator.apply``."""
        if key not in CURVES:
            raise ModelError(f"A vehicle has no list {key!r}.", f"There are {', '.join(CURVES)}.")
        return replace(self, curves={**self.curves, key: frozen(values)})

    def variant(self, name: str) -> Vehicle:
        """Return a variant of the vehicle, such as ``laden`` or ``trailer``.

        Raises
        ------
        ModelError
            If there is none of that name.
        """
        if name not in self.variants:
            known = ", ".join(self.variants) or "none"
            raise ModelError(f"There is no variant {name!r}.", f"The vehicle has {known}.")
        made = self.replaced(**self.variants[name])
        return replace(made, name=f"{self.name}, {name}")

    # -- what follows from the numbers ----------------------------------------------------------

    @cached_property
    def body_mass(self) -> float:
        """Mass in kg with payload, without trailer."""
        return self["mass"] + self["payload"]

    @cached_property
    def wheelbase(self) -> float:
        """Distance of the axles in m."""
        return self["front_to_centre"] + self["rear_to_centre"]

    @cached_property
    def centre(self) -> tuple[float, float, float]:
        """Centre of gravity with payload: m behind the front axle, before the rear, and height."""
        p, m = self["payload"], self.body_mass
        front = (self["mass"] * self["front_to_centre"] + p * self["payload_from_front"]) / m
        height = (self["mass"] * self["centre_height"] + p * self["payload_height"]) / m
        return front, self.wheelbase - front, height

    @cached_property
    def body_inertia(self) -> float:
        """Yaw inertia in kg.m2 with payload (as a point), about the centre of gravity."""
        front = self.centre[0]
        own = self["mass"] * (front - self["front_to_centre"]) ** 2
        load = self["payload"] * (front - self["payload_from_front"]) ** 2
        return self["yaw_inertia"] + own + load

    @cached_property
    def effective_radius(self) -> float:
        """Radius in m at which the friction force of a clutch face acts."""
        outer, inner = self["outer_radius"], self["inner_radius"]
        if self["uniform_wear"] >= 0.5:
            return (outer + inner) / 2
        return float(2 / 3 * (outer**3 - inner**3) / (outer**2 - inner**2))

    def static_loads(self) -> tuple[float, float]:
        """Return the loads of front and rear axle in N, at rest on the level."""
        front, rear, _ = self.centre
        weight = self.body_mass * GRAVITY
        lever = self["hitch_load"] / self.wheelbase
        return (
            weight * rear / self.wheelbase - lever * self["hitch_behind"],
            weight * front / self.wheelbase + lever * (self.wheelbase + self["hitch_behind"]),
        )

    def side_stiffness(self, surface: str = "dry") -> tuple[float, float]:
        """Return the cornering stiffness of front and rear axle in N/rad, at small slip."""
        c1, c2, c3 = SURFACES[surface]
        slope = c1 * c2 * self["slip_stiffness"] - c3
        front, rear = self.static_loads()
        return slope * front * self["front_side_factor"], slope * rear * self["rear_side_factor"]

    @cached_property
    def understeer_gradient(self) -> float:
        """Road wheel angle in rad per m/s2 of lateral acceleration beyond geometry, on dry road."""
        front, rear = self.static_loads()
        front_stiffness, rear_stiffness = self.side_stiffness()
        return (front / front_stiffness - rear / rear_stiffness) / GRAVITY

    @cached_property
    def constants(self) -> Constants:
        """What the controller's software knows of this vehicle: geometry, never its friction."""
        return Constants(
            faces=int(self["faces"]),
            outer_radius=self["outer_radius"],
            inner_radius=self["inner_radius"],
            lining=WEAR if self["uniform_wear"] >= 0.5 else PRESSURE,
            rear_ratio=self["rear_ratio"],
            wheel_radius=self["wheel_radius"],
            wheelbase=self.wheelbase,
            track=self["track"],
            steering_ratio=self["steering_ratio"],
            understeer_gradient=_rounded(self.understeer_gradient),
            max_current=self["current_most"],
            dog_time=max(self["dog_time"], 1e-3),
        )


def _rounded(value: float) -> float:
    # What is written into software has few digits; so the Larch has its documented constant.
    return round(value, 4)


def faults(values: Mapping[str, float], curves: Mapping[str, FloatArray]) -> Iterator[Fault]:
    """Yield everything that is missing or impossible in a vehicle's numbers."""
    for section, rows in SECTIONS.items():
        for row in rows:
            key = f"{section}.{row.name}"
            if isinstance(row, Parameter):
                yield from _number_faults(key, row, values)
            else:
                yield from _curve_faults(key, row, section, curves)
    yield from _together(values, curves)


def _number_faults(key: str, row: Parameter, values: Mapping[str, float]) -> Iterator[Fault]:
    if row.name not in values:
        yield Fault(key, f"It is missing ({row.meaning}).", f"Give it in {row.unit}.")
        return
    value = values[row.name]
    if not math.isfinite(value) or not row.low <= value <= row.high:
        yield Fault(
            key,
            f"{value:g} {row.unit} is not possible for this ({row.meaning}).",
            f"Give a number from {row.low:g} to {row.high:g} {row.unit}.",
        )
    elif row.name == "faces" and value != int(value):
        yield Fault(key, f"{value:g} faces are not possible.", "Give a whole number.")


def _curve_faults(
    key: str, row: Curve, section: str, curves: Mapping[str, FloatArray]
) -> Iterator[Fault]:
    if key not in curves:
        yield Fault(key, f"It is missing ({row.meaning}).", f"Give a list in {row.unit}.")
        return
    values = curves[key]
    wanted = tuple(curves[f"{section}.{o}"].size for o in row.over if f"{section}.{o}" in curves)
    if row.over and len(wanted) == len(row.over) and values.shape != wanted:
        size = " x ".join(map(str, wanted))
        yield Fault(key, "It does not fit its breakpoints.", f"Give {size} numbers.")
    elif not row.over and (values.ndim != 1 or values.size < 2):
        yield Fault(key, "Breakpoints are a list of two numbers or more.", "Mend the list.")
    elif not np.isfinite(values).all() or values.min() < row.low or values.max() > row.high:
        yield Fault(
            key,
            f"It holds a number that is not possible ({row.meaning}).",
            f"Give numbers from {row.low:g} to {row.high:g} {row.unit}.",
        )
    elif not row.over and np.any(np.diff(values) <= 0):
        yield Fault(key, "The breakpoints do not rise.", "Sort them, each once.")


def _together(values: Mapping[str, float], curves: Mapping[str, FloatArray]) -> Iterator[Fault]:
    if values.get("inner_radius", 0.0) >= values.get("outer_radius", math.inf):
        yield Fault(
            "clutch.inner_radius", "It is not below the outer radius.", "Exchange or mend them."
        )
    keys = ("actuator.clamp", "actuator.apply", "actuator.release")
    if any(k not in curves for k in keys):
        return
    clamp, apply, release = (curves[k] for k in keys)
    if clamp.ndim != 1 or apply.shape != release.shape or apply.shape[:1] != clamp.shape:
        return
    for key, branch in (("actuator.apply", apply), ("actuator.release", release)):
        if np.any(np.diff(branch, axis=0) <= 0):
            yield Fault(key, "The current does not rise with the clamp force.", "Mend the rows.")
    if np.any(release > apply):
        yield Fault(
            "actuator.release",
            "It lies above the applying branch somewhere.",
            "Friction holds the clamp while letting go: exchange or mend the branches.",
        )
    if clamp[0] != 0:
        yield Fault("actuator.clamp", "It does not begin at 0 N.", "Begin with the touch point.")


LARCH = Vehicle(
    "Larch",
    {name: p.value for name, p in PARAMETERS.items()},
    {key: frozen(c.values) for key, c in CURVES.items()},
    {
        "laden": {"payload": 700.0},
        "trailer": {
            "trailer_mass": 850.0,
            "hitch_load": 600.0,
            "trailer_drag_area": 0.8,
        },
    },
)
"""The invented van, as it is shipped in ``sample_sets/larch_vehicle.toml``."""


def vehicle_from_plain(plain: Mapping[str, Any], path: Path | None = None) -> Vehicle:
    """Return a vehicle from what a vehicle file holds; see `calib_model.vehicle.parameters_file`.

    Raises
    ------
    FileProblem
        Naming file, key and remedy.
    """
    from calib_model.vehicle import parameters_file  # noqa: PLC0415  # which makes vehicles

    return parameters_file.from_plain(plain, path)


def read_vehicle(path: Path | str) -> Vehicle:
    """Read a vehicle file (TOML).

    Raises
    ------
    FileProblem
        Naming file, key and remedy.
    """
    from calib_model.vehicle import parameters_file  # noqa: PLC0415  # which makes vehicles

    return parameters_file.read(path)
