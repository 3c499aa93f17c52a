"""A small set with a table of every shape."""

from __future__ import annotations

import numpy as np
import pytest

from app.desk import Desk
from app.grid.panel import GridPanel
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.session.document import Document

AMBIENT = Axis(
    [-40, -30, -20, -10, 0, 5, 10, 20, 35, 50],
    "Ambient temperature",
    "degC",
    "ambient_temperature",
    storage=Storage("int8"),
)
PEDAL = Axis(
    [0, 5, 10, 15, 20, 30, 40, 50, 60, 70, 85, 100],
    "Pedal",
    "%",
    "pedal",
    storage=Storage.of("uint8", "0.5"),
)
SPEED = Axis([0, 5, 10, 20, 40, 60, 90, 130], "Vehicle speed", "km/h", "vehicle_speed")


def pre_engage() -> Table:
    """A plausible map: up with pedal, down with temperature, on its raster."""
    t, p = AMBIENT.values[:, None], PEDAL.values[None, :]
    cold = 0.4 + 0.6 * (50 - t) / 90
    values = 330 * cold * (0.15 + 0.85 * p / 100)
    storage = Storage.of("uint16", "0.5")
    return Table(
        "pre_engage_torque",
        storage.nearest(values),
        (AMBIENT, PEDAL),
        "Pre-engage torque",
        "N.m",
        "Pre-engagement",
        "Torque before the front spins.",
        0,
        450,
        storage,
    )


def small_set() -> CalibrationSet:
    """A map, curves, a step axis, a scalar, and maps with three and four axes."""
    fade = Table(
        "pre_engage_fade",
        [1, 0.992, 0.972, 0.9, 0.72, 0.5, 0.252, 0],
        (SPEED,),
        "Pre-engage fade with speed",
        function="Pre-engagement",
        lower=0,
        upper=1,
        storage=Storage.of("uint8", "1/250"),
    )
    wiper = Axis([0, 1, 2, 3], "Wiper state", "-", "wiper_state", interpolation=Interpolation.STEP)
    wet = Table(
        "wiper_factor",
        1 + 0.1 * np.arange(4)[:, None] * np.linspace(1, 0.4, 5)[None, :],
        (wiper, Axis([-40, -10, 0, 5, 20], "Ambient temperature", "degC")),
        "Wiper factor on cruise base torque",
        function="Cruise",
        lower=1,
        upper=1.4,
    )
    heat = Table(
        "plate_heat_capacity",
        480,
        name="Plate heat capacity",
        unit="J/K",
        function="Heat",
        lower=350,
        upper=600,
        storage=Storage("uint16"),
    )
    oil = Axis([-20, 20, 60, 100], "Oil temperature", "degC")
    grade = Axis([0, 10, 20], "Grade", "%")
    hill = Table(
        "hill_torque",
        np.arange(4 * 3 * 4).reshape(4, 3, 4) * 5.0,
        (Axis([0, 20, 60, 100], "Pedal", "%"), grade, oil),
        "Hill pre-engagement",
        "N.m",
        "Hill",
        lower=0,
        upper=500,
        storage=Storage.of("uint16", "0.5"),
    )
    deep = Table(
        "hill_torque_by_load",
        np.arange(2 * 3 * 4 * 2).reshape(2, 3, 4, 2) * 1.0,
        (Axis([0, 100], "Pedal", "%"), grade, oil, Axis([0, 800], "Load", "kg")),
        "Hill pre-engagement by load",
        "N.m",
        "Hill",
    )
    return CalibrationSet([pre_engage(), fade, wet, heat, hill, deep], name="Larch small")


@pytest.fixture
def desk(qapp) -> Desk:  # type: ignore[no-untyped-def]
    """A desk with the small set open at its first table."""
    made = Desk()
    made.add(Document(small_set()))
    return made


@pytest.fixture
def told(desk: Desk) -> list[tuple[str, bool]]:
    """What the desk has told, as (text, refused)."""
    heard: list[tuple[str, bool]] = []
    desk.told.connect(lambda text, refused: heard.append((text, refused)))
    return heard


@pytest.fixture
def panel(desk: Desk, qtbot) -> GridPanel:  # type: ignore[no-untyped-def]
    """A grid panel on the desk, shown and focused."""
    made = GridPanel(desk)
    qtbot.addWidget(made)
    made.resize(1000, 500)
    made.show()
    qtbot.waitExposed(made)
    made.activateWindow()
    made.view.setFocus()
    qtbot.waitUntil(made.view.hasFocus)
    return made
