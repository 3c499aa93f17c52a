"""Manoeuvres as data: where, how it starts, what the driver does, and what is read off.

The ten that ship are common practice of the trade (no source).  Terms and signs follow ISO 8855;
standards are named only where a manoeuvre is built after one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Any

from ..errors import ModelError
from .scene import Brake, Patch, Scene, ground, path_of, profile

Points = tuple[tuple[float, float], ...]
NO_LIMITS: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True)
class Start:
    """How a manoeuvre starts.

    Parameters
    ----------
    speed : float
        km/h.
    connected : bool
        Whether the driveshaft is connected.
    ambient_temperature : float
        degC.
    motor_temperature, oil_temperature, plate_temperature : float or None
        degC; as the ambient temperature if None (a cold start).
    wiper_state : float
        0 off, 1 interval, 2 slow, 3 fast.
    """

    speed: float = 0.0
    connected: bool = True
    ambient_temperature: float = 20.0
    motor_temperature: float | None = None
    oil_temperature: float | None = None
    plate_temperature: float | None = None
    wiper_state: float = 0.0


@dataclass(frozen=True)
class Driver:
    """What the driver, and whoever runs the test, does; see `Scene` for each.

    Parameters
    ----------
    pedal, brake_pedal : points of (s, %)
    speed_target : points of (s, km/h)
    speed_control : steps of (s, 0 or 1)
        All the time if there is a speed target and nothing is said here.
    steering : points of (s, deg at the steering wheel)
    path : points of (m, m)
        Followed instead of steering where given.
    inside_brake_request : steps of (s, 0 or 1)
    brakes : tuple of Brake
    """

    pedal: Points = ()
    brake_pedal: Points = ()
    speed_target: Points = ()
    speed_control: Points = ()
    steering: Points = ()
    path: Points = ()
    inside_brake_request: Points = ()
    brakes: tuple[Brake, ...] = ()


@dataclass(frozen=True)
class Manoeuvre:
    """One manoeuvre.

    Parameters
    ----------
    id : str
    name, purpose : str
    duration : float
        s.
    surface : tuple of Patch
    grade : points of (m, %)
    start : Start
    driver : Driver
    metrics : tuple of str
        Names of `metrics.METRICS`.
    limits : mapping of metric to float
        What the user sets; a metric beyond it is marked.
    against_without : str
        A part of the driver (``inside_brake_request``, ``brakes``) that a second run leaves out;
        metrics that are changes are against that run.
    traction_control, brake_traction, slip_braking : bool
        See `Scene`.
    stop_speed, fixed_clutch_torque : float or None
        See `Scene`.
    """

    id: str
    name: str
    duration: float
    surface: tuple[Patch, ...]
    metrics: tuple[str, ...]
    purpose: str = ""
    grade: Points = ((0.0, 0.0),)
    start: Start = field(default_factory=Start)
    driver: Driver = field(default_factory=Driver)
    limits: Mapping[str, float] = field(default_factory=lambda: NO_LIMITS)
    against_without: str = ""
    traction_control: bool = True
    brake_traction: bool = True
    slip_braking: bool = True
    stop_speed: float | None = None
    fixed_clutch_torque: float | None = None

    @property
    def turns(self) -> bool:
        """Whether the driver steers, so that the path from above says something."""
        return bool(self.driver.path or self.driver.steering)

    def scene(self, seed: int = 0) -> Scene:
        """Return what the vehicle model drives.

        Parameters
        ----------
        seed : int
            Of the sensors' noise.
        """
        start, driver = self.start, self.driver
        control = driver.speed_control
        if driver.speed_target and not control:
            control = ((0.0, 1.0),)
        ambient = start.ambient_temperature
        return Scene(
            duration=self.duration,
            ground=ground(*self.surface, grade=[list(p) for p in self.grade]),
            speed=start.speed,
            connected=start.connected,
            pedal=profile(*driver.pedal),
            speed_target=profile(*driver.speed_target),
            speed_control=profile(*control),
            brake_pedal=profile(*driver.brake_pedal),
            steering=profile(*driver.steering),
            path=path_of(driver.path) if driver.path else profile(),
            brakes=driver.brakes,
            inside_brake_request=profile(*driver.inside_brake_request),
            ambient_temperature=ambient,
            motor_temperature=_or(start.motor_temperature, ambient),
            oil_temperature=_or(start.oil_temperature, ambient),
            plate_temperature=_or(start.plate_temperature, ambient),
            wiper_state=start.wiper_state,
            traction_control=self.traction_control,
            brake_traction=self.brake_traction,
            slip_braking=self.slip_braking,
            stop_speed=_or(self.stop_speed, math.nan),
            fixed_clutch_torque=_or(self.fixed_clutch_torque, math.nan),
            seed=seed,
        )

    def counterpart(self) -> Manoeuvre | None:
        """Return the run that changes are against, None if it needs none."""
        if not self.against_without:
            return None
        return replace(self, driver=replace(self.driver, **{self.against_without: ()}))

    def limited(self, limits: Mapping[str, float]) -> Manoeuvre:
        """Return it with the user's limits for its metrics; others are left out."""
        mine = {k: float(v) for k, v in limits.items() if k in self.metrics}
        return replace(self, limits=MappingProxyType({**self.limits, **mine}))

    def warmer(self, kelvin: float) -> Manoeuvre:
        """Return it with every temperature at the start raised."""
        start = self.start
        raised = {
            f.name: getattr(start, f.name) + kelvin
            for f in fields(Start)
            if f.name.endswith("_temperature") and getattr(start, f.name) is not None
        }
        return replace(self, start=replace(start, **raised))

    def with_friction(self, factor: float) -> Manoeuvre:
        """Return it with the friction of every surface multiplied."""
        return replace(self, surface=tuple(_scaled(p, factor) for p in self.surface))


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _scaled(patch: Patch, factor: float) -> Patch:
    curves = ground(patch).friction[0] * (factor, 1.0, factor)
    left, right = (tuple(side.tolist()) for side in curves)
    return replace(patch, left=left, right=right)


# -- plain data ---------------------------------------------------------------------------


def manoeuvre_to_plain(one: Manoeuvre) -> dict[str, Any]:
    """Return a manoeuvre as plain data, as a manoeuvre file has it; see `manoeuvre_file`."""
    plain: dict[str, Any] = {}
    for f in fields(Manoeuvre):
        value = getattr(one, f.name)
        if f.name in ("start", "driver"):
            plain[f.name] = _section(value)
        elif f.name == "surface":
            plain["surface"] = [_section(p) for p in value]
        elif f.name == "grade":
            plain["grade"] = [list(p) for p in value]
        elif f.name == "limits":
            plain["limits"] = dict(value)
        elif f.name == "metrics":
            plain["metrics"] = list(value)
        elif value is not None:
            plain[f.name] = value
    return plain


def _section(value: Any) -> dict[str, Any]:
    plain: dict[str, Any] = {}
    for f in fields(value):
        item = getattr(value, f.name)
        if item is None:
            continue
        if f.name == "brakes":
            item = [_section(b) for b in item]
        elif isinstance(item, tuple):
            item = [list(p) if isinstance(p, tuple) else p for p in item]
        plain[f.name] = item
    return plain


# -- the ten ------------------------------------------------------------------------------


def _lane_change(entry: float) -> Points:
    """Return the middle line of a double lane change after ISO 3888-1 (lengths from memory).

    Sections of 15, 30, 25, 25, 15 and 15 m, an offset of 3.5 m; entered after `entry` m, with
    the transitions rounded as a driver does.
    """
    corners: list[tuple[float, float]] = [(0.0, 0.0)]
    x = entry + 15.0
    for begin, length, y0, y1 in ((x, 30.0, 0.0, 3.5), (x + 55.0, 25.0, 3.5, 0.0)):
        for n in range(21):
            share = n / 20
            bend = share - math.sin(2 * math.pi * share) / (2 * math.pi)
            corners.append((begin + share * length, y0 + (y1 - y0) * bend))
    corners.append((x + 80.0 + 200.0, 0.0))
    return tuple(corners)


def _repeated(times: int, *points: tuple[float, float]) -> Points:
    """Return points over and over, every 10 s."""
    return tuple((10.0 * n + t, value) for n in range(times) for t, value in points)


_LAUNCH = ("time_to_30", "peak_front_slip", "time_to_first_clamp")
_CYCLE = ("limit_cycle_amplitude", "limit_cycle_frequency")

_SHIPPED = (
    Manoeuvre(
        id="launch_snow",
        name="Launch on snow",
        purpose="Is the torque there before the front wheels spin?",
        duration=10.0,
        surface=(Patch(0.0, "snow"),),
        start=Start(ambient_temperature=-20.0),
        # Light enough that the clutch does not lock on pre-engagement alone, whatever the set.
        driver=Driver(pedal=((0.5, 0.0), (0.9, 35.0))),
        metrics=(*_LAUNCH, *_CYCLE, "peak_plate_temperature", "speed_estimate_error"),
    ),
    Manoeuvre(
        id="hill_start_split",
        name="Hill start with split friction",
        purpose="Does the side with grip pull the vehicle away without rolling back?",
        duration=8.0,
        surface=(Patch(0.0, "snow", "wet"),),
        grade=((0.0, 10.0),),
        start=Start(ambient_temperature=0.0),
        driver=Driver(
            pedal=((0.5, 0.0), (0.9, 40.0)), brake_pedal=((0.0, 60.0), (0.7, 60.0), (0.9, 0.0))
        ),
        metrics=("roll_back", "grade_held", "torque_high_grip", "peak_front_slip", *_CYCLE),
    ),
    Manoeuvre(
        id="launch_ice",
        name="Launch on ice",
        purpose="Does slip control settle, or hunt?",
        duration=10.0,
        surface=(Patch(0.0, "ice"),),
        # Wet ice and a light pedal: colder, pre-engagement alone saturates the rear tyres.
        start=Start(ambient_temperature=2.0),
        driver=Driver(pedal=((0.5, 0.0), (0.9, 14.0))),
        metrics=("hunting_amplitude", *_CYCLE, "peak_front_slip", "speed_estimate_error"),
    ),
    Manoeuvre(
        id="parking_circle",
        name="Full-lock parking circle, dry",
        purpose="How hard do the axles fight each other in a tight turn?",
        duration=14.0,
        surface=(Patch(0.0, "dry"),),
        # Cold, yet dry: pre-engagement asks for much, and the steering limit must hold it back.
        start=Start(ambient_temperature=0.0),
        driver=Driver(
            steering=((0.0, 0.0), (1.5, 540.0)),
            speed_target=((2.0, 0.0), (4.0, 8.0)),
        ),
        metrics=("peak_wind_up", "torque_jump"),
        limits=MappingProxyType({"peak_wind_up": 110.0}),
    ),
    Manoeuvre(
        id="circle_inside_brake",
        name="Parking circle with inside-rear brake, snow",
        purpose="How much tighter does braking the inner rear wheel turn, and does it lock?",
        duration=20.0,
        surface=(Patch(0.0, "snow"),),
        start=Start(ambient_temperature=-5.0),
        driver=Driver(
            steering=((0.0, 0.0), (1.5, 540.0)),
            speed_target=((2.0, 0.0), (4.0, 6.0)),
            inside_brake_request=((0.0, 1.0),),
        ),
        metrics=("turning_circle", "turning_circle_change", "rear_wheel_lock_time"),
        against_without="inside_brake_request",
    ),
    Manoeuvre(
        id="kick_down",
        name="Highway cruise, then kick-down",
        purpose="Is the driveshaft at rest when it can be, and back when it is wanted?",
        duration=60.0,
        surface=(Patch(0.0, "wet"),),
        start=Start(
            speed=110.0, ambient_temperature=10.0, oil_temperature=50.0, plate_temperature=50.0
        ),
        driver=Driver(
            speed_target=((0.0, 110.0),),
            speed_control=((0.0, 1.0), (50.0, 0.0)),
            pedal=((49.9, 30.0), (50.2, 95.0)),
        ),
        metrics=("share_disconnected", "reconnects_per_hour", "reconnect_time"),
    ),
    Manoeuvre(
        id="repeated_hill_starts",
        name="Repeated hill starts in deep snow",
        purpose="How hot do the plates get, and how long is torque held back?",
        duration=160.0,
        surface=(Patch(0.0, 0.35, rolling=0.10),),
        grade=((0.0, 10.0),),
        start=Start(ambient_temperature=-5.0, oil_temperature=80.0, plate_temperature=80.0),
        driver=Driver(
            # Turned, so that the steering limit keeps the clutch from locking: that makes heat.
            steering=((0.0, 360.0),),
            pedal=_repeated(10, (1.0, 0.0), (1.5, 70.0), (8.0, 70.0), (8.3, 0.0)),
            brake_pedal=_repeated(10, (1.0, 60.0), (1.5, 0.0), (8.3, 0.0), (8.8, 60.0)),
        ),
        metrics=("peak_plate_temperature", "clutch_energy", "time_derated", "recovery_time"),
    ),
    Manoeuvre(
        id="steady_circle",
        name="Steady circle on snow, power on and lift off",
        purpose="How does the balance change with power, and how does the yaw rate answer a lift?",
        duration=18.0,
        surface=(Patch(0.0, "snow"),),
        start=Start(speed=22.0, ambient_temperature=-10.0),
        driver=Driver(
            steering=((0.0, 0.0), (2.0, 90.0)),
            speed_target=((0.0, 22.0),),
            speed_control=((0.0, 1.0), (9.0, 0.0)),
            pedal=((8.9, 10.0), (9.3, 40.0), (12.0, 40.0), (12.1, 0.0)),
        ),
        metrics=("understeer_gradient_change", "yaw_overshoot", "speed_estimate_error"),
    ),
    Manoeuvre(
        id="lane_change_brake",
        name="Lane change with brake intervention",
        purpose="Is the clutch open when brake control needs the wheels apart?",
        duration=9.0,
        surface=(Patch(0.0, "snow"),),
        start=Start(speed=24.0, ambient_temperature=-20.0),
        driver=Driver(
            path=_lane_change(5.0),
            pedal=((0.0, 15.0),),
            brakes=(Brake(3.0, 3.8, "fl", 350.0), Brake(6.0, 6.8, "fr", 350.0)),
        ),
        metrics=("clutch_opening_time", "residual_torque"),
    ),
    Manoeuvre(
        id="low_to_high_patch",
        name="Low-to-high friction patch",
        purpose="What is left of the torque when the front wheels find grip again?",
        duration=10.0,
        # Shorter than the wheelbase: the rear axle has grip while slip control fills the clutch.
        surface=(Patch(0.0, "wet"), Patch(3.0, "ice"), Patch(5.2, "wet")),
        start=Start(ambient_temperature=0.0),
        driver=Driver(pedal=((0.5, 0.0), (0.9, 30.0))),
        metrics=("torque_overshoot", "release_time", "peak_front_slip"),
    ),
)

MANOEUVRES: Mapping[str, Manoeuvre] = MappingProxyType({m.id: m for m in _SHIPPED})
"""The ten that ship, by id."""


def manoeuvre(id: str, among: Mapping[str, Manoeuvre] = MANOEUVRES) -> Manoeuvre:
    """Return a manoeuvre by its id.

    Raises
    ------
    ModelError
        Naming those there are.
    """
    found = among.get(id)
    if found is None:
        raise ModelError(f"There is no manoeuvre {id!r}.", f"Use one of {', '.join(among)}.")
    return found
