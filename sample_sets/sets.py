"""The sets of the programme, each with the last edits that led to it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import ROLES
from calib_model.editing.change import Change, describe, values_change
from calib_model.session.document import Document

from . import actuator, braking, driveshaft, larch, limits, pre_engagement, slip_control, thermal
from .parts import SHARED

_ABOUT = {
    "normal": "Base set of the programme: dry to snowy roads, no trailer.",
    "low_grip": "Chosen by the driver on snow and ice: more torque, earlier, and less slip.",
    "towing": "With a trailer: the driveshaft stays connected, the inner rear wheel unbraked.",
}


def normal() -> CalibrationSet:
    """Return the base set."""
    return normal_document().content


def low_grip() -> CalibrationSet:
    """Return the low-grip set, with its two deliberate breaches of a mode relation."""
    return low_grip_document().content


def towing() -> CalibrationSet:
    """Return the towing set."""
    return towing_document().content


def first_values(mode: str) -> CalibrationSet:
    """Return a mode's set as its physical arguments give it, before anybody drove with it."""
    groups = [
        *pre_engagement.tables(mode),
        *slip_control.tables(mode),
        *limits.tables(mode),
        *actuator.tables(),
        *thermal.tables(),
        *driveshaft.tables(mode),
        *braking.tables(mode),
    ]
    by_id = {table.id: table for table in groups}
    return CalibrationSet(
        [by_id[role] for role in ROLES],
        SHARED,
        programme=larch.PROGRAMME,
        mode=mode,
        base_mode=larch.BASE,
        name=f"{larch.PROGRAMME}, {mode.replace('_', ' ')}",
        revision="A",
        description=f"{_ABOUT[mode]} An invented programme; no value was measured on a vehicle.",
    )


@cache
def normal_document() -> Document:
    """Return the base set with its history."""
    document = Document(first_values("normal"))
    values = _copy(document, "pre_engage_torque")
    values[3, 6] = 215.0
    _edit(
        document,
        "pre_engage_torque",
        values,
        "Set pre-engage torque at -10 °C, 40 % to 215 N.m",
        "The front still spun briefly when pulling out on packed snow.",
        "calibrator A",
        "2026-01-14T16:20:00Z",
    )
    values = _copy(document, "pre_engage_torque")
    values[2, 9:] = (352.5, 373.5, 386.0)
    _edit(
        document,
        "pre_engage_torque",
        values,
        "Raise pre-engage torque at -20 °C, 70 to 100 %",
        "Winter trip, evening of day 3: full-pedal launch on polished snow spun the front.",
        "calibrator B",
        "2026-01-22T18:05:00Z",
    )
    _do(
        document,
        describe(document.content, revision="B"),
        "End of the winter trip.",
        "calibrator A",
        "2026-01-30T09:00:00Z",
    )
    return document


@cache
def low_grip_document() -> Document:
    """Return the low-grip set with its history.

    Nobody carried the normal set's raise at -20 degC over to it; the slip target above the
    normal one is meant.
    """
    document = Document(first_values("low_grip"))
    values = _copy(document, "slip_target")
    values[0:2, 5] = 4.0
    _edit(
        document,
        "slip_target",
        values,
        "Set slip target at 0 and 10 km/h, 100 % to 4 km/h",
        "Digging out of deep snow needs wheel speed; more than the normal set on purpose.",
        "calibrator A",
        "2026-01-20T15:40:00Z",
    )
    _do(
        document,
        describe(document.content, revision="B"),
        "End of the winter trip.",
        "calibrator A",
        "2026-01-30T09:10:00Z",
    )
    return document


@cache
def towing_document() -> Document:
    """Return the towing set with its history."""
    document = Document(first_values("towing"))
    _edit(
        document,
        "disconnect_allowed",
        np.array(0.0),
        "Set disconnection allowed to 0",
        "With a trailer the torque may be needed at any time.",
        "calibrator A",
        "2026-01-12T10:15:00Z",
    )
    _edit(
        document,
        "inside_rear_brake",
        np.zeros(document.content["inside_rear_brake"].shape),
        "Zero inside-rear brake torque",
        "Braking one rear wheel turns the trailer in.",
        "brake engineer",
        "2026-01-13T11:30:00Z",
    )
    values = _copy(document, "pre_engage_torque")
    values[2, 9:] = (354.0, 375.0, 388.0)
    _edit(
        document,
        "pre_engage_torque",
        values,
        "Raise pre-engage torque at -20 °C, 70 to 100 %",
        "Carried over from the normal set, which was raised on the trip.",
        "calibrator B",
        "2026-01-23T08:45:00Z",
    )
    _do(
        document,
        describe(document.content, revision="B"),
        "End of the winter trip.",
        "calibrator A",
        "2026-01-30T09:20:00Z",
    )
    return document


# -- small helpers -------------------------------------------------------------------------


def _copy(document: Document, id: str) -> np.ndarray:
    return document.content[id].values.copy()


def _edit(
    document: Document,
    id: str,
    values: np.ndarray,
    title: str,
    reason: str,
    author: str,
    time: str,
) -> None:
    change = values_change(document.content[id], values, title)
    _do(document, change, reason, author, time)


def _do(document: Document, change: Change, reason: str, author: str, time: str) -> None:
    document.do(replace(change, reason=reason, author=author, time=time))
