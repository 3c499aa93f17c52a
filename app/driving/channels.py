"""Which traces are drawn together: rows of a few channels that share a unit, or a band of words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.driving.shapes import DeskRun
from calib_model.core.roles import ROLES
from calib_model.core.units import shown
from calib_model.vehicle.trace import unit_of as trace_unit

MOST_CHANNELS = 4
"""Of a row: there are as many kinds of line."""


@dataclass(frozen=True)
class Row:
    """One plot of the stack.

    Parameters
    ----------
    id, title : str
    channels : tuple of (column, words)
        The first is drawn plainly, the others with marks.
    words : tuple of str
        For a band: what the numbers mean, by number; negative ones are blank.
    """

    id: str
    title: str
    channels: tuple[tuple[str, str], ...]
    words: tuple[str, ...] = ()

    @property
    def is_band(self) -> bool:
        """Whether it is drawn as a band of words instead of a line."""
        return bool(self.words)

    def of(self, runs: Iterable[DeskRun]) -> Row | None:
        """Return the row with the channels that any of the runs has; None if there are none."""
        there = {name for run in runs for name in run.columns}
        left = tuple(c for c in self.channels if c[0] in there)
        return replace(self, channels=left) if left else None


_STATES = ("connected", "opening", "disconnected", "spin-up", "dog")

ROWS: tuple[Row, ...] = (
    Row("speed", "Speed", (("speed", "vehicle"), ("wheel_speed_fl", "wheel front left"),
                           ("wheel_speed_fr", "front right"), ("wheel_speed_rl", "rear left"))),
    Row("slip", "Slip speed", (("front_slip", "front"), ("rear_slip", "rear"))),
    Row("torque", "Clutch torque", (("clutch_torque", "carried"), ("law_torque", "commanded"),
                                    ("law_demand", "wanted before limits"))),
    Row("governing", "Table that decided the torque", (("governing", ""),),
        tuple(role.replace("_", " ") for role in ROLES)),
    Row("state", "Driveshaft", (("controller_state", ""),), _STATES),
    Row("plate", "Temperature", (("plate_temperature", "plates"),
                                 ("plate_temperature_believed", "plates as believed"),
                                 ("oil_temperature", "oil"))),
    Row("clamp", "Clamp force", (("clamp", "true"), ("clamp_asked", "as believed"))),
    Row("current", "Motor current", (("current", "current"),)),
    Row("shaft", "Rotation", (("shaft_speed", "driveshaft"), ("clutch_slip", "across the clutch"))),
    Row("yaw", "Yaw rate", (("yaw_rate", "true"),)),
    Row("lateral", "Lateral acceleration", (("lateral_acceleration", "true"),)),
    Row("inside", "Inside-rear brake", (("inside_brake_torque", "at the wheel"),)),
    Row("steering", "Steering wheel", (("steering_angle", "angle"),)),
    Row("driver", "Pedals", (("pedal", "accelerator"), ("brake_pedal", "brake"))),
    Row("drive", "Drive torque", (("drive_torque", "at the front axle"),)),
)  # fmt: skip
"""Rows of a run in the order in which they are drawn."""


IN_SHORT: dict[str, tuple[str, ...]] = {
    "parking_circle": ("torque", "slip", "steering"),
    "circle_inside_brake": ("inside", "torque", "yaw"),
    "kick_down": ("shaft", "torque", "speed"),
    "repeated_hill_starts": ("plate", "torque", "slip"),
    "steady_circle": ("yaw", "torque", "slip"),
    "lane_change_brake": ("torque", "yaw", "lateral"),
    "low_to_high_patch": ("torque", "slip", "speed"),
}
"""The rows that tell most of a manoeuvre, where there is room for three only."""


def rows_in_short(manoeuvre: str) -> tuple[Row, ...]:
    """Return three rows for a manoeuvre."""
    ids = IN_SHORT.get(manoeuvre, ("torque", "slip", "speed"))
    by_id = {row.id: row for row in ROWS}
    return tuple(by_id[id] for id in ids)


def unit_of(row: Row, runs: Iterable[DeskRun]) -> str:
    """Return the unit of a row's channels, as shown."""
    for run in runs:
        for column, _ in row.channels:
            if run.column(column) is not None and column != "governing":
                return shown(trace_unit(column))
    return ""


def lively(row: Row, runs: Sequence[DeskRun]) -> bool:
    """Tell whether a row says anything: a channel moves, or is not the same in every run."""
    for column, _ in row.channels:
        found = [v[np.isfinite(v)] for run in runs if (v := run.column(column)) is not None]
        ends = [(float(v.min()), float(v.max())) for v in found if v.size]
        if ends and min(low for low, _ in ends) < max(high for _, high in ends):
            return True
    return False


def other_rows(rows: Sequence[Row], runs: Sequence[DeskRun]) -> tuple[Row, ...]:
    """Return a row for every column that no row shows and that says anything."""
    known = {column for row in rows for column, _ in row.channels}
    found: dict[str, Row] = {}
    for run in runs:
        for name, values in run.columns.items():
            if name in known or name in found or not np.isfinite(values).any():
                continue
            title = name.replace("_", " ")
            found[name] = Row(name, title[:1].upper() + title[1:], ((name, title),))
    return tuple(found.values())
