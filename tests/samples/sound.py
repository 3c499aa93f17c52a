"""The sample programme without the two breaches that its low-grip set has on purpose."""

from __future__ import annotations

from pathlib import Path

import numpy as np

import calib_model
from calib_model.core.calibration_set import CalibrationSet
from calib_model.store import write_set

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


def kept_promises() -> CalibrationSet:
    """The low-grip set, raised and lowered to what it promises the normal set."""
    normal = calib_model.open_set(SAMPLES / "larch_normal.h5")
    low = calib_model.open_set(SAMPLES / "larch_low_grip.h5")
    torque = np.maximum(low["pre_engage_torque"].values, normal["pre_engage_torque"].values)
    slip = np.minimum(low["slip_target"].values, normal["slip_target"].values)
    low = calib_model.edit(low, "pre_engage_torque", torque)
    return calib_model.edit(low, "slip_target", slip)


def write_kept_promises(path: Path) -> Path:
    """Write that set to a file."""
    write_set(path, kept_promises())
    return path
