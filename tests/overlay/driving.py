"""Made-up driving over the demo set, with arrays counted by numpy.histogramdd."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.desk import Desk
from calib_model.core.arrays import FloatArray
from calib_model.core.table import Table
from tests.plots import demo_set as demo

TICK = 0.02
SPEED = "vehicle_speed"


@dataclass(frozen=True)
class Use:
    """How the cells of a table were used."""

    dwell: FloatArray
    visits: FloatArray
    extrapolated: FloatArray
    decided: FloatArray


def drive(seconds: float = 400.0, seed: int = 11) -> dict[str, FloatArray]:
    """Inputs of a cold round, at the controller's tick."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, seconds, TICK)
    pedal = np.clip(28 + 30 * np.sin(time / 9) + rng.normal(0, 4, time.size), 0, 100)
    speed = np.clip(35 + 30 * np.sin(time / 31) + rng.normal(0, 1, time.size), 0, 150)
    ambient = -12 + 3 * np.sin(time / 90)
    ambient[-100:] = -44.0  # the last two seconds lie below the first breakpoint
    return {"ambient_temperature": ambient, "pedal": pedal, "vehicle_speed": speed}


def midpoints(values: FloatArray) -> FloatArray:
    """Borders half way between breakpoints, open at both ends."""
    return np.concatenate(([-np.inf], (values[:-1] + values[1:]) / 2, [np.inf]))


def used(table: Table, inputs: dict[str, FloatArray]) -> Use:
    """Count by numpy.histogramdd over the midpoints between breakpoints."""
    points = np.stack([inputs[a.quantity] for a in table.axes], axis=-1)
    bins = [midpoints(a.values) for a in table.axes]
    finite = [np.nan_to_num(b, neginf=-1e9, posinf=1e9) for b in bins]
    dwell = np.histogramdd(points, finite)[0] * TICK
    beyond = np.zeros(len(points), dtype=bool)
    for number, axis in enumerate(table.axes):
        beyond |= (points[:, number] < axis.values[0]) | (points[:, number] > axis.values[-1])
    decided = inputs["pedal"] > 20
    cells = np.stack(
        [np.searchsorted(b[1:-1], points[:, i], side="right") for i, b in enumerate(bins)], axis=-1
    )
    entered = np.ones(len(points), dtype=bool)
    entered[1:] = (cells[1:] != cells[:-1]).any(axis=1)
    return Use(
        dwell,
        np.histogramdd(points[entered], finite)[0],
        np.histogramdd(points[beyond], finite)[0] * TICK,
        np.histogramdd(points[decided], finite)[0] * TICK,
    )


def driven_desk(table: str = "pre_engage_torque") -> Desk:
    """A desk with the demo set open and driving shown over its map and its curve."""
    desk = demo.demo_desk(table)
    inputs = drive()
    tables = desk.current.content.tables
    desk.driving.set_coverage(
        {id: used(tables[id], inputs) for id in ("pre_engage_torque", "pre_engage_fade")}
    )
    return desk


def moment(desk: Desk, number: int, before: int = 500) -> None:
    """Put the play head at a tick."""
    inputs = drive()
    start = max(number - before, 0)
    desk.driving.set_play_head(
        {name: float(values[number]) for name, values in inputs.items()},
        {name: values[start:number] for name, values in inputs.items()},
    )
