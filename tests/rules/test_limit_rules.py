"""Limits, bounds and locks, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.core.rule import Range
from calib_model.errors import ModelError
from calib_model.rules.limits import Bounds, Locked
from tests.rules.making import curve, findings, only, plane, report, scalar


def test_limits_of_the_table_are_always_in_force() -> None:
    # 12 is above 10 by 2, -1 below 0 by 1: the worst first.
    table = curve([0, 1, 2], [-1, 5, 12], lower=0.0, upper=10.0)
    (finding,) = report(table).of("t")
    assert finding.rule == "limits"
    assert finding.cells == ((2,), (0,))
    assert (finding.amount, finding.unit, finding.places) == (2.0, "N.m", 2)
    assert finding.message.startswith("12 N·m at 2 % is above the largest allowed value, 10 N·m.")
    assert report(curve([0, 1], [0, 10], lower=0.0, upper=10.0)).findings == ()
    assert report(curve([0, 1], [-1e300, 1e300])).findings == ()  # no limits stated


def test_bounds_within_a_scope() -> None:
    rule = Bounds(1.0, 4.0, scope=(Range("pedal", 10.0, 20.0),))
    # 0 and 9 lie outside the scope; 0.5 at 10 % is below 1 by 0.5.
    finding = only(curve([0, 10, 20, 30], [0, 0.5, 4, 9], rule))
    assert finding.cells == ((1,),)
    assert finding.amount == 0.5
    assert "0.5 N·m at 10 % is below the smallest allowed value, 1 N·m." in finding.message
    assert findings(curve([0, 10, 20, 30], [0, 1, 4, 9], rule)) == []


def test_bounds_have_no_tolerance() -> None:
    above = np.nextafter(4.0, 5.0)
    assert only(curve([0, 1], [0, above], Bounds(upper=4.0))).amount == above - 4.0


def test_bounds_of_a_scalar() -> None:
    finding = only(scalar(340.0, Bounds(350.0, 600.0)))
    assert finding.cells == ((),)
    assert finding.axis_values == ((),)
    assert finding.amount == 10


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        (Bounds(1.0, 2.0), "within 1 to 2 N·m"),
        (Bounds(upper=2.0), "at most 2 N·m"),
        (Bounds(lower=1.0), "at least 1 N·m"),
        (Bounds(1.0, 2.0, scope=(Range("pedal", 3, 3),)), "within 1 to 2 N·m at pedal 3 %"),
    ],
)
def test_statement(rule: Bounds, said: str) -> None:
    assert rule.statement(curve([0, 1], [0, 1])) == said


def test_lock() -> None:
    rule = Locked(((10.0,), (20.0,)), (3.0, 4.0))
    # 20 % holds 6 in place of 4: off by 2.
    finding = only(curve([0, 10, 20], [1, 3, 6], rule))
    assert finding.cells == ((2,),)
    assert finding.amount == 2
    assert finding.message == "6 N·m at 20 %; the cell is locked at 4 N·m."
    assert findings(curve([0, 10, 20], [9, 3, 4], rule)) == []


def test_lock_stays_with_its_breakpoint() -> None:
    rule = Locked(((10.0, 50.0),), (7.0,))
    table = plane([0, 5, 10], [0, 50], [[1, 1], [1, 1], [1, 7]], rule)
    assert findings(table) == []
    assert rule.locked_mask(table).tolist() == [[False, False], [False, False], [False, True]]
    # Its breakpoint is gone: nothing is held.
    assert findings(plane([0, 11], [0, 50], [[1, 1], [1, 1]], rule)) == []


def test_lock_of_a_table_that_lost_an_axis_holds_nothing() -> None:
    rule = Locked(((10.0, 50.0),), (7.0,))
    table = curve([10, 50], [1, 1], rule)
    assert findings(table) == []
    assert not rule.locked_mask(table).any()


def test_lock_of_a_scalar_holds_exactly() -> None:
    rule = Locked(((),), (450.0,))
    assert findings(scalar(450.0, rule)) == []
    off = np.nextafter(450.0, 451)
    assert only(scalar(off, rule)).amount == off - 450


def test_lock_needs_a_value_for_each_cell() -> None:
    with pytest.raises(ModelError, match="one value for each"):
        Locked(((1.0,),), ())
