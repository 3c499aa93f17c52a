from __future__ import annotations

from pathlib import Path

import pytest

from calib_model import open_set
from calib_model.controller.binding import Bound, bind
from calib_model.core.calibration_set import CalibrationSet
from calib_model.vehicle.parameters import LARCH

SETS = Path(__file__).resolve().parents[2] / "sample_sets"


@pytest.fixture(scope="session")
def larch_normal() -> CalibrationSet:
    return open_set(SETS / "larch_normal.h5")


@pytest.fixture(scope="session")
def larch_low_grip() -> CalibrationSet:
    return open_set(SETS / "larch_low_grip.h5")


@pytest.fixture(scope="session")
def bound(larch_normal: CalibrationSet) -> Bound:
    return bind(larch_normal, LARCH.constants)
