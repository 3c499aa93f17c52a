"""Heat of plates and oil, and what it takes away."""

from __future__ import annotations

import numpy as np

from calib_model.core.rule import Range
from calib_model.core.table import Table
from calib_model.rules.limits import Bounds, Locked
from calib_model.rules.shape import FixedValue, Monotone, ZeroEnd

from . import larch
from .parts import SAME, axis, over, table

GROUP = "Thermal"
HEAT_CAPACITY = 450.0  # J/K, plates
SOAK = 5.0  # s, how far ahead the derate looks


def tables() -> list[Table]:
    """Return the tables of the group; they are physical, so every mode has the same."""
    return [_plate_limit(), _oil_limit(), _derate(), _cooling(), _capacity()]


def _plate_limit() -> Table:
    plate = axis("plate_temperature", (-40, 20, 120, 160, 200, 240, 280))
    return table(
        "clamp_limit_plate",
        "Clamp limit over plate temperature",
        "N",
        GROUP,
        (plate,),
        (12000, 12000, 12000, 10800, 8000, 4000, 0),
        (0, 12000),
        ("uint16", 1),
        (
            Monotone("plate_temperature", "down", reason="the lining wears faster when hot"),
            ZeroEnd("plate_temperature", reason="a lining this hot must not be pressed at all"),
            Bounds(0, larch.CLAMP_MOST, reason="the actuator presses no harder"),
        ),
        SAME,
        "Most clamp force at a plate temperature. It protects the lining, and is zero from the "
        "last breakpoint on.",
    )


def _oil_limit() -> Table:
    oil = axis("oil_temperature", (-40, 0, 60, 100, 120, 140, 160))
    return table(
        "clamp_limit_oil",
        "Clamp limit over oil temperature",
        "N",
        GROUP,
        (oil,),
        (12000, 12000, 12000, 12000, 10500, 7500, 4000),
        (0, 12000),
        ("uint16", 1),
        (
            Monotone("oil_temperature", "down", reason="hot oil ages"),
            Bounds(0, larch.CLAMP_MOST, reason="the actuator presses no harder"),
        ),
        SAME,
        "Most clamp force at an oil temperature. It slows the ageing of the oil.",
    )


def _derate() -> Table:
    power = axis("slip_power", (0, 500, 1500, 3000, 5000, 8000))
    plate = axis("plate_temperature", (20, 100, 140, 180, 220, 260))
    p, t = over(power, plate)
    # Where the plates would be after a few seconds more of this power; full clamp up to
    # 170 degC, none from 290 degC on.
    ahead = t + p * SOAK / HEAT_CAPACITY
    return table(
        "slip_power_derate",
        "Slip power derate",
        "-",
        GROUP,
        (power, plate),
        np.clip((290 - ahead) / 120, 0, 1),
        (0, 1),
        ("uint8", "1/250"),
        (
            Monotone("slip_power", "down"),
            Monotone("plate_temperature", "down"),
            FixedValue(
                0.0,
                scope=(Range("slip_power", 8000.0), Range("plate_temperature", 260.0)),
                reason="the last corner is held beyond it: full power on hot plates",
            ),
        ),
        SAME,
        "Factor on the clamp limits, from the slip power and the plate temperature: it acts before "
        "the plates are hot, not after.",
    )


def _cooling() -> Table:
    speed = axis("vehicle_speed", (0, 20, 50, 90, 150))
    oil = axis("oil_temperature", (-40, 0, 40, 80, 120))
    v, _ = over(speed, oil)
    # Oil carries the heat to the housing, air carries it on; cold oil hardly moves.
    flow = np.array([0.7, 0.85, 1.0, 1.08, 1.12])
    return table(
        "plate_cooling",
        "Plate cooling",
        "W/K",
        GROUP,
        (speed, oil),
        (8 + 0.35 * v**0.9) * flow,
        (5, 60),
        ("uint8", "0.5"),
        (Monotone("vehicle_speed", "up", reason="more air flows past the housing"),),
        SAME,
        "Heat that leaves the plates per kelvin above the oil, for the temperature model.",
    )


def _capacity() -> Table:
    return table(
        "plate_heat_capacity",
        "Plate heat capacity",
        "J/K",
        GROUP,
        (),
        HEAT_CAPACITY,
        (350, 600),
        ("uint16", 1),
        (
            Bounds(350, 600),
            Locked(((),), (HEAT_CAPACITY,), reason="changed with a bench report only"),
        ),
        SAME,
        "Heat capacity of the plates, for the temperature model. Too high a value predicts too "
        "low a temperature: the unsafe direction.",
    )
