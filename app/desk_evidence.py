"""A desk run as evidence of the grade "desk only"; for the window and the verbs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib_model.core.arrays import FloatArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Drive
from calib_model.errors import EditRefused
from calib_model.evidence.coverage import coverage
from calib_model.evidence.desk import desk_ticks
from calib_model.evidence.drives import desk_drive
from calib_model.evidence.replay import replay
from calib_model.evidence.trust import Level, trust

if TYPE_CHECKING:
    from calib_model.controller.constants import Constants


@dataclass(frozen=True, eq=False)
class LawRun:
    """What the torque law was given in a desk run, and what it commanded.

    Parameters
    ----------
    time : float array, shape (T,)
        In seconds.
    inputs : float array, shape (T, n)
        In the order of `calib_model.controller.inputs.INPUTS`.
    torque : float array, shape (T,)
        In N.m; NaN where a fixed clutch torque took the law's place.
    tick_s : float
    constants : Constants
        Of the vehicle that was driven.
    """

    time: FloatArray
    inputs: FloatArray
    torque: FloatArray
    tick_s: float
    constants: Constants


def evidence_of(content: CalibrationSet, name: str, run: LawRun, by: str) -> Drive:
    """Return the drive that a finished desk run is.

    Parameters
    ----------
    content : CalibrationSet
        The set that was driven with.
    name : str
        Of the manoeuvre and the vehicle.
    run : LawRun
    by : str
        Who records it.

    Raises
    ------
    EditRefused
        If no table decided anything in it, the replay does not command what the run did, or
        nobody is named.
    """
    if not np.isfinite(run.torque).any():
        raise EditRefused(
            f"{name} was driven with a fixed clutch torque: no table decided anything.",
            "Record a manoeuvre that the controller drives.",
        )
    ticks = desk_ticks(run.time, run.inputs, run.tick_s, {"torque": run.torque})
    along = replay(content, ticks, run.constants)
    found = trust(along, along.digest)
    if found.level is Level.FAILS:
        raise EditRefused(f"{name} proves nothing. {found.words}", "Drive it again.")
    return desk_drive(along, coverage(content, along, ticks), name, by=by)
