"""Torque that is there before the front wheels spin."""

from __future__ import annotations

import numpy as np

from calib_model.core.table import Table
from calib_model.rules.limits import Bounds
from calib_model.rules.plausibility import Covers
from calib_model.rules.relations import RateWithin
from calib_model.rules.shape import EqualsAt, FixedValue, Monotone

from . import larch
from .parts import AMBIENT_DISCONNECT, AT_CLUTCH, at, axis, over, relations, table

GROUP = "Pre-engagement"
LAUNCH_FORCE = 6000.0  # N, drive force at full pedal in first gear
PEDAL_RATE = 120.0  # % per s, largest rate of the filtered pedal signal
COLDER = "colder means likelier snow"


def tables(mode: str) -> list[Table]:
    """Return the tables of the group for one drive mode."""
    return [
        _pre_engage(mode),
        _fade(mode),
        _cruise_base(mode),
        _ambient_factor(mode),
        _wiper_factor(mode),
        _memory(mode),
        _hill(mode),
    ]


def launch_share(pedal: np.ndarray) -> np.ndarray:
    """Drive force over pedal as a share of the most: soft start, then steep, then saturating."""
    raw = 1 - np.exp(-((pedal / 39.4) ** 1.35))
    return np.asarray(raw / (1 - np.exp(-((100 / 39.4) ** 1.35))))


def _pre_engage(mode: str) -> Table:
    ambient = axis("ambient_temperature", (-40, -30, -20, -10, 0, 5, 10, 20, 35, 50))
    pedal = axis("pedal", (0, 5, 10, 15, 20, 30, 40, 50, 60, 70, 85, 100))
    _, p = over(ambient, pedal)
    # Snow is likeliest in the cold; from 5 degC on it is wet road at worst.
    cold = np.array([1.30, 1.23, 1.12, 1.0, 0.86, 0.74, 0.58, 0.42, 0.34, 0.30])[:, None]
    # The rear axle takes the share of the drive force that its weight can carry.
    torque = LAUNCH_FORCE * larch.REAR_SHARE * larch.CLUTCH_PER_FORCE * launch_share(p) * cold
    if mode == "low_grip":
        # Earlier at small pedal, where snow spins the front already; alike at full pedal.
        torque = torque * (1 + 0.15 * np.exp(-p / 30)) + 0.5 * (p > 0)
    if mode == "towing":
        torque = torque * 1.05  # the hitch load takes weight off the front axle
    return table(
        "pre_engage_torque",
        "Pre-engage torque",
        "N.m",
        GROUP,
        (ambient, pedal),
        torque,
        (0, 450),
        ("uint16", "0.5"),
        (
            Monotone("pedal", "up", reason="more pedal asks for more drive force"),
            Monotone("ambient_temperature", "down", reason=COLDER),
            RateWithin(
                "pedal",
                PEDAL_RATE,
                "torque_rise_slew",
                reason="a faster torque than the slew allows would come too late",
            ),
        ),
        relations(">=", ">="),
        f"Torque asked for before any slip is seen. {AT_CLUTCH} Reconnecting and clamping take "
        "0.1 to 0.4 s, so the torque must be there before the front wheels spin.",
    )


def _fade(mode: str) -> Table:
    speed = axis("vehicle_speed", (0, 5, 10, 20, 40, 60, 90, 130))
    # Half the torque is left at the speed where full pedal no longer breaks the front loose.
    half = {"normal": 45.0, "low_grip": 60.0, "towing": 52.0}[mode]
    return table(
        "pre_engage_fade",
        "Pre-engage fade with speed",
        "-",
        GROUP,
        (speed,),
        1 / (1 + (speed.values / half) ** 1.8),
        (0, 1),
        ("uint8", "1/250"),
        (
            Monotone("vehicle_speed", "down"),
            FixedValue(1.0, scope=at("vehicle_speed", 0), reason="full effect at standstill"),
        ),
        relations("free", "free"),
        "Multiplies the pre-engage torque only; slip control is not weakened by it. The faster "
        "the vehicle, the less torque there is to break the tyres loose.",
    )


def _cruise_base(mode: str) -> Table:
    speed = axis("vehicle_speed", (0, 20, 50, 80, 120, 160))
    pedal = axis("pedal", (0, 10, 20, 40, 60, 100))
    v, p = over(speed, pedal)
    # A floor that keeps the teeth on one flank, and a part that follows the pedal.
    torque = (10 + 52 * (1 - np.exp(-p / 35))) * np.exp(-v / 110)
    torque = torque * {"normal": 1.0, "low_grip": 1.25, "towing": 1.1}[mode]
    return table(
        "cruise_base_torque",
        "Cruise base torque",
        "N.m",
        GROUP,
        (speed, pedal),
        torque,
        (0, 80),
        ("uint16", "0.5"),
        (
            Monotone("vehicle_speed", "down", reason="drag costs fuel at speed"),
            Monotone("pedal", "up"),
        ),
        relations(">=", ">="),
        f"Torque held while cruising, before the ambient and wiper factors. {AT_CLUTCH} It keeps "
        "the gears loaded on one flank at little drag.",
    )


def _ambient_factor(mode: str) -> Table:
    ambient = axis("ambient_temperature", (-40, -20, -10, 0, 10, 20, 35, 50))
    values = np.array([1.5, 1.42, 1.34, 1.22, 1.08, 1.0, 0.9, 0.84])
    if mode == "low_grip":
        values = np.array([1.55, 1.48, 1.4, 1.28, 1.12, 1.0, 0.94, 0.9])
    return table(
        "ambient_factor",
        "Ambient factor on cruise base torque",
        "-",
        GROUP,
        (ambient,),
        values,
        (0.8, 1.6),
        ("uint8", "1/100"),
        (
            Monotone("ambient_temperature", "down", reason=COLDER),
            EqualsAt((20.0,), 1.0, reason="the base torque is stated for 20 °C"),
            Covers("ambient_temperature", -40, 50, reason="the vehicle is sold for that range"),
        ),
        relations("free", "=="),
        "Multiplies the cruise base torque only; 1 at 20 °C. Colder means likelier snow.",
    )


def _wiper_factor(mode: str) -> Table:
    wiper = axis("wiper_state", (0, 1, 2, 3))
    ambient = axis("ambient_temperature", (-40, -10, 0, 5, 20))
    # Off, interval, slow, fast; around freezing a wiper means sleet, far below it dry washing.
    wet = np.array([0, 0.12, 0.25, 0.36])[:, None]
    sleet = np.array([0.25, 0.7, 1.0, 0.9, 0.5])
    return table(
        "wiper_factor",
        "Wiper factor on cruise base torque",
        "-",
        GROUP,
        (wiper, ambient),
        1 + wet * sleet,
        (1, 1.4),
        ("uint8", "1/100"),
        (
            Monotone("wiper_state", "up", reason="the faster the wiper, the wetter the road"),
            Bounds(1, 1.4, reason="the wiper may only add torque, and not much"),
        ),
        relations("free", "=="),
        "Multiplies the cruise base torque only. The wiper state is read in steps: 0 off, "
        "1 interval, 2 slow, 3 fast. It stands for rain or sleet.",
    )


def _memory(mode: str) -> Table:
    ambient = axis("ambient_temperature", AMBIENT_DISCONNECT.values.tolist())
    seconds = np.array([90, 80, 68, 50, 25, 10])
    if mode == "low_grip":
        seconds = np.array([120, 110, 95, 72, 38, 16])
    return table(
        "low_grip_memory",
        "Low-grip likelihood decay time",
        "s",
        GROUP,
        (ambient,),
        seconds,
        (5, 120),
        ("uint8", "0.5"),
        (Monotone("ambient_temperature", "down", reason="snow lies longer in the cold"),),
        relations(">=", "=="),
        "Time in which the memory of a past slip fades away, evenly. While there is any of it, the "
        "driveshaft stays connected. In the cold, one slip makes the next one likely for longer.",
    )


def _hill(mode: str) -> Table:
    grade = axis("grade", (0, 5, 10, 15, 20, 30))
    pedal = axis("pedal", (0, 10, 30, 60, 100))
    g, p = over(grade, pedal)
    slope = np.arctan(g / 100)
    # Weight moves to the rear uphill; the rear axle carries that share of the slope force.
    share = larch.REAR_SHARE + larch.CENTRE_HEIGHT / larch.WHEELBASE * np.tan(slope)
    hold = larch.MASS * larch.GRAVITY * np.sin(slope) * share * larch.CLUTCH_PER_FORCE
    torque = hold * (0.55 + 0.45 * launch_share(p))
    # Towing: a trailer of about half the van's mass hangs on the hill as well.
    torque = torque * {"normal": 1.0, "low_grip": 1.12, "towing": 1.5}[mode]
    return table(
        "hill_torque",
        "Hill pre-engagement",
        "N.m",
        GROUP,
        (grade, pedal),
        torque,
        (0, 500),
        ("uint16", "0.5"),
        (
            Monotone("grade", "up"),
            Monotone("pedal", "up"),
        ),
        relations(">=", ">="),
        f"Torque asked for when starting uphill; grade is positive uphill. {AT_CLUTCH} It keeps "
        "the vehicle from rolling back while the front wheels are light.",
    )
