"""Two tables on one grid, thresholds, and differences by rounding, against outside references."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from ambiance import Atmosphere

from calib_model.compare import NotComparable, State, Threshold, align, compare, compare_tables
from calib_model.compare.relation import breach_marks
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.errors import ModelError

PEDAL = Axis([0.0, 50.0, 100.0], name="Pedal", unit="%", quantity="pedal")
SPEED = Axis([0.0, 40.0], name="Speed", unit="km/h", quantity="vehicle_speed")


def _atmosphere(heights: np.ndarray) -> Table:
    """Temperature and pressure level over height by ISO 2533 (package `ambiance`)."""
    values = Atmosphere(heights).temperature
    axis = Axis(heights, name="Height", unit="m")
    return Table("temperature", values, (axis,), unit="K")


def test_differences_of_open_data_agree_with_numpy_and_xarray() -> None:
    # ISO 2533 standard atmosphere as the package ambiance gives it, once every 1000 m and once
    # every 1500 m: xarray aligns both on the union of their heights and interpolates linearly.
    coarse = _atmosphere(np.arange(0.0, 18_001.0, 1500.0))
    fine = _atmosphere(np.arange(0.0, 18_001.0, 1000.0))
    aligned = align(coarse, fine)
    arrays = [
        xr.DataArray(t.values, coords={"height": t.axes[0].values}, dims="height")
        for t in (coarse, fine)
    ]
    union = np.union1d(coarse.axes[0].values, fine.axes[0].values)
    first, second = (a.interp(height=union, method="linear") for a in arrays)
    np.testing.assert_allclose(aligned.first.values, first.values, rtol=1e-13)
    np.testing.assert_allclose(aligned.values, (second - first).values, atol=1e-10)
    # numpy's own linear interpolation, as a second opinion
    own = np.interp(union, fine.axes[0].values, fine.values)
    np.testing.assert_allclose(aligned.second.values, own, rtol=1e-13)
    found = compare_tables(coarse, fine)
    assert found.state is State.AXES_DIFFER
    assert found.largest == pytest.approx(
        float((second - first).values[np.abs((second - first).values).argmax()])
    )


def test_maps_with_swapped_axes_agree_with_xarrays_broadcasting() -> None:
    random = np.random.default_rng(3)
    first = Table("map", random.uniform(0, 9, (3, 2)), (PEDAL, SPEED), unit="N.m")
    second = Table("map", random.uniform(0, 9, (2, 3)), (SPEED, PEDAL), unit="N.m")
    aligned = align(first, second)
    a = xr.DataArray(first.values, dims=("pedal", "speed"))
    b = xr.DataArray(second.values, dims=("speed", "pedal"))
    np.testing.assert_allclose(aligned.values, (b - a).transpose("pedal", "speed").values)


def test_own_nodes_on_the_union_grid_by_hand() -> None:
    first = Table("curve", [0.0, 10.0], (replace(PEDAL, values=[0.0, 100.0]),), unit="N.m")
    second = Table("curve", [0.0, 6.0, 10.0], (PEDAL,), unit="N.m")
    aligned = align(first, second)
    # By hand: union 0, 50, 100; the first reads 5 at 50.
    assert aligned.first.values.tolist() == [0, 5, 10]
    assert aligned.values.tolist() == [0, 1, 0]
    assert aligned.own_first.tolist() == [True, False, True]
    assert aligned.own_second.tolist() == [True, True, True]


def test_units_are_converted() -> None:
    # NIST SP 811: 0 degC = 273.15 K.
    first = Table("limit", [0.0, 10.0, 20.0], (PEDAL,), unit="degC")
    second = Table("limit", [273.15, 284.15, 293.15], (PEDAL,), unit="K")
    aligned = align(first, second)
    np.testing.assert_allclose(aligned.values, [0, 1, 0], atol=1e-9)
    assert aligned.changed.tolist() == [False, True, False]


def test_same_grids_stand_as_they_are() -> None:
    first = Table("curve", [1.0, np.nan, 3.0], (PEDAL,), unit="N.m")
    second = replace(first, values=np.array([1.0, np.nan, np.nan]))
    aligned = align(first, second)
    assert aligned.first is first
    assert aligned.second is second
    assert aligned.changed.tolist() == [False, False, True]
    assert aligned.values.tolist()[:2] == [0, 0]
    assert np.isnan(aligned.values[2])
    assert compare_tables(first, second).emptied == 1


def test_units_of_different_kinds_have_no_common_grid() -> None:
    first = Table("curve", [1.0, 2.0, 3.0], (PEDAL,), unit="N.m")
    with pytest.raises(NotComparable):
        align(first, replace(first, unit="km/h"))


@pytest.mark.parametrize(
    ("text", "amount", "percent"),
    [("2", 2, False), ("2 steps", 2, False), ("1 step", 1, False), (".5%", 0.5, True),
     ("0.5 percent", 0.5, True), (" 3 % ", 3, True)],
)  # fmt: skip
def test_thresholds_are_read(text: str, amount: float, percent: bool) -> None:
    assert Threshold.parse(text) == Threshold(amount, percent)


@pytest.mark.parametrize("text", ["", "-1", "two", "1e3", "1,5", "nan", "5 %%"])
def test_what_is_no_threshold_is_refused(text: str) -> None:
    with pytest.raises(ModelError):
        Threshold.parse(text)


def test_a_threshold_by_hand() -> None:
    # Step 0.5, range 450: 2 steps are 1.0, 1 % is 4.5.  Exactly the threshold does not count.
    first = Table("curve", [10.0, 20.0, 30.0], (PEDAL,), unit="N.m", lower=0, upper=450,
                  storage=Storage.of("uint16", "0.5"))  # fmt: skip
    second = first.with_values([11.0, 21.5, 35.0])
    aligned = align(first, second)
    assert aligned.beyond(Threshold(2)).tolist() == [False, True, True]
    assert aligned.beyond(Threshold(1, percent=True)).tolist() == [False, False, True]
    assert aligned.beyond(Threshold()).tolist() == [True, True, True]


@pytest.mark.parametrize(
    ("storage", "first", "second"),
    [
        (Storage.of("uint16", "0.5"), 10.0, 10.2),
        (Storage("float32"), 0.1, float(np.float32(0.1))),
        (Storage(), 0.3, 0.1 + 0.2),
    ],
)
def test_values_stored_alike_differ_only_by_rounding(
    storage: Storage, first: float, second: float
) -> None:
    one = Table("a", [first, 1.0, 2.0], (PEDAL,), unit="N.m", storage=storage)
    two = one.with_values([second, 1.0, 2.0])
    found = compare_tables(one, two)
    assert found.state is State.ROUNDING
    assert found.cells_changed == 1
    assert align(one, two).by_rounding.tolist() == [True, False, False]
    # One cell that is truly another is enough.
    assert compare_tables(one, two.with_values([second, 5.0, 2.0])).state is State.CHANGED
    # Another description is more than rounding.
    assert compare_tables(one, replace(two, description="new")).state is State.CHANGED


def test_breaching_nodes_are_those_the_check_names() -> None:
    base = Table("torque", np.full((3, 2), 10.0), (PEDAL, SPEED), unit="N.m",
                 relations={"low_grip": ">="})  # fmt: skip
    values = base.values.copy()
    values[1, 1], values[2, 0], values[0, 0] = 8.0, 9.0, 12.0
    normal = CalibrationSet([base], mode="normal", base_mode="normal")
    low = CalibrationSet([base.with_values(values)], mode="low_grip", base_mode="normal")
    for first, second in ((normal, low), (low, normal)):
        result = compare(first, second)
        pair = result.tables["torque"]
        marks = breach_marks(result, pair, align(first["torque"], second["torque"]))
        named = {cell for breach in pair.breaches for cell in breach.cells}
        assert {tuple(c) for c in np.argwhere(marks).tolist()} == named == {(1, 1), (2, 0)}
