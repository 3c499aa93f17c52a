"""Moving tables to other breakpoints, read by the lookup before and after."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.errors import EditRefused
from calib_model.lookup import lookup
from calib_model.shaping.reaxis import METHODS, breakpoints_of, reaxis
from calib_model.store import open_file
from tests.fit.making_fits import SAMPLE_SETS, curve, only, surface


def _apart(before: Table, after: Table) -> np.ndarray:
    """New reading less old, on a dense grid with every breakpoint of both."""
    grids = []
    for a, b in zip(before.axes, after.axes, strict=True):
        both = np.union1d(a.values, b.values)
        grids.append(np.union1d(both, np.linspace(both[0], both[-1], 257)))
    mesh = np.meshgrid(*grids, indexing="ij")
    return lookup(after, mesh) - lookup(before, mesh)


@pytest.fixture(scope="module")
def normal() -> CalibrationSet:
    return open_file(SAMPLE_SETS / "larch_normal.h5").result().set


@pytest.mark.parametrize("method", METHODS)
def test_error_is_the_one_the_lookup_sees(normal: CalibrationSet, method: str) -> None:
    before = normal["pre_engage_torque"]
    found = reaxis(normal, before.id, 1, [0, 20, 40, 60, 80, 100], method=method)
    after = found.table(before.id)
    apart = _apart(before, after)
    assert np.abs(apart).max() == pytest.approx(found.errors[before.id].largest)
    if method == "not above":
        assert apart.max() <= 1e-9
    if method == "not below":
        assert apart.min() >= -1e-9
    assert after.storage.representable(after.values).all()
    worst = found.kinks[0]
    assert worst.at in before.axes[1].values
    there = lookup(after, [after.axes[0].values, worst.at]) - lookup(
        before, [before.axes[0].values, worst.at]
    )
    assert (worst.below, worst.above) == pytest.approx((-min(there.min(), 0), max(there.max(), 0)))
    apply(normal, found.change())


def test_nearest_values_err_less_than_read_ones() -> None:
    x = np.linspace(0, 1, 21)
    table = curve(x, x**2)
    errors = {
        m: reaxis(only(table), "curve", 0, [0, 0.5, 1], method=m).errors["curve"].largest
        for m in METHODS
    }
    # h^2/8 max|f''| with h = 1/2 is 1/16; the minimax values halve it.
    assert errors["read"] == pytest.approx(1 / 16, rel=1e-2)
    assert errors["nearest"] == pytest.approx(1 / 32, rel=2e-2)
    assert errors["not below"] == pytest.approx(1 / 16, rel=1e-2)
    assert errors["nearest"] < errors["not above"]


@given(
    st.lists(st.integers(0, 40), min_size=5, max_size=8),
    st.sampled_from(["not above", "not below"]),
    st.booleans(),
)
def test_one_side_is_kept_to_the_last_reading(values: list[int], method: str, stored: bool) -> None:
    x = np.arange(len(values), dtype=float)
    storage = Storage.of("int16", "0.25") if stored else Storage()
    table = curve(x, np.array(values, dtype=float), storage=storage)
    found = reaxis(
        only(table), "curve", 0, [0, (len(values) - 1) / 3, len(values) - 1], method=method
    )
    apart = _apart(table, found.table("curve"))
    side = apart if method == "not above" else -apart
    assert side.max() <= 1e-9


def test_breakpoints_that_stay_keep_their_values_exactly() -> None:
    table = curve([0, 1, 2, 4], [0.1, 0.7, 0.2, 0.3])
    found = reaxis(only(table), "curve", 0, [0, 1, 1.5, 2, 4])
    assert found.values("curve")[[0, 1, 3, 4]].tolist() == [0.1, 0.7, 0.2, 0.3]
    assert found.errors["curve"].largest == 0
    assert found.kinks == ()


def test_breakpoints_of_another_table_or_a_shared_axis(normal: CalibrationSet) -> None:
    table = normal["touch_point_current"]
    shared = breakpoints_of(normal, table, 0, "axis.motor_temperature_branch")
    assert shared.values.tolist() == [-40, -10, 20, 60, 100]
    from_table = breakpoints_of(normal, table, 0, "current_for_clamp_apply")
    assert from_table == shared
    found = reaxis(normal, table.id, 0, shared, adopt=True)
    content = apply(normal, found.change())
    assert content[table.id].axes[0].shared == "axis.motor_temperature_branch"
    assert content["actuator_rate"].axes[0].shared == "axis.motor_temperature_drag"
    with pytest.raises(EditRefused, match="neither a table nor a shared axis"):
        breakpoints_of(normal, table, 0, "nothing")
    with pytest.raises(EditRefused, match="has no axis that reads"):
        breakpoints_of(normal, table, 0, "pre_engage_torque")


def test_units_of_the_other_axis_are_converted() -> None:
    speed = Axis(np.array([0.0, 10.0, 20.0]), "Speed", "m/s", "vehicle_speed")
    one = Table("one", [0.0, 1, 2], (speed,))
    two = surface([0, 1], [0, 50, 100], np.zeros((2, 3)))
    found = breakpoints_of(CalibrationSet([one, two]), two, 1, "one")
    np.testing.assert_allclose(found.values, [0, 36, 72])


def test_bad_breakpoints_are_refused() -> None:
    axis = Axis(np.array([0.0, 50.0, 100.0]), "Pedal", "%", storage=Storage.of("uint8", "0.5"))
    content = only(curve([0, 50, 100], [0.0, 1, 2], axis=axis))
    for wrong, word in (
        ([0, 50, 50, 100], "rise strictly"),
        ([], "must be numbers"),
        ([0, np.nan], "must be numbers"),
        ([0, 0.1, 100], "closer than a storage step"),
        ([0, 50, 300], "can only hold 0 to 127.5 %"),
    ):
        with pytest.raises(EditRefused, match=word):
            reaxis(content, "curve", 0, wrong)
    with pytest.raises(EditRefused, match="Method"):
        reaxis(content, "curve", 0, [0, 100], method="guess")
    with pytest.raises(EditRefused, match="no axis 2"):
        reaxis(content, "curve", 1, [0, 100])
    with pytest.raises(EditRefused, match="Only a shared axis"):
        reaxis(content, "curve", 0, [0, 100], adopt=True)


def test_impossible_side_is_refused_with_the_reason() -> None:
    table = curve([0, 1, 2], [0.0, 0.0, 5.0], lower=0.0, upper=10.0)
    found = reaxis(only(table), "curve", 0, [0, 2], method="not above")
    np.testing.assert_allclose(found.values("curve"), 0.0, atol=1e-12)
    assert found.values("curve").min() >= 0.0
    table = curve([0, 1, 2], [5.0, 0.0, 5.0], lower=1.0, upper=10.0)
    with pytest.raises(EditRefused, match="within the limits"):
        reaxis(only(table), "curve", 0, [0, 2], method="not above")
