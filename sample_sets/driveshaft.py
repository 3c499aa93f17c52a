"""Disconnecting and reconnecting the driveshaft, and the controller's own settings."""

from __future__ import annotations

import numpy as np

from calib_model.core.table import Table
from calib_model.rules.limits import Bounds
from calib_model.rules.relations import Hysteresis, Relation
from calib_model.rules.shape import FixedValue, Monotone

from . import larch
from .parts import AMBIENT_DISCONNECT, AT_CLUTCH, SAME, axis, over, relations, table

GROUP = "Driveshaft"
SHAFT_INERTIA = 0.035  # kg.m2, shaft and ring gear together
SPIN_UP_TIME = 0.25  # s
COLDER = "colder means likelier snow, so the shaft stays connected longer"


def tables(mode: str) -> list[Table]:
    """Return the tables of the group for one drive mode."""
    return [
        _disconnect_speed(mode),
        _reconnect_speed(mode),
        _reconnect_pedal(mode),
        _delay(mode),
        _spin_up(),
        _sync_window(),
        _tick(),
        _lead_time(mode),
        _allowed(),
    ]


def _disconnect_speed(mode: str) -> Table:
    speed = {
        "normal": (130, 125, 118, 105, 88, 74),
        "low_grip": (140, 138, 132, 122, 108, 92),
        "towing": (138, 134, 128, 116, 100, 86),
    }[mode]
    return table(
        "disconnect_speed",
        "Disconnect speed",
        "km/h",
        GROUP,
        (AMBIENT_DISCONNECT,),
        speed,
        (50, 140),
        ("uint8", 1),
        (Monotone("ambient_temperature", "down", reason=COLDER),),
        relations(">=", ">="),
        "Vehicle speed above which the driveshaft may be disconnected. It saves fuel in cruise; "
        "in the cold it happens later.",
    )


def _reconnect_speed(mode: str) -> Table:
    speed = {
        "normal": (117, 113, 106, 93, 76, 62),
        "low_grip": (128, 126, 120, 110, 96, 80),
        "towing": (126, 122, 116, 104, 88, 74),
    }[mode]
    return table(
        "reconnect_speed",
        "Reconnect speed",
        "km/h",
        GROUP,
        (AMBIENT_DISCONNECT,),
        speed,
        (40, 130),
        ("uint8", 1),
        (
            Hysteresis("disconnect_speed", 5.0, reason="the pair must not chatter"),
            Monotone("ambient_temperature", "down", reason=COLDER),
        ),
        relations(">=", ">="),
        "Vehicle speed below which the driveshaft is connected again; the lower one of the "
        "hysteresis pair with the disconnect speed.",
    )


def _reconnect_pedal(mode: str) -> Table:
    speed = axis("vehicle_speed", (0, 20, 40, 70, 100, 150))
    ambient = axis("ambient_temperature", (-40, -10, 0, 10, 30))
    v, _ = over(speed, ambient)
    # The faster, the more pedal is plain cruising and no demand for traction.
    pedal = np.array([24, 29, 33, 41, 51]) + 0.05 * v
    pedal = pedal - {"normal": 0.0, "low_grip": 6.0, "towing": 4.0}[mode]
    return table(
        "reconnect_pedal",
        "Reconnect on pedal",
        "%",
        GROUP,
        (speed, ambient),
        pedal,
        (15, 60),
        ("uint8", "0.5"),
        (Monotone("ambient_temperature", "up", reason="colder: sooner"),),
        relations("<=", "<="),
        "Accelerator pedal above which the driveshaft is connected again. The demand comes "
        "before the slip; the colder it is, the less pedal is waited for.",
    )


def _delay(mode: str) -> Table:
    seconds = {
        "normal": (40, 34, 28, 18, 10, 6),
        "low_grip": (60, 52, 45, 32, 20, 12),
        "towing": (50, 44, 36, 26, 16, 10),
    }[mode]
    return table(
        "disconnect_delay",
        "Disconnect delay",
        "s",
        GROUP,
        (AMBIENT_DISCONNECT,),
        seconds,
        (2, 60),
        ("uint8", "0.5"),
        (Monotone("ambient_temperature", "down", reason=COLDER),),
        relations(">=", ">="),
        "How long the conditions must hold before the driveshaft is disconnected. It limits the "
        "number of events, and with it the wear.",
    )


def _spin_up() -> Table:
    target = axis("shaft_speed_target", (0, 50, 100, 150, 200, 300))
    oil = axis("oil_temperature", (-40, -20, 0, 40, 90))
    w, _ = over(target, oil)
    # What turns the shaft up in time, and the drag of the oil it has to stir.
    drag = np.array([24, 21, 19, 16.5, 15])
    return table(
        "spin_up_torque",
        "Spin-up clutch torque",
        "N.m",
        GROUP,
        (target, oil),
        SHAFT_INERTIA * w / SPIN_UP_TIME + drag * (1 + w / 1200),
        (15, 80),
        ("uint8", "0.5"),
        (
            Monotone("shaft_speed_target", "up"),
            Monotone("oil_temperature", "down", reason="cold oil drags"),
        ),
        SAME,
        f"Torque with which the clutch spins the resting driveshaft up. {AT_CLUTCH} More of it "
        "reconnects sooner and jolts more.",
    )


def _sync_window() -> Table:
    speed = axis("shaft_speed", (0, 50, 100, 200, 300))
    return table(
        "sync_window",
        "Synchronising speed window",
        "rad/s",
        GROUP,
        (speed,),
        (10, 10.5, 11, 12, 12),
        (8, 25),
        ("uint8", "0.1"),
        (
            Monotone("shaft_speed", "up", reason="the shaft is measured more coarsely at speed"),
            Relation(
                "slip_target",
                ">=",
                factor=round(larch.SHAFT_PER_SLIP, 4),
                offset=0.1,
                factor_reason="rear ratio 2.6 / (3.6 x 0.335 m): rad/s of the shaft per km/h",
                reason="a window narrower than the slip under traction never engages",
            ),
        ),
        SAME,
        "Speed difference at the dog clutch, absolute and at the shaft, below which it may engage. "
        "Under traction the front wheels slip already: a narrower window never engages.",
    )


def _tick() -> Table:
    return table(
        "controller_tick",
        "Controller tick",
        "ms",
        "Vehicle",
        (),
        20,
        (20, 20),
        ("uint8", 1),
        (FixedValue(20.0, reason="the software is built for it, and slew rules use it"),),
        SAME,
        "Time between two runs of the controller. Slew rates are turned into steps with it.",
    )


def _lead_time(mode: str) -> Table:
    return table(
        "reconnect_lead_time",
        "Reconnect lead time",
        "ms",
        GROUP,
        (),
        400 if mode == "low_grip" else 340,
        (300, 600),
        ("uint16", 1),
        (Bounds(300, 600, reason="reconnecting takes about 0.3 s"),),
        relations("free", "=="),
        "How early a reconnection must be requested, so that the torque is there when it is "
        "needed.",
    )


def _allowed() -> Table:
    return table(
        "disconnect_allowed",
        "Disconnection allowed",
        "0/1",
        GROUP,
        (),
        1,
        (0, 1),
        ("uint8", 1),
        (Bounds(0, 1),),
        relations("free", "zero"),
        "1 where the mode may disconnect the driveshaft, 0 where it never does, such as towing.",
    )
