"""A small made-up set in the manner of the demo programme, for the tests of the plots."""

from __future__ import annotations

import numpy as np

from app.desk import Desk
from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.session.document import Document

TEMPERATURE = [-40, -30, -20, -10, 0, 10, 20, 30, 40, 50]
PEDAL = [0, 5, 10, 15, 20, 30, 40, 50, 60, 70, 85, 100]


def pre_engage() -> Table:
    """A 10 x 12 map: more torque with pedal, less when it is warm; no two cells alike."""
    t = np.array(TEMPERATURE, float)[:, None]
    p = np.array(PEDAL, float)[None, :]
    torque = 60 + 3.2 * p**0.95 - 1.1 * t + 0.004 * (50 - t) * p
    torque = np.round(torque * 2) / 2
    return Table(
        "pre_engage_torque",
        torque,
        (
            Axis(TEMPERATURE, "Ambient temperature", "degC", "ambient_temperature"),
            Axis(PEDAL, "Pedal", "%", "pedal"),
        ),
        name="Pre-engage torque",
        unit="N.m",
        lower=0,
        upper=600,
        storage=Storage.of("uint16", "0.5"),
    )


def fade() -> Table:
    """A curve over unequal breakpoints, held below and extrapolated above."""
    return Table(
        "pre_engage_fade",
        [1.0, 1.0, 0.92, 0.8, 0.5, 0.3, 0.12, 0.04],
        (
            Axis(
                [0, 5, 10, 20, 40, 60, 90, 130],
                "Vehicle speed",
                "km/h",
                "vehicle_speed",
                above=End.EXTRAPOLATED,
            ),
        ),
        name="Pre-engage fade with speed",
        lower=0,
        upper=1,
        storage=Storage.of("uint8", "1/250"),
    )


def wiper() -> Table:
    """A curve that is read in steps."""
    return Table(
        "wet_factor",
        [1.0, 1.1, 1.3, 1.45],
        (Axis([0, 1, 2, 3], "Wiper state", "-", interpolation=Interpolation.STEP),),
        name="Wet factor",
        lower=0.8,
        upper=1.6,
        storage=Storage.of("uint8", "1/100"),
    )


def reconnect() -> Table:
    """A scalar."""
    return Table(
        "sync_window",
        12.0,
        name="Sync window",
        unit="rad/s",
        lower=0,
        upper=40,
        storage=Storage.of("uint8", "0.25"),
    )


def hill() -> Table:
    """A map with three axes."""
    values = 10 + np.arange(4 * 5 * 3, dtype=float).reshape(4, 5, 3)
    return Table(
        "hill_torque",
        values,
        (
            Axis([0, 10, 30, 80], "Vehicle speed", "km/h"),
            Axis([0, 20, 40, 70, 100], "Pedal", "%"),
            Axis([0, 8, 20], "Gradient", "%"),
        ),
        name="Hill torque",
        unit="N.m",
        lower=0,
        upper=200,
        storage=Storage.of("uint16", "0.5"),
    )


def demo_set(**about: str) -> CalibrationSet:
    """All of them."""
    tables = (pre_engage(), fade(), wiper(), reconnect(), hill())
    return CalibrationSet(tables, programme="Larch", mode=about.get("mode", "normal"))


def demo_desk(table: str = "pre_engage_torque", content: CalibrationSet | None = None) -> Desk:
    """A desk with the set open at a table."""
    desk = Desk()
    desk.add(Document(content or demo_set()))
    desk.open_table(table)
    return desk
