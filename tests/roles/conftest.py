"""What the tests of roles share."""

from __future__ import annotations

from pathlib import Path

import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.store import read_set

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


@pytest.fixture(scope="session")
def sample() -> CalibrationSet:
    return read_set(SAMPLES / "larch_normal.h5").set
