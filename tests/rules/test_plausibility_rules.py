"""The plain checks: each passes and fails where a person would say so."""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.core.axis import Axis
from calib_model.core.rule import Severity
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.rules.check import Finding
from calib_model.rules.plausibility import BranchOrder, Covers
from tests.rules.making import axis, curve, findings, only, plane, raster, report, scalar


def always(table: Table, kind: str) -> Finding | None:
    """The finding of a check that is always in force."""
    found = [f for f in report(table).of(table.id) if f.rule == kind]
    assert len(found) <= 1
    return found[0] if found else None


def test_every_cell_holds_a_number() -> None:
    finding = always(curve([0, 1, 2], [0, np.nan, 2]), "finite")
    assert finding is not None
    assert finding.severity is Severity.ERROR
    assert finding.cells == ((1,),)
    assert finding.message == "No value at 1 %; fill it in."
    infinite = always(scalar(np.inf), "finite")
    assert infinite is not None
    assert infinite.message == "An infinite value; no controller can hold it."
    assert always(scalar(0.0), "finite") is None


@pytest.mark.parametrize(
    ("x", "amount", "said"),
    [
        ([0, 20, 10], 10.0, "Breakpoint 20 % of pedal is followed by 10"),
        ([0, 10, 10], 0.0, "Breakpoint 10 % of pedal is repeated"),
    ],
)
def test_breakpoints_rise(x: list[float], amount: float, said: str) -> None:
    finding = always(curve(x, [1, 1, 1]), "axis_order")
    assert finding is not None
    assert finding.cells == ((2,),)
    assert (finding.amount, finding.unit) == (amount, "%")
    assert finding.message.startswith(said)
    assert always(curve([0, 10, 20], [1, 1, 1]), "axis_order") is None


def test_disordered_second_axis_names_its_column() -> None:
    finding = always(plane([0, 1], [0, 50, 50], np.ones((2, 3))), "axis_order")
    assert finding is not None
    assert finding.cells == ((0, 2), (1, 2))


def test_axis_covers_a_range() -> None:
    rule = Covers("pedal", -40.0, 50.0)
    # Starts at -25: 15 short; ends at 45: 5 short. The worse end first.
    finding = only(curve([-25, 0, 45], [1, 2, 3], rule))
    assert finding.cells == ((0,), (2,))
    assert (finding.amount, finding.unit, finding.places) == (15.0, "%", 2)
    assert "starts at \N{MINUS SIGN}25 %, but must reach \N{MINUS SIGN}40 %" in finding.message
    assert findings(curve([-40, 50], [1, 2], rule)) == []
    assert findings(curve([-99, 99], [1, 2], rule)) == []
    # One end only: the line of cells at that end.
    rows = only(plane([-36, 36], [0, 50], np.ones((2, 2)), Covers("pedal", -36.0, 540.0)))
    assert rows.cells == ((1, 0), (1, 1))
    assert rows.amount == 504


def test_values_lie_on_the_raster() -> None:
    # 0.3 on a raster of 0.5 becomes 0.5: off by 0.2.
    finding = always(curve([0, 1], [0.3, 1], storage=raster("0.5")), "on_raster")
    assert finding is not None
    assert finding.severity is Severity.WARNING
    assert finding.cells == ((0,),)
    assert finding.amount == pytest.approx(0.2)
    assert "0.3 at 0 % cannot be stored" in finding.message
    assert "would hold 0.5" in finding.message
    # Typed decimals are on a decimal raster, whatever binary fractions say.
    tenths = curve([0, 1, 2], [0.1, 0.3, 0.7], storage=raster("0.1"))
    assert always(tenths, "on_raster") is None
    # Beyond the type's range: 300 in 8 bits becomes 255.
    beyond = always(scalar(300.0, storage=Storage.of("uint8")), "on_raster")
    assert beyond is not None
    assert beyond.amount == 45
    assert always(scalar(1 / 3, storage=Storage("float64")), "on_raster") is None
    assert always(scalar(1 / 3, storage=Storage("float32")), "on_raster") is not None


def test_breakpoints_lie_on_the_raster() -> None:
    off = Axis([0, 10.3], "Pedal", "%", "pedal", storage=raster("0.5", "uint8"))
    finding = always(Table("t", [0, 1], (off,)), "axis_on_raster")
    assert finding is not None
    assert finding.cells == ((1,),)
    assert finding.amount == pytest.approx(0.2)
    assert "Breakpoint 10.3 of Pedal cannot be stored" in finding.message
    good = Axis([0, 10.5], "Pedal", "%", "pedal", storage=raster("0.5", "uint8"))
    assert always(Table("t", [0, 1], (good,)), "axis_on_raster") is None


def test_a_slope_lost_to_rounding() -> None:
    # 10.1 and 10.2 both become 10 on a raster of 0.5.
    finding = always(curve([0, 1, 2], [10.1, 10.2, 11], storage=raster("0.5")), "flattened")
    assert finding is not None
    assert finding.cells == ((0,), (1,))
    assert finding.amount == pytest.approx(0.1)
    assert "round to the same stored value (step 0.5)" in finding.message
    level = curve([0, 1, 2], [10, 10, 11], storage=raster("0.5"))
    assert always(level, "flattened") is None  # level on purpose


# -- slips -------------------------------------------------------------------------------------

SMOOTH = np.add.outer([10.0, 20, 30, 40, 50], [0.0, 8, 16, 24])


@pytest.mark.parametrize(
    ("factor", "said"),
    [
        (0.1, "ten times too small"),
        (10, "ten times too large"),
        (0.01, "a hundred times too small"),
        (100, "a hundred times too large"),
        (-1, "of the wrong sign"),
    ],
)
@pytest.mark.parametrize("cell", [(2, 1), (2, 2), (1, 1)])
def test_slip_of_decimal_or_sign(factor: float, said: str, cell: tuple[int, int]) -> None:
    """A slip is made on a straight plane, where the right value is known: 10 times, and so on."""
    z = SMOOTH.copy()
    z[cell] *= factor
    finding = always(plane(range(5), range(4), z), "outlier")
    assert finding is not None
    assert finding.severity is Severity.WARNING
    assert finding.cells == (cell,)
    assert finding.amount == pytest.approx(abs(z[cell] - SMOOTH[cell]))
    assert finding.message.endswith(f"looks {said}.")
    assert finding.remedies == ("re-interpolate",)


@pytest.mark.parametrize("place", [0, 2, 4])
def test_slip_at_the_end_of_a_curve(place: int) -> None:
    z = np.array([50.0, 60, 70, 80, 90])
    z[place] *= 10
    finding = always(curve(range(5), z), "outlier")
    assert finding is not None
    assert (place,) in finding.cells


def test_no_slip_in_shapes_that_are_meant() -> None:
    shapes = {
        "plane": plane(range(5), range(4), SMOOTH),
        "level": curve(range(4), [5, 5, 5, 5]),
        "to zero": curve(range(6), [12000, 12000, 10800, 8000, 4000, 0]),
        "steep end": curve(range(5), [0, 1, 3, 10, 40]),
        "decades": curve(range(5), [1, 10, 100, 1000, 10000]),
        "out of order near zero": curve(range(4), [0, 2, 1, 3]),
        "three times each": curve(range(5), [1, 3, 9, 27, 81]),
        "through zero": curve(range(5), [-40, -10, 0, 10, 40]),
        "a peak": curve(range(5), [0, 40, 100, 40, 0]),
        "two cells": curve(range(2), [1, 10]),
    }
    for name, table in shapes.items():
        assert always(table, "outlier") is None, name


def test_a_small_wrong_value_is_no_slip() -> None:
    """Out of order, but no decimal or sign brings it nearer: a matter for the shape rules."""
    assert always(curve(range(5), [50, 60, 55, 80, 90]), "outlier") is None


# -- branches ------------------------------------------------------------------------------------


def branches(swap: list[int]) -> tuple[Table, Table]:
    """A pair over clamp (rows) and pedal (columns); the columns in `swap` exchanged."""
    upper = np.add.outer([1.0, 2, 4, 8], [0.0, 0.5, 1])
    lower = upper * 0.7
    lower[0] = upper[0]  # they meet at no clamp
    for column in swap:
        upper[:, column], lower[:, column] = lower[:, column].copy(), upper[:, column].copy()
    axes = (axis("clamp", [0, 1, 2, 3]), axis("pedal", [0, 50, 100]))
    rule = BranchOrder("up", "clamp")
    return Table("t", lower, axes, unit="A", rules=(rule,)), Table("up", upper, axes, unit="A")


def test_exchanged_branches() -> None:
    own, other = branches([1])
    finding = only(own, other)
    assert sorted(finding.cells) == [(0, 1), (1, 1), (2, 1), (3, 1)]
    # At the largest clamp: 8.5 less 0.7 * 8.5.
    assert finding.amount == pytest.approx(0.3 * 8.5)
    assert finding.remedies == ("exchange branches",)
    assert "The whole line at 50 % lies above up" in finding.message
    assert findings(*branches([])) == []


def test_one_crossed_cell_is_no_exchange() -> None:
    own, other = branches([])
    values = own.values.copy()
    values[3, 1] = 99
    assert findings(own.with_values(values), other) == []


def test_branches_of_other_shape_are_not_checked() -> None:
    own, _ = branches([])
    found = report(own, curve([0, 1], [1, 2], id="up"))
    assert [n.rule for n in found.not_checked] == ["branch_order"]
