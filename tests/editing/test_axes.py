"""Breakpoints: the function is kept as well as it can be, and the error is told."""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.core.axis import Axis, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.axes import (
    axis_error,
    delete_breakpoint,
    detach_axis,
    exchange_breakpoints,
    insert_breakpoint,
    move_breakpoint,
    scale_axis,
)
from calib_model.editing.change import apply
from calib_model.editing.lock_changes import set_locks
from calib_model.errors import EditRefused
from calib_model.lookup.reference import lookup_values

SPEED = Axis([0, 20, 60], "Speed", "km/h", "vehicle_speed", shared="axis.speed")
ONE = Table("one", [0.0, 40.0, 60.0], (SPEED,), "One", "N.m")
TWO = Table("two", [[1.0, 5], [2, 6], [4, 8]], (SPEED, Axis([0, 1])), "Two", "N.m")
OWN = Table("own", [0.0, 1.0, 4.0, 9.0, 16.0], (Axis([0, 1, 2, 3, 4]),), "Own", "N.m")
CONTENT = CalibrationSet([ONE, TWO, OWN], [SPEED])


def test_inserting_keeps_the_function_exactly() -> None:
    change = insert_breakpoint(CONTENT, "own", 0, 1.5)
    new = apply(CONTENT, change)["own"]
    assert new.axes[0].values.tolist() == [0, 1, 1.5, 2, 3, 4]
    assert new.values[2] == 2.5
    assert axis_error(OWN, new).largest == 0
    assert "same as before" in change.note


def test_deleting_reports_the_largest_error() -> None:
    # x^2 on 0..4: without the node at 2 the chord from 1 to 9 reads 5 there instead of 4.
    change = delete_breakpoint(CONTENT, "own", 0, 2)
    new = apply(CONTENT, change)["own"]
    error = axis_error(OWN, new)
    assert error.largest == 1.0
    assert error.at == (2.0,)
    assert "up to 1 N·m differently, at 2" in change.note
    # Outside: the interpolation error bound h^2/8 max|f''| (de Boor, A Practical Guide to
    # Splines; from memory). With h = 2, f'' = 2 it is exactly 1.
    assert error.largest <= 2**2 / 8 * 2


def test_moving_reads_the_old_function_at_the_new_place() -> None:
    new = apply(CONTENT, move_breakpoint(CONTENT, "own", 0, 2, 2.5))["own"]
    assert new.values.tolist() == [0, 1, 6.5, 9, 16]
    kept = apply(CONTENT, move_breakpoint(CONTENT, "own", 0, 2, 2.5, keep_values=True))["own"]
    assert kept.values.tolist() == OWN.values.tolist()


def test_a_shared_axis_moves_in_all_its_tables_at_once() -> None:
    new = apply(CONTENT, insert_breakpoint(CONTENT, "one", 0, 40))
    assert new["one"].values.tolist() == [0, 40, 50, 60]
    assert new["two"].values.tolist() == [[1, 5], [2, 6], [3, 7], [4, 8]]
    assert new.shared_axes["axis.speed"].values.tolist() == [0, 20, 40, 60]
    alone = apply(CONTENT, insert_breakpoint(CONTENT, "one", 0, 40, detach=True))
    assert alone["one"].axes[0].shared == ""
    assert len(alone["one"].axes[0]) == 4
    assert alone["two"] is TWO
    assert apply(new, insert_breakpoint(CONTENT, "one", 0, 40).inverse()) == CONTENT


def test_the_same_breakpoints_are_no_change() -> None:
    assert exchange_breakpoints(CONTENT, "one", 0, [0, 20, 60]).is_empty
    assert exchange_breakpoints(CONTENT, "own", 0, [0, 1, 2, 3, 4]).is_empty


def test_a_breakpoint_that_is_not_there_is_refused() -> None:
    for index in (-1, 5):
        with pytest.raises(EditRefused, match=f"no breakpoint {index + 1}"):
            delete_breakpoint(CONTENT, "own", 0, index)
        with pytest.raises(EditRefused, match=f"no breakpoint {index + 1}"):
            move_breakpoint(CONTENT, "own", 0, index, 1.5)


def test_detaching_gives_an_axis_of_its_own() -> None:
    new = apply(CONTENT, detach_axis(CONTENT, "one", 0))
    assert new["one"].axes[0].shared == ""
    with pytest.raises(EditRefused, match="own already"):
        detach_axis(new, "one", 0)


def test_scaling_keeps_values() -> None:
    new = apply(CONTENT, scale_axis(CONTENT, "own", 0, 15))["own"]
    assert new.axes[0].values.tolist() == [0, 15, 30, 45, 60]
    assert (new.values == OWN.values).all()


def test_new_values_lie_on_the_raster_and_the_rounding_is_reported() -> None:
    table = Table("r", [0.0, 1.0], (Axis([0, 3]),), "R", "N.m", storage=Storage("uint8", 1, 2))
    content = CalibrationSet([table])
    change = insert_breakpoint(content, "r", 0, 1)
    new = apply(content, change)["r"]
    assert new.values.tolist() == [0, 0.5, 1]
    assert axis_error(table, new).largest == pytest.approx(0.5 - 1 / 3)
    assert "0.1667" in change.note


def test_step_axes_keep_the_lower_value() -> None:
    table = Table("s", [1.0, 2.0], (Axis([0, 2], interpolation=Interpolation.STEP),))
    content = CalibrationSet([table])
    assert apply(content, insert_breakpoint(content, "s", 0, 1))["s"].values.tolist() == [1, 1, 2]


def test_locks_follow_their_cells() -> None:
    content = apply(CONTENT, set_locks(OWN, np.array([False, True, False, False, False]), True))
    later = apply(content, insert_breakpoint(content, "own", 0, 0.5))
    assert later["own"].rules[0].locked_mask(later["own"]).tolist() == [
        False, False, True, False, False, False,
    ]  # fmt: skip
    with pytest.raises(EditRefused, match="locked"):
        delete_breakpoint(content, "own", 0, 1)
    moved = apply(content, move_breakpoint(content, "own", 0, 1, 1.2, keep_values=True))["own"]
    assert moved.rules[0].locked_mask(moved).tolist() == [False, True, False, False, False]


@pytest.mark.parametrize("values", [[0, 1, 1, 2, 3], [0, 2, 1, 3, 4], [0, 1, 2, 3, np.inf]])
def test_disordered_or_infinite_breakpoints_are_refused(values: list[float]) -> None:
    with pytest.raises(EditRefused, match="finite and rise strictly"):
        exchange_breakpoints(CONTENT, "own", 0, values)


def test_a_disordered_axis_can_be_mended_with_its_values_kept() -> None:
    bad = Table("bad", [1.0, 2.0, 3.0], (Axis([0, 5, 2]),), "Bad")
    content = CalibrationSet([bad])
    with pytest.raises(EditRefused, match="values kept"):
        exchange_breakpoints(content, "bad", 0, [0, 1, 2])
    new = apply(content, exchange_breakpoints(content, "bad", 0, [0, 1, 2], keep_values=True))
    assert lookup_values(new["bad"].axes, new["bad"].values, [1.5]) == 2.5
