"""Two drives of the invented van: speed, steering, slip and weather as scripts, no faults yet.

Kinematics by hand: a driver follows a speed profile, the wheels follow the vehicle, and the front
axle slips where the script says so.  Nothing here was measured on a real vehicle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib_model.controller.constants import LARCH
from calib_model.core.calibration_set import CalibrationSet
from calib_model.lookup.reference import lookup

Array = npt.NDArray[np.float64]
Knots = tuple[tuple[float, float], ...]

BASE_RATE = 100
"""Samples per second at which the script works; channels are thinned from it."""
STEPS = {
    "vehicle_speed": 0.05,
    **{f"wheel_speed_{corner}": 0.05 for corner in ("fl", "fr", "rl", "rr")},
    "steering_angle": 0.5,
    "yaw_rate": 0.05,
    "lateral_acceleration": 0.02,
    "pedal": 0.4,
    "grade": 0.5,
    "ambient_temperature": 0.1,
    "oil_temperature": 0.5,
    "motor_temperature": 0.5,
}
"""Resolution of what is measured, in the controller's unit; states and times have none."""
KMH_PER_SHAFT = 3.6 * LARCH.wheel_radius / LARCH.rear_ratio


@dataclass(frozen=True)
class Script:
    """What happens, by knots of (second, value) that are joined by lines.

    Parameters
    ----------
    seconds : float
    speed : Knots
        km/h
    steering : Knots
        deg at the steering wheel, left positive.
    grade, ambient : Knots
        %, degC
    pedal : Knots
        % on top of what the speed profile asks for.
    slip : tuple of (second, seconds, km/h)
        Bursts of front slip.
    wiper, brake_control, inside_brake : tuple of (from, to, value)
        States; 0 elsewhere.
    oil, motor : tuple of (start, end, time constant)
        Temperatures in degC that settle.
    """

    seconds: float
    speed: Knots
    steering: Knots
    grade: Knots
    ambient: Knots
    pedal: Knots
    slip: tuple[tuple[float, float, float], ...]
    wiper: tuple[tuple[float, float, float], ...]
    brake_control: tuple[tuple[float, float, float], ...]
    inside_brake: tuple[tuple[float, float, float], ...]
    oil: tuple[float, float, float]
    motor: tuple[float, float, float]
    seed: int


SNOW_ROUND = Script(
    seconds=420.0,
    speed=(
        (0, 0), (10, 0), (18, 32), (30, 34), (36, 26), (44, 33), (52, 0), (66, 0),
        (69, 6.5), (92, 7.5), (95, 0), (98, 0), (100, 6), (110, 6), (112, 3),
        (114, 3), (126, 50), (150, 54), (158, 0), (168, 0), (180, 42), (196, 62),
        (236, 64), (246, 58), (256, 66), (276, 60), (279, 52), (281, 30), (286, 0), (296, 0),
        (309, 38), (330, 42), (338, 30), (352, 46), (368, 34), (376, 0), (384, 0), (387, 7),
        (404, 6.5), (408, 0), (420, 0),
    ),
    steering=(
        (0, 0), (22, 0), (25, 60), (29, 60), (32, 0), (66, 0), (70, 515), (91, 520), (94, 0),
        (98, 0), (101, -470), (109, -480), (113, 0), (130, 0), (134, -45), (140, -45), (144, 0),
        (200, 0), (206, 28), (216, 30), (222, 0), (240, 0), (246, -40), (254, -42), (260, 0),
        (334, 0), (338, 95), (344, 95), (348, 0), (384, 0), (388, -505), (402, -510), (406, 0),
        (420, 0),
    ),
    grade=((0, 0), (140, 0), (152, 14), (176, 14), (188, 3), (230, -2), (270, 0), (420, 0)),
    ambient=((0, -10.6), (60, -9.8), (140, -8.4), (220, -7.6), (300, -8.2), (360, -6.6),
             (420, -6.1)),
    pedal=((0, 0), (10, 0), (11.5, 22), (15, 18), (18, 0), (69, 0), (72, 14), (76, 18), (90, 17),
           (93, 0), (114, 0), (116, 14), (122, 0), (159, 0), (161, 8), (167, 8), (168.5, 26),
           (174, 12), (180, 0), (296, 0), (298, 42), (304, 30), (309, 0), (386, 0), (390, 12),
           (401, 14), (404, 0), (420, 0)),
    slip=((10.6, 2.6, 7.5), (114.4, 2.2, 5.0), (168.6, 2.8, 6.2), (297.2, 4.5, 9.5),
          (299.6, 2.0, 6.0), (344.6, 1.2, 3.4)),
    wiper=((0, 110, 1), (110, 250, 2), (250, 300, 1)),
    brake_control=((247.6, 249.0, 1), (279.4, 282.0, 1)),
    inside_brake=((100.5, 111.0, 1),),
    oil=(-6.0, 24.0, 260.0),
    motor=(-8.0, 14.0, 180.0),
    seed=20260211,
)  # fmt: skip
"""A delivery round on snow: launches, a full-lock turn, a hill, a stop on ice."""

HIGHWAY = Script(
    seconds=460.0,
    speed=(
        (0, 0), (8, 0), (24, 52), (40, 58), (62, 96), (70, 108), (150, 112), (170, 106), (190, 114),
        (212, 112), (220, 113), (228, 132), (246, 128), (262, 104), (330, 108), (350, 110),
        (366, 84), (374, 70), (384, 74), (398, 100), (410, 104), (430, 96), (444, 40), (454, 0),
        (460, 0),
    ),
    steering=(
        (0, 0), (12, 0), (16, 120), (19, 120), (23, 0), (48, 0), (54, -38), (60, -38), (64, 0),
        (100, 0), (108, 9), (128, 9), (136, -8), (160, -7), (168, 0), (222, 0), (224, 12),
        (226, 0), (228, -12), (230, 0), (280, 0), (290, 8), (320, 8), (326, 0), (434, 0),
        (438, -60), (444, -60), (448, 0), (460, 0),
    ),
    grade=((0, 0), (80, 0), (110, 2), (180, -1), (260, 0), (330, 3), (360, 0), (460, 0)),
    ambient=((0, 7.8), (120, 8.4), (300, 9.2), (460, 8.6)),
    pedal=((0, 0), (219.6, 0), (220.2, 70), (225, 60), (227, 0), (460, 0)),
    slip=((8.4, 1.2, 1.6),),
    wiper=((250, 330, 1),),
    brake_control=(),
    inside_brake=(),
    oil=(18.0, 52.0, 320.0),
    motor=(20.0, 44.0, 260.0),
    seed=20260302,
)  # fmt: skip
"""Onto a highway: disconnection, a kick-down that reconnects, an exit."""


def signals(script: Script, content: CalibrationSet) -> dict[str, Array]:
    """Return the signals of a drive as its sensors give them: see `exact_signals`, in `STEPS`."""
    exact = exact_signals(script, content)
    return {name: _rounded(v, STEPS[name]) if name in STEPS else v for name, v in exact.items()}


def exact_signals(script: Script, content: CalibrationSet) -> dict[str, Array]:
    """Return the signals of a drive at `BASE_RATE`, by the controller's names and units.

    Their last bits depend on the processor, so that what is rounded from them may differ by a
    step where a value lies half way between two.

    Parameters
    ----------
    script : Script
    content : CalibrationSet
        Gives the axle speed difference that this van has in a turn without slip.
    """
    rng = np.random.default_rng(script.seed)
    n = round(script.seconds * BASE_RATE) + 1
    time = np.arange(n) / BASE_RATE
    speed = _smooth(_line(script.speed, time), 1.6)
    speed = np.where(speed < 0.05, 0.0, speed)
    steering = _smooth(_line(script.steering, time), 0.8)
    grade = _smooth(_line(script.grade, time), 2.0)
    pull = np.gradient(speed / 3.6, time)
    asked = 5.0 + 20.0 * pull + 0.16 * speed + 2.2 * grade * (speed > 0.5)
    driving = (pull > -0.25) & (speed > 0.2)
    pedal = _smooth(np.where(driving, np.maximum(asked, 0), 0), 0.5) + _line(script.pedal, time)
    pedal = np.clip(pedal + rng.normal(0, 0.2, n) * (pedal > 1), 0, 100)
    v = speed / 3.6
    turn = LARCH.wheelbase + LARCH.understeer_gradient * v * v
    yaw = np.degrees(v / turn * np.tan(np.radians(steering / LARCH.steering_ratio)))
    yaw *= 0.96  # a little understeer, as on snow
    lateral = v * np.radians(yaw)
    expected = content.by_role("expected_axle_difference")
    assert expected is not None
    order = [
        {"steering_angle": steering, "vehicle_speed": speed}[a.quantity] for a in expected.axes
    ]
    excess = lookup(expected, tuple(order)) * KMH_PER_SHAFT
    slip = sum((_burst(time, *b) for b in script.slip), np.zeros(n))
    front = speed + excess + slip
    spread = 3.6 * np.radians(yaw) * LARCH.track / 2
    moving = speed > 0.3
    return {
        "time": time,
        "vehicle_speed": speed,
        "wheel_speed_fl": _wheel(front - spread + 0.3 * slip, moving | (slip > 0.2), rng),
        "wheel_speed_fr": _wheel(front + spread - 0.3 * slip, moving | (slip > 0.2), rng),
        "wheel_speed_rl": _wheel(speed - spread, moving, rng),
        "wheel_speed_rr": _wheel(speed + spread, moving, rng),
        "steering_angle": steering + rng.normal(0, 0.3, n),
        "yaw_rate": yaw + rng.normal(0, 0.08, n),
        "lateral_acceleration": lateral + rng.normal(0, 0.04, n),
        "pedal": pedal,
        "grade": grade + rng.normal(0, 0.15, n),
        "ambient_temperature": _line(script.ambient, time),
        "oil_temperature": _settling(script.oil, time),
        "motor_temperature": _settling(script.motor, time),
        "wiper_state": _states(script.wiper, time),
        "brake_state": _states(script.brake_control, time),
        "inside_brake_request": _states(script.inside_brake, time),
    }


def _line(knots: Knots, time: Array) -> Array:
    t, v = zip(*knots, strict=True)
    return np.interp(time, t, v)


def _smooth(values: Array, seconds: float) -> Array:
    """Round off corners: a weighted mean over so many seconds, ends held."""
    half = round(seconds * BASE_RATE / 2)
    window = np.hanning(2 * half + 3)[1:-1]
    padded = np.concatenate([np.full(half, values[0]), values, np.full(half, values[-1])])
    return np.convolve(padded, window / window.sum(), mode="valid")


def _burst(time: Array, start: float, seconds: float, peak: float) -> Array:
    """Front slip that rises within a fifth of its time and dies away."""
    u = np.clip((time - start) / seconds, 0.0, 1.0)
    rise = np.clip(u / 0.2, 0, 1)
    return np.asarray(peak * np.sin(rise * np.pi / 2) ** 2 * np.cos(u * np.pi / 2) ** 2)


def _settling(about: tuple[float, float, float], time: Array) -> Array:
    start, end, constant = about
    return np.asarray(end + (start - end) * np.exp(-time / constant))


def _states(spans: tuple[tuple[float, float, float], ...], time: Array) -> Array:
    found = np.zeros(time.size)
    for start, end, value in spans:
        found[(time >= start) & (time < end)] = value
    return found


def _wheel(speed: Array, moving: npt.NDArray[np.bool_], rng: np.random.Generator) -> Array:
    noisy = np.maximum(speed + rng.normal(0, 0.03, speed.size), 0.0)
    return np.where(moving, noisy, 0.0)


def _rounded(values: Array, step: float) -> Array:
    return np.round(np.round(values / step) * step, 6)
