"""What a manoeuvre gives the vehicle model, in plain arrays.

A `Scene` says where the vehicle drives, how it starts, what its driver does and what the brakes
do to it; the manoeuvres build scenes, `calib_model.vehicle.simulate.simulate` drives them.  Axes
and signs follow ISO 8855: x forward, y left, yaw and steering positive to the left.

Profiles are arrays of shape (n, 2): time in s from the start, and a value; linear between rows,
the first and last value held.  Steps are alike, but hold a value until the next row.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from calib_model.core.arrays import FloatArray, frozen
from calib_model.errors import ModelError

WHEELS = ("fl", "fr", "rl", "rr")
"""Order of the wheels wherever there are four: front left, front right, rear left, rear right."""

SURFACES = MappingProxyType(
    {
        # Coefficients of M. Burckhardt's friction curve mu(s) = c1 (1 - exp(-c2 s)) - c3 s, as
        # often quoted (from memory: Burckhardt, Fahrwerktechnik: Radschlupf-Regelsysteme, 1993).
        "dry": (1.2801, 23.99, 0.52),
        "wet": (0.857, 33.822, 0.347),
        "snow": (0.1946, 94.129, 0.0646),
        "ice": (0.05, 306.39, 0.0),
    }
)
"""Friction curve per surface: c1, c2, c3."""

_EMPTY: FloatArray = frozen(np.zeros((0, 2)))


def no_profile() -> FloatArray:
    """Return a profile without rows: nothing happens."""
    return _EMPTY


def surface_at(peak: float, like: str = "snow") -> tuple[float, float, float]:
    """Return the friction curve of a surface, scaled to a given peak friction.

    Parameters
    ----------
    peak : float
        Highest friction coefficient.
    like : str
        The surface whose shape is kept.
    """
    c1, c2, c3 = SURFACES[like]
    factor = peak / peak_friction((c1, c2, c3))
    return c1 * factor, c2, c3 * factor


def peak_friction(curve: Sequence[float]) -> float:
    """Return the highest friction coefficient of a friction curve, for slips up to 1."""
    c1, c2, c3 = curve
    if c3 <= 0:
        return float(c1 * (1 - np.exp(-c2)) - c3)
    slip = min(float(np.log(c1 * c2 / c3) / c2), 1.0)
    return float(c1 * (1 - np.exp(-c2 * slip)) - c3 * slip)


@dataclass(frozen=True, eq=False)
class Ground:
    """The road: patches one after the other, each with a left and a right side.

    Parameters
    ----------
    start : (n,) float array
        Where each patch begins: m of way driven, or s if `over_time`; the first one is held
        before its start.
    friction : (n, 2, 3) float array
        Burckhardt's c1, c2, c3 per patch, for the left and the right wheels.
    rolling : (n,) float array
        Rolling resistance added by the ground (deep snow), as a share of the wheel load.
    grade : (n, 2) float array
        m of way driven, and grade in % (positive uphill); linear between rows, ends held.
    over_time : bool
        Patches begin at times rather than places; all wheels then change at once.

    Raises
    ------
    ModelError
        If the arrays do not belong together.
    """

    start: FloatArray
    friction: FloatArray
    rolling: FloatArray
    grade: FloatArray = field(default_factory=no_profile)
    over_time: bool = False

    def __post_init__(self) -> None:
        for name in ("start", "friction", "rolling", "grade"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        n = self.start.size
        if (
            n == 0
            or self.friction.shape != (n, 2, 3)
            or self.rolling.shape != (n,)
            or self.grade.ndim != 2
            or self.grade.shape[1:] != (2,)
        ):
            raise ModelError("The ground's arrays do not belong together.", "Use `ground`.")
        if np.any(np.diff(self.start) <= 0) or np.any(np.diff(self.grade[:, 0]) <= 0):
            raise ModelError("Patches and grades go forward.", "Put their starts in order.")
        if not (np.isfinite(self.friction).all() and (self.friction[..., :2] > 0).all()):
            raise ModelError("Friction is above zero.", "Mend the surface's coefficients.")


@dataclass(frozen=True)
class Patch:
    """A stretch of road of one kind.

    Parameters
    ----------
    start : float
        m of way driven (or s, see `Ground.over_time`).
    left, right : str, float or (c1, c2, c3)
        A name of `SURFACES`, the peak friction of a snow-like surface, or Burckhardt's
        coefficients.  `right` is as `left` if it is not given.
    rolling : float
        Added rolling resistance, as a share of the wheel load.
    """

    start: float
    left: str | float | tuple[float, float, float]
    right: str | float | tuple[float, float, float] | None = None
    rolling: float = 0.0


def ground(
    *patches: Patch | str | float, grade: float | npt.ArrayLike = 0.0, over_time: bool = False
) -> Ground:
    """Return a road of patches; a bare surface counts as one patch from the start on.

    Parameters
    ----------
    *patches : Patch, str or float
    grade : float or (n, 2) array_like
        Grade in %, everywhere or over m of way driven.
    over_time : bool
        Patches begin at times in s.
    """
    rows = [p if isinstance(p, Patch) else Patch(0.0, p) for p in patches]
    friction = [[_curve(p.left), _curve(p.left if p.right is None else p.right)] for p in rows]
    slope = [[0.0, grade]] if np.ndim(grade) == 0 else grade
    return Ground(
        np.array([p.start for p in rows], dtype=np.float64),
        np.array(friction, dtype=np.float64),
        np.array([p.rolling for p in rows], dtype=np.float64),
        np.asarray(slope, dtype=np.float64),
        over_time,
    )


def _curve(surface: str | float | tuple[float, float, float]) -> tuple[float, float, float]:
    if isinstance(surface, str):
        try:
            return SURFACES[surface]
        except KeyError:
            known = ", ".join(SURFACES)
            raise ModelError(
                f"There is no surface {surface!r}.", f"Use one of {known}, or a friction."
            ) from None
    if isinstance(surface, int | float):
        return surface_at(float(surface))
    return surface


@dataclass(frozen=True)
class Brake:
    """A brake torque from outside: what brake control does in a test.

    Parameters
    ----------
    start, end : float
        s.
    wheel : str
        One of `WHEELS`.
    torque : float
        N.m at the wheel.
    active : bool
        Whether the controller is told that brake control is active (its `brake_state`).
    """

    start: float
    end: float
    wheel: str
    torque: float
    active: bool = True


def profile(*points: tuple[float, float]) -> FloatArray:
    """Return an (n, 2) array of times in s and values, as profiles and steps want it."""
    return frozen(np.array(points, dtype=np.float64).reshape(-1, 2))


@dataclass(frozen=True, eq=False)
class Scene:
    """One drive, in plain arrays.

    Parameters
    ----------
    duration : float
        s.
    ground : Ground
    speed : float
        At the start, km/h; the wheels roll with it.
    heading : float
        At the start, deg from the x axis.
    connected : bool
        Whether the driveshaft is connected at the start; it stands still if not.
    pedal : profile
        Accelerator, %.
    speed_target : profile
        km/h; the driver follows it with accelerator and brake while `speed_control` is 1.
    speed_control : steps
        0: accelerator and brake are as `pedal` and `brake_pedal` say; 1: the speed is followed.
    brake_pedal : profile
        %; acts beside what the driver does to follow a speed.
    steering : profile
        Steering wheel angle, deg.
    path : (n, 2) float array
        x and y in m of a path to follow; with two rows or more, `steering` is not used.  The
        vehicle starts at the origin, heading along `heading`.
    brakes : tuple of Brake
    inside_brake_request : steps
        1 while the low-speed turning aid is wanted.
    ambient_temperature, motor_temperature, oil_temperature, plate_temperature : float
        At the start, degC; those of ambient and motor stay.
    wiper_state : float
        0 off, 1 interval, 2 slow, 3 fast.
    traction_control, brake_traction, slip_braking : bool
        Whether the engine's traction control, the braking of a single spinning driven wheel,
        and the brakes' lock prevention work.
    fixed_clutch_torque : float
        N.m the clutch can carry, whatever the controller says; NaN for the controller.
    fixed_drive_torque : float
        N.m at the front axle, whatever the engine does; NaN for the engine.
    stop_speed : float
        km/h at which the drive ends, having been below it before; NaN for none.
    seed : int
        Of the sensor noise (none where the vehicle's sensors have none).

    Raises
    ------
    ModelError
        On a profile that is no (n, 2) array in order of time.
    """

    duration: float
    ground: Ground = field(default_factory=lambda: ground("dry"))
    speed: float = 0.0
    heading: float = 0.0
    connected: bool = True
    pedal: FloatArray = field(default_factory=no_profile)
    speed_target: FloatArray = field(default_factory=no_profile)
    speed_control: FloatArray = field(default_factory=no_profile)
    brake_pedal: FloatArray = field(default_factory=no_profile)
    steering: FloatArray = field(default_factory=no_profile)
    path: FloatArray = field(default_factory=no_profile)
    brakes: tuple[Brake, ...] = ()
    inside_brake_request: FloatArray = field(default_factory=no_profile)
    ambient_temperature: float = 20.0
    motor_temperature: float = 20.0
    oil_temperature: float = 40.0
    plate_temperature: float = 40.0
    wiper_state: float = 0.0
    traction_control: bool = True
    brake_traction: bool = True
    slip_braking: bool = True
    fixed_clutch_torque: float = float("nan")
    fixed_drive_torque: float = float("nan")
    stop_speed: float = float("nan")
    seed: int = 0

    def __post_init__(self) -> None:
        if not 0 < self.duration <= 3600:
            raise ModelError(
                f"A drive of {self.duration:g} s cannot be run.", "Give it up to 3600 s."
            )
        for name in PROFILES:
            rows = frozen(getattr(self, name))
            if rows.ndim != 2 or rows.shape[1] != 2 or not np.isfinite(rows).all():
                raise ModelError(
                    f"{name} is no list of times and values.", "Make it with `profile`."
                )
            if name != "path" and np.any(np.diff(rows[:, 0]) <= 0):
                raise ModelError(f"The times of {name} are not in order.", "Sort them.")
            object.__setattr__(self, name, rows)
        for brake in self.brakes:
            if brake.wheel not in WHEELS:
                raise ModelError(
                    f"There is no wheel {brake.wheel!r}.", f"Use one of {', '.join(WHEELS)}."
                )


PROFILES = (
    "pedal",
    "speed_target",
    "speed_control",
    "brake_pedal",
    "steering",
    "path",
    "inside_brake_request",
)


def mirrored(scene: Scene) -> Scene:
    """Return the scene with left and right exchanged."""
    flip = np.array([1.0, -1.0])
    other = {"fl": "fr", "fr": "fl", "rl": "rr", "rr": "rl"}
    return replace(
        scene,
        ground=replace(scene.ground, friction=scene.ground.friction[:, ::-1].copy()),
        heading=-scene.heading,
        steering=scene.steering * flip,
        path=scene.path * flip,
        brakes=tuple(replace(b, wheel=other[b.wheel]) for b in scene.brakes),
    )


def circle(radius: float, turns: float = 1.0, points: int = 361) -> FloatArray:
    """Return a path that turns left from the origin on a circle of a radius in m."""
    angle = np.linspace(0.0, 2 * np.pi * turns, points)
    return frozen(np.stack([radius * np.sin(angle), radius * (1 - np.cos(angle))], axis=1))


def path_of(points: Iterable[tuple[float, float]], spacing: float = 0.5) -> FloatArray:
    """Return a path through points, cut into pieces of about `spacing` m."""
    corners = np.array(list(points), dtype=np.float64)
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    at = np.linspace(0.0, length[-1], max(int(length[-1] / spacing) + 1, 2))
    return frozen(np.stack([np.interp(at, length, corners[:, k]) for k in (0, 1)], axis=1))
