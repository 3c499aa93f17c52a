"""Drive a manoeuvre with a set: metrics, trace, and the same with a second set beside it.

Everything here is a desk estimate; `LEFT_OUT` says what the model does not have.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from ..controller.binding import Bound, bind
from ..core.calibration_set import CalibrationSet
from .manoeuvres import Manoeuvre
from .metrics import DrivenRun, Reading, read
from .metrics_all import metric
from .parameters import Vehicle
from .simulate import simulate
from .trace import Trace

LEFT_OUT = (
    "Desk estimates from a model without compliant half-shafts and without a gearbox: no jolt, no "
    "stick-slip noise, no gear change on kick-down. Metrics that need them are not shown."
)


@dataclass(frozen=True, eq=False)
class Result:
    """What came of one manoeuvre with one set.

    Parameters
    ----------
    manoeuvre : Manoeuvre
    completed : bool
        Whether the drive went to its end within the model's range.
    why : str
        In words if not.
    metrics : tuple of Reading
        In the manoeuvre's order.
    trace : Trace
    against : Result or None
        The same manoeuvre with the set compared with.
    """

    manoeuvre: Manoeuvre
    completed: bool
    why: str
    metrics: tuple[Reading, ...]
    trace: Trace
    against: Result | None = None

    @property
    def name(self) -> str:
        """The manoeuvre's id."""
        return self.manoeuvre.id

    @property
    def missing(self) -> Mapping[str, str]:
        """Parts of the controller that no table of the set could play, and why."""
        return self.trace.missing

    def reading(self, name: str) -> Reading:
        """Return a metric by name; KeyError if the manoeuvre does not have it."""
        for one in self.metrics:
            if one.name == name:
                return one
        raise KeyError(name)

    def value(self, name: str) -> float | None:
        """Return a metric's value, None where it has none."""
        return self.reading(name).value

    def rows(self) -> list[Row]:
        """Return the metrics with those of the set compared with."""
        return [
            Row(r, self.against.reading(r.name) if self.against else None) for r in self.metrics
        ]


@dataclass(frozen=True)
class Row:
    """A metric, and the same of the set compared with.

    Parameters
    ----------
    reading : Reading
    against : Reading or None
    """

    reading: Reading
    against: Reading | None

    @property
    def change(self) -> float | None:
        """This set less the one compared with, None where either has no value."""
        if self.against is None or self.against.value is None or self.reading.value is None:
            return None
        return self.reading.value - self.against.value

    @property
    def verdict(self) -> str:
        """``better``, ``worse``, ``same``, or empty where that cannot be said."""
        change, way = self.change, self.reading.metric.better
        if change is None:
            return ""
        if abs(change) < self.reading.metric.floor:
            return "same"
        if way == "neither":
            return ""
        return "better" if (change < 0) == (way == "lower") else "worse"


@dataclass(frozen=True, eq=False)
class Bench:
    """A set bound to the controller's parts, with the vehicle to drive: ready for many drives.

    Parameters
    ----------
    bound : Bound
    vehicle : Vehicle
    """

    bound: Bound
    vehicle: Vehicle

    def trace(
        self, manoeuvre: Manoeuvre, *, vehicle: Vehicle | None = None, seed: int = 0
    ) -> Trace:
        """Drive a manoeuvre; return the trace alone."""
        return simulate(vehicle or self.vehicle, self.bound, manoeuvre.scene(seed))

    def drive(
        self,
        manoeuvre: Manoeuvre,
        *,
        vehicle: Vehicle | None = None,
        seed: int = 0,
        only: str = "",
    ) -> Result:
        """Drive a manoeuvre and read its metrics.

        Parameters
        ----------
        manoeuvre : Manoeuvre
        vehicle : Vehicle, optional
            In place of the bench's.
        seed : int
            Of the sensors' noise.
        only : str
            The one metric to read; all of the manoeuvre's if empty.
        """
        used = vehicle or self.vehicle
        trace = self.trace(manoeuvre, vehicle=used, seed=seed)
        names = (only,) if only else manoeuvre.metrics
        other = manoeuvre.counterpart()
        counterpart = None
        if other is not None and any(n.endswith("_change") for n in names):
            counterpart = self.trace(other, vehicle=used, seed=seed)

        def again(changed: Manoeuvre) -> Trace:
            return self.trace(changed, vehicle=used, seed=seed)

        seen = DrivenRun(trace, manoeuvre, used, self.bound, again, counterpart)
        readings = tuple(read(metric(n), seen) for n in names)
        return Result(manoeuvre, trace.completed, trace.why, readings, trace)


def bench(content: CalibrationSet, vehicle: Vehicle) -> Bench:
    """Bind a set to the parts of the controller, once for many drives.

    Parameters
    ----------
    content : CalibrationSet
    vehicle : Vehicle
    """
    return Bench(bind(content, vehicle.constants), vehicle)


def drive(
    content: CalibrationSet,
    manoeuvre: Manoeuvre,
    vehicle: Vehicle,
    *,
    against: CalibrationSet | None = None,
    seed: int = 0,
) -> Result:
    """Drive one manoeuvre with a set, and with another beside it.

    Parameters
    ----------
    content : CalibrationSet
    manoeuvre : Manoeuvre
    vehicle : Vehicle
    against : CalibrationSet, optional
        The set as it was before an edit, or another set.
    seed : int
        Of the sensors' noise.
    """
    return drive_all(content, [manoeuvre], vehicle, against=against, seed=seed)[0]


def drive_all(
    content: CalibrationSet,
    chosen: Iterable[Manoeuvre],
    vehicle: Vehicle,
    *,
    against: CalibrationSet | None = None,
    seed: int = 0,
) -> list[Result]:
    """Drive several manoeuvres; see `drive`."""
    mine = bench(content, vehicle)
    theirs = None if against is None else bench(against, vehicle)
    results = []
    for one in chosen:
        result = mine.drive(one, seed=seed)
        if theirs is not None:
            result = replace(result, against=theirs.drive(one, seed=seed))
        results.append(result)
    return results


def varied(
    vehicle: Vehicle, manoeuvre: Manoeuvre, point: Mapping[str, float]
) -> tuple[Vehicle, Manoeuvre]:
    """Return vehicle and manoeuvre at a point of a campaign; see `variations.VARIATIONS`.

    Parameters
    ----------
    vehicle : Vehicle
    manoeuvre : Manoeuvre
    point : mapping of variation to value
    """
    changes: dict[str, float] = {}
    for name, value in point.items():
        if name == "friction":
            manoeuvre = manoeuvre.with_friction(value)
        elif name == "temperature":
            manoeuvre = manoeuvre.warmer(value)
        else:
            changes.update({p: vehicle[p] * value for p in _SCALED[name]})
    return (vehicle.replaced(**changes) if changes else vehicle), manoeuvre


_SCALED: Mapping[str, tuple[str, ...]] = {
    "mass": ("mass", "yaw_inertia"),
    "tyre": ("slip_stiffness",),
    "sensor_noise": ("wheel_speed_noise",),
}


def missing_of(content: CalibrationSet, vehicle: Vehicle) -> dict[str, str]:
    """Return the parts of the controller that no table of a set can play, and why.

    Parameters
    ----------
    content : CalibrationSet
    vehicle : Vehicle
    """
    bound = bind(content, vehicle.constants)
    return {**dict.fromkeys(bound.missing, "no table plays it"), **bound.unusable}
