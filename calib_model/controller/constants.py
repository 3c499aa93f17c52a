"""What the controller's software knows of the vehicle, beside its tables."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any, cast

import numpy as np

from calib_model.core.arrays import FloatArray, frozen
from calib_model.errors import ModelError

WEAR, PRESSURE = "wear", "pressure"
SCENARIO = "invented scenario"

# Where a constant lies in `Constants.array`, which compiled code takes.
(
    TORQUE_PER_FRICTION,
    FRICTION,
    KMH_PER_SHAFT,
    MAX_CURRENT,
    DOG_TIME,
    HOLD_BAND,
    HOLD_DELAY,
    WHEELBASE,
    STEERING_RATIO,
    UNDERSTEER_GRADIENT,
    TURN_THRESHOLD,
    ARRAY_SIZE,
) = range(12)


def _part(
    default: Any, unit: str, meaning: str, origin: str = SCENARIO, *, least: float = 0.0
) -> Any:
    about = {"unit": unit, "meaning": meaning, "origin": origin, "least": least}
    return field(default=default, metadata=about)


@dataclass(frozen=True)
class Constants:
    """Constants of the controller; each field carries unit, meaning and origin as metadata.

    Raises
    ------
    ModelError
        If a value is not a number or not possible.
    """

    faces: int = _part(12, "-", "friction faces of the clutch")
    outer_radius: float = _part(0.062, "m", "outer radius of the friction faces")
    inner_radius: float = _part(0.048, "m", "inner radius of the friction faces")
    lining: str = _part(
        WEAR, "-", "how pressure is spread over the faces: uniform 'wear' or uniform 'pressure'"
    )
    friction: float = _part(0.12, "-", "friction coefficient where no table gives it")
    rear_ratio: float = _part(2.6, "-", "turns of the shaft per turn of the rear wheels")
    wheel_radius: float = _part(0.335, "m", "rolling radius of a wheel")
    wheelbase: float = _part(2.7, "m", "distance of the axles")
    track: float = _part(1.58, "m", "distance of the wheels of an axle")
    steering_ratio: float = _part(15.0, "-", "steering wheel angle per road wheel angle")
    understeer_gradient: float = _part(
        0.0025,
        "rad/(m/s2)",
        "road wheel angle per lateral acceleration beyond geometry, for the reference yaw rate",
        least=-math.inf,
    )
    turn_threshold: float = _part(
        2.0, "deg/s", "yaw rate above which it says which way the vehicle turns"
    )
    max_current: float = _part(14.0, "A", "what the actuator's motor may be given")
    dog_time: float = _part(0.08, "s", "time the dog clutch takes to engage")
    hold_band: float = _part(40.0, "N", "change of clamp that does not count as a move")
    hold_delay: float = _part(0.2, "s", "time without a move after which the current is lowered")
    tick: float = _part(0.02, "s", "controller tick where no table gives it")

    def __post_init__(self) -> None:
        for part in fields(self):
            value = getattr(self, part.name)
            if part.name == "lining":
                if value not in (WEAR, PRESSURE):
                    raise _impossible(part.name, value, f"Use {WEAR!r} or {PRESSURE!r}.")
                continue
            number = isinstance(value, int | float) and not isinstance(value, bool)
            least = part.metadata["least"]
            zero_fits = part.name in ("turn_threshold", "dog_time", "hold_band", "hold_delay")
            if (
                not number
                or not math.isfinite(value)
                or value < least
                or (value == least and not zero_fits)
            ):
                raise _impossible(part.name, value, f"Give a number above {least:g}.")
        if self.faces != int(self.faces):
            raise _impossible("faces", self.faces, "Give a whole number.")
        if self.inner_radius >= self.outer_radius:
            raise _impossible(
                "inner_radius", self.inner_radius, "It must be less than outer_radius."
            )

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> Constants:
        """Make constants from a mapping of names to values; what is left out keeps its default.

        Raises
        ------
        ModelError
            On a name that is not known, or an impossible value.
        """
        known = [part.name for part in fields(cls)]
        for name in plain:
            if name not in known:
                raise ModelError(
                    f"{name!r} is no constant of the controller.",
                    f"Known are {', '.join(known)}.",
                )
        return cls(**plain)

    def to_plain(self) -> dict[str, Any]:
        """Return the constants as a mapping that `from_plain` takes."""
        return {part.name: getattr(self, part.name) for part in fields(self)}

    @cached_property
    def effective_radius(self) -> float:
        """Radius in m at which the friction force of a face acts."""
        outer, inner = self.outer_radius, self.inner_radius
        if self.lining == WEAR:
            return (outer + inner) / 2
        return 2 / 3 * (outer**3 - inner**3) / (outer**2 - inner**2)

    def torque_capacity(self, clamp: float, friction: float | None = None) -> float:
        """Torque in N.m that the clutch carries at a clamp force in N."""
        mu = self.friction if friction is None else friction
        return self.faces * mu * clamp * self.effective_radius

    @cached_property
    def array(self) -> FloatArray:
        """What compiled code takes, shape (ARRAY_SIZE,), at this module's index constants."""
        array = np.zeros(ARRAY_SIZE)
        array[TORQUE_PER_FRICTION] = self.faces * self.effective_radius
        array[FRICTION] = self.friction
        array[KMH_PER_SHAFT] = 3.6 * self.wheel_radius / self.rear_ratio
        array[MAX_CURRENT] = self.max_current
        array[DOG_TIME] = self.dog_time
        array[HOLD_BAND] = self.hold_band
        array[HOLD_DELAY] = self.hold_delay
        array[WHEELBASE] = self.wheelbase
        array[STEERING_RATIO] = self.steering_ratio
        array[UNDERSTEER_GRADIENT] = self.understeer_gradient
        array[TURN_THRESHOLD] = self.turn_threshold
        return frozen(array)


def about(name: str) -> Mapping[str, Any]:
    """Return unit, meaning and origin of a constant."""
    for part in fields(Constants):
        if part.name == name:
            return cast("Mapping[str, Any]", part.metadata)
    raise ModelError(f"{name!r} is no constant of the controller.")


def _impossible(name: str, value: object, remedy: str) -> ModelError:
    unit = about(name)["unit"]
    return ModelError(f"{value!r} cannot be the constant {name} [{unit}].", remedy)


LARCH = Constants()
"""The invented van's."""
