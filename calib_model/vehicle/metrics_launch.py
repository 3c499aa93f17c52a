"""Metrics of pulling away: launches, hill starts, hunting, heat.

Definitions without a named source are this project's own, after common practice.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..core.arrays import FloatArray
from .metrics import DrivenRun, Metric, NoValue
from .scene import ground, peak_friction
from .trace import Trace

CARRIES = 50.0
"""Torque in N.m from which the clutch counts as clamped: above what cruising asks for."""

HELD_ROLL_BACK = 0.3
"""Roll-back in m up to which a grade counts as held."""

STEEPEST, GRADE_STEP = 40.0, 0.5
HUNTS = 5.0
"""Amplitude in N.m below which torque does not hunt: about ten steps of its storage."""

SETTLES = 1.5
"""s after the pedal, from which on torque may hunt: before that it rises."""
LINE_SHARE = 0.5
"""What share of the hunting a line must have to be the rhythm of a limit cycle."""
DRIFT_ORDER = 5
"""Order of the polynomial that the torque drifts by beside a limit cycle."""


def _time_to_30(drive: DrivenRun) -> float:
    speed, time = drive["speed"], drive.time
    reached = np.flatnonzero(speed >= 30.0)
    if not reached.size:
        raise NoValue(
            f"30 km/h is not reached within {drive.manoeuvre.duration:g} s "
            f"(highest {speed.max():.1f} km/h)."
        )
    k = int(reached[0])
    if k == 0:
        raise NoValue("The drive starts at 30 km/h or above.")
    share = (30.0 - speed[k - 1]) / (speed[k] - speed[k - 1])
    return float(time[k - 1] + share * (time[k] - time[k - 1]) - drive.pedal_start)


def _peak_front_slip(drive: DrivenRun) -> float:
    return max(0.0, float(drive["front_slip"].max()))


def _time_to_first_clamp(drive: DrivenRun) -> float:
    start = drive.pedal_start
    carries = np.flatnonzero(drive.since(start) & (drive["clutch_capacity"] >= CARRIES))
    if not carries.size:
        raise NoValue(f"The clutch never carries {CARRIES:g} N·m.")
    return max(0.0, float(drive.time[carries[0]]) - start)


def _roll_back(drive: DrivenRun) -> float:
    way = drive["way"]
    return float(np.max(np.maximum.accumulate(way) - way))


def _holds(trace: Trace) -> bool:
    way = trace["way"]
    back = float(np.max(np.maximum.accumulate(way) - way))
    return trace.completed and back <= HELD_ROLL_BACK and float(way[-1] - way[0]) >= 1.0


def _grade_held(drive: DrivenRun) -> float:
    one = drive.manoeuvre

    def on(grade: float) -> bool:
        return _holds(drive.again(replace(one, grade=((0.0, grade),))))

    grades = {value for _, value in one.grade}
    if len(grades) != 1:
        raise NoValue("The grade is not the same all along the road.")
    grade = grades.pop()
    low, high = 0, round(STEEPEST / GRADE_STEP)
    if _holds(drive.trace):  # the drive itself is the first answer
        low = math.floor(grade / GRADE_STEP)
    else:
        high = min(high, math.ceil(grade / GRADE_STEP))
        if not on(0.0):
            raise NoValue("It does not pull away even on the level.")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if on(middle * GRADE_STEP) else (low, middle)
    return low * GRADE_STEP


def _torque_high_grip(drive: DrivenRun) -> float:
    sides = [peak_friction(curve) for curve in ground(drive.manoeuvre.surface[0]).friction[0]]
    if math.isclose(*sides):
        raise NoValue("Both sides have the same friction.")
    wheel = "rl" if sides[0] > sides[1] else "rr"
    # What holds the vehicle on the grade while it is braked is no torque of the clutch.
    free = drive.since(drive.pedal_start) & (drive["brake_pedal"] < 1.0)
    free &= drive[f"brake_torque_{wheel}"] < 1.0
    count = round(0.2 / drive.trace.tick)
    force = drive[f"force_x_{wheel}"][free]
    if force.size < count:
        raise NoValue("The wheel is braked all the time.")
    return float(np.max(_moving_mean(force, count)) * drive.vehicle.constants.wheel_radius)


def _moving_mean(values: FloatArray, count: int) -> FloatArray:
    count = min(count, values.size)
    sums = np.concatenate([[0.0], np.cumsum(values)])
    means: FloatArray = (sums[count:] - sums[:-count]) / count
    return means


def _hunting(drive: DrivenRun) -> tuple[FloatArray, float]:
    """Return the clutch torque less its mean over a second, and the tick in s."""
    tick = drive.trace.tick
    torque = drive["clutch_torque"][drive.since(drive.pedal_start + SETTLES)]
    window = 2 * round(0.5 / tick) + 1
    if torque.size < 3 * window:
        raise NoValue("The drive is too short to see hunting: it needs 4.5 s under power.")
    inner = torque[window // 2 : torque.size - window // 2]
    return inner - _moving_mean(torque, window), tick


def _hunting_amplitude(drive: DrivenRun) -> float:
    rest, _ = _hunting(drive)
    return float(np.sqrt(2.0 * np.mean(rest**2)))


def _limit_cycle(drive: DrivenRun) -> tuple[float, float]:
    """Return frequency in Hz and amplitude in N.m of the strongest line of the clutch torque."""
    hunting = _hunting_amplitude(drive)
    if hunting < HUNTS:
        raise NoValue(f"No limit cycle: the torque hunts by {hunting:.1f} N·m only.")
    rest, tick = _hunting(drive)
    # Padded, so that the highest line lies within a fraction of a line of the true frequency.
    spectrum = np.abs(np.fft.rfft(rest * np.hanning(rest.size), 16 * rest.size))
    frequency = float(np.fft.rfftfreq(16 * rest.size, tick)[np.argmax(spectrum)])
    # The amplitude is that of the torque itself: the mean over a second would change it.
    torque = drive["clutch_torque"][drive.since(drive.pedal_start + SETTLES)]
    time = np.linspace(-1.0, 1.0, torque.size)
    turn = 2.0 * math.pi * frequency * tick * np.arange(torque.size)
    drift = np.vander(time, DRIFT_ORDER + 1)
    parts = np.column_stack([np.sin(turn), np.cos(turn), drift])
    sine, cosine = np.linalg.lstsq(parts, torque, rcond=None)[0][:2]
    amplitude = math.hypot(sine, cosine)
    if amplitude < LINE_SHARE * hunting:
        raise NoValue(
            f"No limit cycle: the torque hunts by {hunting:.1f} N·m, but in no rhythm of its own."
        )
    return frequency, amplitude


def _limit_cycle_frequency(drive: DrivenRun) -> float:
    return _limit_cycle(drive)[0]


def _limit_cycle_amplitude(drive: DrivenRun) -> float:
    return _limit_cycle(drive)[1]


def _speed_estimate_error(drive: DrivenRun) -> float:
    error = drive["speed_estimate"] - drive["speed"]
    return float(error[np.argmax(np.abs(error))])


def _peak_plate_temperature(drive: DrivenRun) -> float:
    return float(drive["plate_temperature"].max())


def _clutch_energy(drive: DrivenRun) -> float:
    return float(np.sum(drive["clutch_power"]) * drive.trace.tick / 1000.0)


DERATED = 0.95


def _heat_limit(drive: DrivenRun) -> FloatArray:
    """Return the clamp limit as a share of its highest."""
    limit = drive["law_limit_clamp"]
    there = np.isfinite(limit)
    if not there.any() or limit[there].max() <= 0:
        raise NoValue("The set has no clamp limit that heat could lower.")
    return np.where(there, limit / limit[there].max(), 1.0)


def _time_derated(drive: DrivenRun) -> float:
    return float(np.count_nonzero(_heat_limit(drive) < DERATED) * drive.trace.tick)


def _recovery_time(drive: DrivenRun) -> float:
    share = _heat_limit(drive)
    held = np.flatnonzero(share < DERATED)
    if not held.size:
        raise NoValue("Heat never lowers the clamp limit by 5 %.")
    after = max(int(np.argmax(drive["plate_temperature"])), int(held[0]))
    back = np.flatnonzero(share[after:] >= DERATED)
    if not back.size:
        raise NoValue(
            f"The clamp limit does not come back to {DERATED:.0%} within the "
            f"{drive.time[-1] - drive.time[after]:.0f} s that are left after the plates' peak."
        )
    return float(back[0] * drive.trace.tick)


METRICS = (
    Metric(
        "time_to_30",
        "Time to 30 km/h",
        "s",
        "lower",
        "From the pedal to a true speed of 30 km/h.",
        _time_to_30,
    ),
    Metric(
        "peak_front_slip",
        "Peak front slip",
        "km/h",
        "lower",
        "The fastest front wheel less the road under it, at its highest.",
        _peak_front_slip,
    ),
    Metric(
        "time_to_first_clamp",
        "Time to first clamp",
        "s",
        "lower",
        f"From the pedal until the clutch could carry {CARRIES:g} N·m.",
        _time_to_first_clamp,
    ),
    Metric("roll_back", "Roll-back", "m", "lower", "The longest way rolled back.", _roll_back),
    Metric(
        "grade_held",
        "Grade held",
        "%",
        "higher",
        f"The steepest grade (steps of {GRADE_STEP:g} %) on which it pulls away by 1 m and rolls "
        f"back no more than {HELD_ROLL_BACK:g} m, found by driving again.",
        _grade_held,
    ),
    Metric(
        "torque_high_grip",
        "Torque on the high-grip side",
        "N.m",
        "higher",
        "Of the rear wheel on the side with more friction: highest mean over 0.2 s, at the wheel.",
        _torque_high_grip,
    ),
    Metric(
        "hunting_amplitude",
        "Hunting amplitude",
        "N.m",
        "lower",
        "Of a sine with the power of the clutch torque less its mean over 1 s, from 1.5 s after "
        "the pedal on.",
        _hunting_amplitude,
    ),
    Metric(
        "limit_cycle_frequency",
        "Limit cycle frequency",
        "Hz",
        "neither",
        f"The strongest line of the clutch torque, where it hunts by {HUNTS:g} N·m or more.",
        _limit_cycle_frequency,
    ),
    Metric(
        "limit_cycle_amplitude",
        "Limit cycle amplitude",
        "N.m",
        "lower",
        "Of a sine of that frequency, fitted to the clutch torque beside its drift.",
        _limit_cycle_amplitude,
    ),
    Metric(
        "speed_estimate_error",
        "Error of the speed estimate",
        "km/h",
        "neither",
        "The controller's estimate of the speed over ground less the true one, where they differ "
        "most.",
        _speed_estimate_error,
    ),
    Metric(
        "peak_plate_temperature",
        "Peak plate temperature",
        "degC",
        "lower",
        "The plates' true temperature at its highest.",
        _peak_plate_temperature,
    ),
    Metric(
        "clutch_energy",
        "Heat of the clutch",
        "kJ",
        "lower",
        "Clutch torque times slip speed over the whole drive.",
        _clutch_energy,
    ),
    Metric(
        "time_derated",
        "Time derated",
        "s",
        "lower",
        f"While heat keeps the clamp limit (plates, oil, slip power) below {DERATED:.0%} of its "
        "highest, whether or not that decides the torque.",
        _time_derated,
    ),
    Metric(
        "recovery_time",
        "Recovery time",
        "s",
        "lower",
        f"From the plates' peak temperature until the clamp limit is back at {DERATED:.0%}.",
        _recovery_time,
    ),
)
