"""Slip of the front wheels: how much is allowed, and what is done about more."""

from __future__ import annotations

import numpy as np

from calib_model.core.table import Table
from calib_model.rules.limits import Bounds
from calib_model.rules.plausibility import Covers
from calib_model.rules.relations import Relation
from calib_model.rules.shape import FixedValue, Kink, Monotone, ProductRises, Slope, Symmetry

from . import larch
from .parts import AT_CLUTCH, SAME, SPEED_SLIP, at, axis, over, relations, table

GROUP = "Slip control"
HUNTING = "hunting on ice"


def tables(mode: str) -> list[Table]:
    """Return the tables of the group for one drive mode."""
    return [
        _expected_difference(),
        _dead_band(mode),
        _target(mode),
        _gain(mode),
        _integral_gain(mode),
        _integral_release(mode),
    ]


def _expected_difference() -> Table:
    steering = axis("steering_angle", (-540, -360, -180, -90, 0, 90, 180, 360, 540))
    speed = axis("vehicle_speed", (0, 5, 10, 20, 40, 60, 100))
    s, v = over(steering, speed)
    road_wheel = np.radians(np.abs(s) / larch.STEERING_RATIO)
    speed_ms = v / 3.6
    # The turn is no tighter than geometry, nor than 7 m/s2 of lateral acceleration allows.
    tightest = larch.WHEELBASE / np.tan(np.maximum(road_wheel, 1e-9))
    radius = np.maximum(tightest, speed_ms**2 / 7.0)
    # With speed the rear axle drifts outward and the turning centre moves forward.
    forward = np.minimum(0.0065 * speed_ms**2, 1.2 * larch.WHEELBASE)
    front = np.hypot(radius, larch.WHEELBASE - forward)
    rear = np.hypot(radius, forward)
    difference = larch.REAR_RATIO / larch.WHEEL_RADIUS * speed_ms * (front / rear - 1)
    return table(
        "expected_axle_difference",
        "Expected axle speed difference",
        "rad/s",
        GROUP,
        (steering, speed),
        np.where(s == 0, 0.0, difference),
        (-4, 8),
        ("int16", "0.01"),
        (
            Symmetry("steering_angle", "even", reason="left and right turns are alike"),
            FixedValue(0.0, scope=at("steering_angle", 0), reason="no turn, no difference"),
            Covers(
                "steering_angle",
                -540,
                540,
                reason="the input is the steering wheel's angle, not the road wheel's",
            ),
            Bounds(-4, 8),
        ),
        SAME,
        "Speed difference between the axles, front less rear, that a turn makes without any slip; "
        "at the shaft (rear wheel speed times 2.6). Reads the signed steering wheel angle. "
        "Positive at low speed; it may turn negative at higher speed, where the rear axle drifts "
        "outward.",
    )


def _dead_band(mode: str) -> Table:
    band = np.array([0.4, 0.5, 0.7, 1.0, 1.4, 1.8])
    if mode == "low_grip":
        band = np.array([0.36, 0.44, 0.6, 0.84, 1.16, 1.5])
    return table(
        "slip_dead_band",
        "Slip dead band",
        "km/h",
        GROUP,
        (SPEED_SLIP,),
        band,
        (0.3, 2.5),
        ("uint8", "0.02"),
        (
            Monotone("vehicle_speed", "up", reason="tyre tolerances grow with speed"),
            Relation(
                "slip_target",
                "<=",
                offset=-0.02,
                reason="slip control must wake up before its target is reached",
            ),
        ),
        relations("<=", "=="),
        "Front slip, above the expected axle speed difference, that is not acted on. It covers "
        "the resolution of the wheel speed sensors and the tolerance of tyre radii.",
    )


def _target(mode: str) -> Table:
    pedal = axis("pedal", (0, 10, 20, 40, 70, 100))
    _, p = over(SPEED_SLIP, pedal)
    # Tyres pull best at a few per cent of slip, and never below the speed sensors' floor.
    light = np.array([1.0, 1.02, 1.2, 1.54, 1.98, 2.4])[:, None]
    full = np.array([3.2, 3.2, 3.1, 3.1, 3.3, 3.6])[:, None]
    target = light + (full - light) * (p / 100) ** 0.8
    target = target * {"normal": 1.0, "low_grip": 0.8, "towing": 0.85}[mode]
    return table(
        "slip_target",
        "Slip target",
        "km/h",
        GROUP,
        (SPEED_SLIP, pedal),
        target,
        (0.5, 5),
        ("uint8", "0.02"),
        (Monotone("pedal", "up", reason="a driver who asks for more accepts more slip"),),
        relations("<=", "<="),
        "Front slip that is allowed before the rear axle takes over. The other modes allow less.",
    )


def _gain(mode: str) -> Table:
    error = axis("slip_error", (0, 0.5, 1, 2, 4, 8))
    _, e = over(SPEED_SLIP, error)
    # Degressive: the product with the error keeps rising, but ever more slowly.
    small = np.array([300, 280, 240, 190, 150, 110])[:, None]
    gain = small / (1 + e / 6) * (0.7 if mode == "low_grip" else 1.0)
    return table(
        "slip_gain",
        "Slip feedback gain",
        "N.m/(km/h)",
        GROUP,
        (SPEED_SLIP, error),
        gain,
        (20, 400),
        ("uint16", "0.5"),
        (
            Bounds(20, 400),
            ProductRises("slip_error", reason="hunting on ice if more slip gave less torque"),
            Slope("slip_error", 60.0, -60.0, reason="a steep gain is a switch, not a control"),
            Kink("slip_error", 30.0, reason="a sharp bend is felt as a knock"),
        ),
        relations("free", "=="),
        f"Torque per km/h of slip error beyond dead band and target. {AT_CLUTCH} Too much gain "
        "hunts on ice.",
    )


def _integral_gain(mode: str) -> Table:
    gain = np.array([120, 105, 78, 50, 32, 20])
    if mode == "low_grip":
        gain = np.array([84, 74, 55, 36, 24, 15])
    return table(
        "slip_integral_gain",
        "Slip integral gain",
        "N.m/(km/h.s)",
        GROUP,
        (SPEED_SLIP,),
        gain,
        (0, 200),
        ("uint8", 1),
        (Monotone("vehicle_speed", "down", reason=HUNTING),),
        relations("free", "=="),
        f"Torque per second and km/h of lasting slip error. {AT_CLUTCH} Too much of it hunts on "
        "ice.",
    )


def _integral_release(mode: str) -> Table:
    rate = np.array([120, 150, 220, 330, 460, 600])
    if mode == "low_grip":
        rate = np.array([90, 115, 170, 260, 370, 500])
    return table(
        "slip_integral_release",
        "Slip integral release rate",
        "N.m/s",
        GROUP,
        (SPEED_SLIP,),
        rate,
        (50, 800),
        ("uint16", 1),
        (Monotone("vehicle_speed", "up", reason="wind-up is felt sooner at speed"),),
        relations("free", "=="),
        f"How fast the integral part lets go once the slip is gone. {AT_CLUTCH} Too slow leaves "
        "wind-up in the driveline.",
    )
