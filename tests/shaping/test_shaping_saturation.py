"""Values beyond what the storage holds: smoothing and fitting name them, as rounding does."""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.shaping.fit import fit
from calib_model.shaping.fit_options import FitOptions
from calib_model.shaping.samples import from_arrays
from calib_model.shaping.smooth import smooth

BYTE = Storage("uint8", 1)  # holds 0 to 255
X = np.arange(5.0)


def _content(values: list[float], storage: Storage = BYTE, **about: float) -> CalibrationSet:
    axis = Axis(X, "Input", "-", "pedal")
    return CalibrationSet((Table("c", np.array(values), (axis,), storage=storage, **about),))


def _said(notes: tuple[str, ...]) -> list[str]:
    return [n for n in notes if "holds (0 to 255) and takes its end" in n]


@pytest.mark.parametrize("strength", ["straight", 1e-2])
def test_smoothing_says_which_values_the_storage_cuts(strength: str | float) -> None:
    found = smooth(_content([0, 90, 180, 255, 255]), "c", strength)
    assert found.values("c")[-1] == 255
    assert found.ideal[(0, "c")][-1] > 260
    (said,) = _said(found.notes)
    assert "at 4" in said


def test_a_fit_says_which_values_the_storage_cuts() -> None:
    x = np.linspace(0, 4, 101)
    found = fit(_content([0, 0, 0, 0, 0]), "c", from_arrays([x], 100 * x - 20))
    np.testing.assert_array_equal(found.values("c"), [0, 80, 180, 255, 255])
    assert len(_said(found.notes)) == 1
    (said,) = _said(found.notes)
    assert said.startswith("c: −20 at 0 and 2 more")


def test_a_solvers_last_digit_beyond_the_end_is_not_named() -> None:
    x = np.linspace(0, 4, 101)
    found = fit(_content([0, 0, 0, 0, 0]), "c", from_arrays([x], 60 * x - 1e-12))
    assert _said(found.notes) == []
    assert found.values("c")[0] == 0


def test_what_is_not_cut_is_not_named() -> None:
    x = np.linspace(0, 4, 101)
    samples = from_arrays([x], 60 * x)
    content = _content([0, 60, 120, 180, 240])
    assert _said(fit(content, "c", samples).notes) == []
    assert _said(smooth(content, "c", 1e-2).notes) == []
    high = from_arrays([x], 100 * x)
    unrounded = fit(content, "c", high, FitOptions(on_raster=False))
    assert unrounded.values("c")[-1] == pytest.approx(400, abs=1e-3)
    assert _said(unrounded.notes) == []


def test_a_limit_that_holds_values_back_is_named_as_a_rule() -> None:
    x = np.linspace(0, 4, 101)
    content = _content([0, 90, 180, 200, 200], upper=200.0)
    for found in (smooth(content, "c", 1e-2), fit(content, "c", from_arrays([x], 55 * x))):
        assert found.values("c")[-1] <= 200
        assert any("within −inf to 200" in part.text for part in found.diagnostics.active)
        assert _said(found.notes) == []
