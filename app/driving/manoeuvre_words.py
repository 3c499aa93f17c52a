"""What the window says of a manoeuvre, a metric, a vehicle and what a campaign varies."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib_model.core.numbers import with_unit
from calib_model.core.units import shown
from calib_model.vehicle.metrics_all import metric

if TYPE_CHECKING:
    from calib_model.vehicle.manoeuvres import Manoeuvre
    from calib_model.vehicle.metrics import Metric
    from calib_model.vehicle.parameters import Vehicle
    from calib_model.vehicle.variations import Variation


def metrics_of(one: Manoeuvre) -> tuple[Metric, ...]:
    """Return what is read off a manoeuvre."""
    return tuple(metric(name) for name in one.metrics)


def how_read(metric: Metric) -> str:
    """Say how a metric is read off, and which change is none."""
    return f"{metric.how} Changes below {with_unit(metric.floor, shown(metric.unit))} do not count."


def vehicle_words(vehicle: Vehicle) -> str:
    """Name a vehicle, with what it weighs."""
    return f"{vehicle.name}, {vehicle.body_mass:.0f} kg"


def brief(variation: Variation) -> str:
    """Return a variation's name with its unit, such as ``Mass, ×`` or ``Temperature, K``."""
    short, _, of = variation.label.partition(",")
    unit = "×" if of.strip().startswith("times") else shown(variation.unit)
    return f"{short}, {unit}" if unit else short


def about(one: Manoeuvre) -> str:
    """Say where and how long a manoeuvre is driven."""
    names: list[str] = []
    for patch in one.surface:
        left = _surface(patch.left)
        right = left if patch.right is None else _surface(patch.right)
        names.append(left if left == right else f"{left} left and {right} right")
    where = ", then ".join(dict.fromkeys(names))
    slope = max((abs(p[1]) for p in one.grade), default=0.0)
    parts = [where[:1].upper() + where[1:]]
    if slope:
        parts.append(f"{slope:g} % grade")
    if one.start.speed:
        parts.append(f"from {one.start.speed:g} km/h")
    parts.append(f"{one.start.ambient_temperature:g} °C".replace("-", "\N{MINUS SIGN}"))
    parts.append(f"{one.duration:g} s")
    return f"{one.purpose} {', '.join(parts)}.".strip()


def _surface(surface: object) -> str:
    if isinstance(surface, str):
        return surface
    return f"friction {surface:g}" if isinstance(surface, int | float) else "a surface of its own"
