"""The shipped sets, read once per process."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from calib_model.controller.binding import Bound, bind
from calib_model.controller.constants import LARCH
from calib_model.core.calibration_set import CalibrationSet
from calib_model.store import read_set

FOLDER = Path(__file__).resolve().parents[2] / "sample_sets"


@cache
def sample(name: str) -> CalibrationSet:
    """A shipped set, such as ``normal`` or ``low_grip``."""
    return read_set(FOLDER / f"larch_{name}.h5").set


def bound(content: CalibrationSet) -> Bound:
    """A set bound to the torque law."""
    return bind(content, LARCH)
