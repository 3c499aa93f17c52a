"""Metrics of turning: wind-up, the turning circle, balance, yaw.

Terms are those of ISO 8855; definitions without a named source are this project's own, after
common practice.
"""

from __future__ import annotations

import itertools

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from .metrics import DrivenRun, Metric, NoValue
from .trace import Trace

JUMP_SECONDS = 0.1
LOCKS_BELOW = 0.15
"""A wheel locks while it turns at less than this share of the vehicle's speed."""


def _at_lock(drive: DrivenRun) -> BoolArray:
    """Return the ticks near the largest steering angle, on the move for a second."""
    angle = np.abs(drive["steering_angle"])
    moving = drive["speed"] > 1.0
    at = (angle >= 0.95 * angle.max()) & moving
    first = np.flatnonzero(at)
    if angle.max() < 90.0 or not first.size:
        raise NoValue("The vehicle never moves with the steering turned.")
    later: BoolArray = at & drive.since(float(drive.time[first[0]]) + 1.0)
    return later


def _peak_wind_up(drive: DrivenRun) -> float:
    at = _at_lock(drive)
    if not at.any():
        raise NoValue("The turn is shorter than a second.")
    return float(np.abs(drive["clutch_torque"][at]).max())


def _torque_jump(drive: DrivenRun) -> float:
    apart = max(1, round(JUMP_SECONDS / drive.trace.tick))
    at = _at_lock(drive)
    both = at[:-apart] & at[apart:]
    if not both.any():
        raise NoValue("The turn is shorter than a second.")
    torque = drive["clutch_torque"]
    return float(np.abs(torque[apart:] - torque[:-apart])[both].max())


def fitted_circle(x: FloatArray, y: FloatArray) -> tuple[float, float, float]:
    """Return centre and radius of the circle nearest to points (algebraic least squares).

    Parameters
    ----------
    x, y : (n,) float array
        m.
    """
    cx, cy = float(x.mean()), float(y.mean())
    u, v = x - cx, y - cy
    rows = np.stack([2 * u, 2 * v, np.ones_like(u)], axis=1)
    (a, b, c), *_ = np.linalg.lstsq(rows, u**2 + v**2, rcond=None)
    return cx + float(a), cy + float(b), float(np.sqrt(c + a**2 + b**2))


def _circle(trace: Trace, drive: DrivenRun) -> float:
    time = trace.columns["time"]
    late = time >= time[-1] - 0.4 * drive.manoeuvre.duration
    heading = np.radians(trace["heading"][late])
    turned = float(np.degrees(np.abs(heading[-1] - heading[0])))
    if turned < 45.0:
        raise NoValue(f"It turns by {turned:.0f}° only in the last part of the drive.")
    left = heading[-1] > heading[0]
    vehicle = drive.vehicle
    ahead = vehicle.centre[0]
    out = (-0.5 if left else 0.5) * vehicle.constants.track  # the outer front wheel
    x = trace["x"][late] + ahead * np.cos(heading) - out * np.sin(heading)
    y = trace["y"][late] + ahead * np.sin(heading) + out * np.cos(heading)
    return 2.0 * fitted_circle(x, y)[2]


def _turning_circle(drive: DrivenRun) -> float:
    return _circle(drive.trace, drive)


def _turning_circle_change(drive: DrivenRun) -> float:
    if drive.counterpart is None:
        raise NoValue("The manoeuvre has no drive without the inside brake to compare with.")
    if not drive.counterpart.completed:
        raise NoValue("The drive without the inside brake did not end as meant.")
    return _circle(drive.trace, drive) - _circle(drive.counterpart, drive)


def _rear_wheel_lock_time(drive: DrivenRun) -> float:
    speed = drive["speed"]
    slowest = np.minimum(drive["wheel_speed_rl"], drive["wheel_speed_rr"])
    locked = (speed > 1.0) & (slowest < LOCKS_BELOW * speed)
    return float(np.count_nonzero(locked) * drive.trace.tick)


def _power_times(drive: DrivenRun) -> tuple[float, float]:
    """Return when power comes on and when it goes off, s."""
    points = drive.manoeuvre.driver.pedal
    pairs = list(itertools.pairwise(points))
    ups = [a[0] for a, b in pairs if b[1] > a[1] + 5.0]
    downs = [a[0] for a, b in pairs if b[1] < a[1] - 5.0 and b[1] < 5.0]
    if not ups or not any(d > ups[0] for d in downs):
        raise NoValue("The driver does not give power and lift off again.")
    on = ups[0]
    return on, next(d for d in downs if d > on)


def _understeer_gradient(drive: DrivenRun, start: float, end: float) -> float:
    """Return the mean understeer gradient over a stretch, deg/(m/s2) at the road wheel.

    ISO 4138 and ISO 8855 (from memory): road wheel angle beyond the Ackermann angle, per lateral
    acceleration; here from one steady stretch, delta/(v r) - L/v^2.
    """
    at = drive.since(start, end)
    speed = drive["speed"][at] / 3.6
    yaw = np.radians(drive["yaw_rate"][at])
    constants = drive.vehicle.constants
    wheel = np.radians(drive["steering_angle"][at]) / constants.steering_ratio
    lateral = speed * yaw
    if not at.any() or np.abs(lateral).min() < 0.1:
        raise NoValue("The vehicle does not turn steadily (below 0.1 m/s²).")
    return float(np.degrees(np.mean((wheel - constants.wheelbase * yaw / speed) / lateral)))


def _understeer_gradient_change(drive: DrivenRun) -> float:
    on, off = _power_times(drive)
    steady = _understeer_gradient(drive, on - 1.5, on)
    late = max(on + 0.5, off - 1.0)
    return abs(_understeer_gradient(drive, late, off) - steady)


def _yaw_overshoot(drive: DrivenRun) -> float:
    _, off = _power_times(drive)
    yaw = drive["yaw_rate"]
    before = float(yaw[drive.since(off - 0.5, off)].mean())
    after = drive.since(off, off + 2.0)
    if abs(before) < 1.0 or not after.any():
        raise NoValue("The vehicle does not turn when the driver lifts off.")
    return max(0.0, float(np.max(yaw[after] / before) - 1.0) * 100.0)


METRICS = (
    Metric(
        "peak_wind_up",
        "Peak wind-up torque",
        "N.m",
        "lower",
        "Highest clutch torque near full lock, from a second after moving off.",
        _peak_wind_up,
    ),
    Metric(
        "torque_jump",
        "Largest torque jump",
        "N.m",
        "lower",
        f"Largest change of clutch torque within {JUMP_SECONDS:g} s near full lock.",
        _torque_jump,
    ),
    Metric(
        "turning_circle",
        "Turning circle",
        "m",
        "lower",
        "Diameter of the outer front wheel's track, over the last 40 % of the drive.",
        _turning_circle,
    ),
    Metric(
        "turning_circle_change",
        "Change of turning circle",
        "m",
        "lower",
        "Against the same drive without the inside-rear brake; negative is tighter.",
        _turning_circle_change,
    ),
    Metric(
        "rear_wheel_lock_time",
        "Rear wheel lock time",
        "s",
        "lower",
        f"While a rear wheel turns at less than {LOCKS_BELOW:.0%} of the vehicle's speed.",
        _rear_wheel_lock_time,
    ),
    Metric(
        "understeer_gradient_change",
        "Understeer gradient change, either way",
        "deg/(m/s2)",
        "lower",
        "Size of the change from steady to power on; gradient as in ISO 4138, at the road wheel.",
        _understeer_gradient_change,
    ),
    Metric(
        "yaw_overshoot",
        "Yaw overshoot at lift-off",
        "%",
        "lower",
        "Highest yaw rate within 2 s of lifting off, above the mean of the half second before.",
        _yaw_overshoot,
    ),
)
