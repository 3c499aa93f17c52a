"""A working copy of the normal set with eight mistakes, for learning the checks.

Each mistake is one that is made in earnest, and is made here through an ordinary change, so
that the set's history is true.  The reasons in the history are what the person believed.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import Change, describe, table_change, values_change
from calib_model.session.document import Document

from .sets import normal


def practice() -> CalibrationSet:
    """Return the practice set."""
    return practice_document().content


@cache
def practice_document() -> Document:
    """Return the practice set with its history, which begins at the normal set."""
    document = Document(normal())
    about = describe(
        document.content,
        name="Larch, normal (practice)",
        revision="B, working copy",
        description="A working copy of the normal set with eight mistakes to find and mend.",
    )
    document.do(_signed(about, "For learning the checks.", "2026-02-02T08:00:00Z"))
    for make in (
        _decimal_slip,
        _exchanged_branches,
        _late_reconnection,
        _old_ambient_axis,
        _lifted_end,
        _filled_right,
        _road_wheel_angle,
        _quiet_engagement,
    ):
        document.do(make(document.content))
    return document


def _decimal_slip(content: CalibrationSet) -> Change:
    """Mistake 1: 215 typed as 21.5."""
    table = content["pre_engage_torque"]
    values = table.values.copy()
    values[3, 6] = 21.5
    return _signed(
        values_change(table, values, "Type pre-engage torque at -10 °C, 40 %"),
        "Values of the trip typed in again.",
        "2026-02-02T08:10:00Z",
    )


def _exchanged_branches(content: CalibrationSet) -> Change:
    """Mistake 2: the cold sweep began on the downward branch; each map alone looks fine."""
    upper, lower = content["current_for_clamp_apply"], content["current_for_clamp_release"]
    pressing, letting_go = upper.values.copy(), lower.values.copy()
    pressing[:, 0], letting_go[:, 0] = lower.values[:, 0], upper.values[:, 0]
    title = "Take the -40 °C sweep over into both branches"
    first = values_change(upper, pressing, title)
    second = values_change(lower, letting_go, title)
    return _signed(
        replace(first, edits=first.edits + second.edits),
        "Cold sweep of the second actuator.",
        "2026-02-02T09:25:00Z",
    )


def _late_reconnection(content: CalibrationSet) -> Change:
    """Mistake 3: the partner table was not opened."""
    table = content["reconnect_speed"]
    values = table.values.copy()
    values[2:4] = content["disconnect_speed"].values[2:4]
    return _signed(
        values_change(table, values, "Raise reconnect speed at -10 and 0 °C"),
        "Complaint: reconnects too late on the ring road.",
        "2026-02-02T10:05:00Z",
    )


def _old_ambient_axis(content: CalibrationSet) -> Change:
    """Mistake 4: carried over from older software; the held end hides it."""
    table = content["ambient_factor"]
    x = table.axes[0].values.copy()
    x[0] = -25.0
    return _signed(
        _axis_change(table, x, "Take the ambient axis over"),
        "Axis of the software before.",
        "2026-02-02T10:40:00Z",
    )


def _lifted_end(content: CalibrationSet) -> Change:
    """Mistake 5: smoothing lifted the end."""
    table = content["clamp_limit_plate"]
    values = table.values.copy()
    values[-1] = 900.0
    return _signed(
        values_change(table, values, "Smooth the end of clamp limit over plate temperature"),
        "The last stretch looked too steep.",
        "2026-02-02T11:15:00Z",
    )


def _filled_right(content: CalibrationSet) -> Change:
    """Mistake 6: tuned at 15 km/h and filled to the right, where the end is held."""
    table = content["inside_rear_brake"]
    values = table.values.copy()
    values[[4, 6], 5] = values[[4, 6], 4]
    return _signed(
        values_change(table, values, "Fill inside-rear brake torque right from 15 km/h"),
        "Parking circle tuned at 15 km/h.",
        "2026-02-02T13:30:00Z",
    )


def _road_wheel_angle(content: CalibrationSet) -> Change:
    """Mistake 7: a geometry sheet in road wheel angle, 15 times smaller."""
    table = content["expected_axle_difference"]
    x = table.axes[0].values / 15.0
    return _signed(
        _axis_change(table, x, "Take the steering axis from the geometry sheet"),
        "New geometry sheet.",
        "2026-02-02T14:20:00Z",
    )


def _quiet_engagement(content: CalibrationSet) -> Change:
    """Mistake 8: quieter, but narrower than the slip under traction."""
    table = content["sync_window"]
    values = table.values.copy()
    values[-2:] = 3.0
    return _signed(
        values_change(table, values, "Narrow the synchronising window at 200 and 300 rad/s"),
        "Complaint: the engagement is heard on the highway.",
        "2026-02-02T15:45:00Z",
    )


def _axis_change(table: Table, x: np.ndarray, title: str) -> Change:
    return table_change(
        table, table.with_axis(0, table.axes[0].with_values(x), table.values), title
    )


def _signed(change: Change, reason: str, time: str) -> Change:
    return replace(change, reason=reason, author="calibrator B", time=time)
