"""Made-up maps for the tests of the surface: no two axes alike, no breakpoints evenly spaced."""

from __future__ import annotations

from typing import Any

import numpy as np

from app.desk import Desk
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.session.document import Document

ROWS = np.array([-40.0, -30.0, 0.0, 50.0])
COLUMNS = np.array([0.0, 5.0, 20.0, 45.0, 60.0, 100.0])
# Rising to the right and towards the front, with neither half like the other.
VALUES = 40 + 1.5 * COLUMNS[None, :] - 0.8 * ROWS[:, None] + 0.01 * COLUMNS * ROWS[:, None]
VALUES = np.round(VALUES * 2) / 2


def uneven(**about: Any) -> Table:
    """A 4 x 6 map over unequal breakpoints."""
    given = {
        "id": "pre_engage_torque",
        "values": VALUES,
        "axes": (
            Axis(ROWS, "Ambient temperature", "degC", "ambient_temperature"),
            Axis(COLUMNS, "Pedal", "%", "pedal"),
        ),
        "name": "Pre-engage torque",
        "unit": "N.m",
        "lower": 0,
        "upper": 400,
        "storage": Storage.of("uint16", "0.5"),
    }
    return Table(**{**given, **about})


def wet() -> Table:
    """A map whose second axis is read in steps."""
    return Table(
        "wet_factor",
        [[1.0, 1.2, 1.5], [1.1, 1.25, 1.4], [1.0, 1.3, 1.6], [0.9, 1.0, 1.1]],
        (
            Axis([0, 20, 90, 120], "Vehicle speed", "km/h"),
            Axis([0, 1, 3], "Wiper state", "-", interpolation=Interpolation.STEP),
        ),
        name="Wet factor",
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


def fade() -> Table:
    """A curve."""
    return Table(
        "fade", [1.0, 0.8, 0.1], (Axis([0, 20, 130], "Vehicle speed", "km/h"),), name="Fade"
    )


def window() -> Table:
    """A scalar."""
    return Table("sync_window", 12.0, name="Sync window", unit="rad/s")


def desk_with(*tables: Table) -> Desk:
    """A desk with a set of these tables; the first one is in work."""
    desk = Desk()
    content = CalibrationSet(tables, programme="Larch", mode="normal")
    desk.add(Document(content))
    return desk
