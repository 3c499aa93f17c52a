"""Comparison of two sets of 30,000 tables, against a plain numpy pass over the same data."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest

from calib_model.compare import compare
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.rules.shape import Monotone


def _large_set(count: int, mode: str, changed: float) -> CalibrationSet:
    """Make 60 % scalars, 25 % curves, 15 % maps; two calls share no object."""
    rng = np.random.default_rng(0)
    tables = {}
    for number in range(count):
        share = number % 20
        counts = () if share < 12 else (12,) if share < 17 else (12, 16)
        axes = tuple(
            Axis(np.cumsum(rng.uniform(1, 5, n)), quantity=q, unit="%")
            for n, q in zip(counts, ("pedal", "vehicle_speed"), strict=False)
        )
        values = np.round(rng.uniform(0, 400, counts), 1)
        if (number * 7919) % 1000 < changed * 1000:
            values = values + 0.5
        id = f"group{number % 40}.table{number}"
        tables[id] = Table(
            id,
            values,
            axes,
            name=f"Table {number}",
            unit="N.m",
            lower=0.0,
            upper=500.0,
            storage=Storage("uint16", 1, 10),
            relations={"low_grip": ">="},
            rules=(Monotone(axis="pedal"),) if counts else (),
        )
    return CalibrationSet(tables, programme="Larch", mode=mode, base_mode="normal")


def _plain_pass(first: CalibrationSet, second: CalibrationSet) -> int:
    """What the same data costs without any sense of what it means."""
    different = 0
    for id, mine in first.tables.items():
        different += not np.array_equal(mine.values, second.tables[id].values)
    return different


@pytest.mark.parametrize("changed", [0.01, 1.0], ids=["1 percent changed", "all changed"])
def test_compare_30000_tables(
    changed: float,
    count: int,
    record_testsuite_property: Callable[[str, object], None],
    timed: bool,
) -> None:
    first = _large_set(count, "normal", 0.0)
    second = _large_set(count, "low_grip", changed)
    # Processor time, so that a machine that is busy elsewhere does not count.
    start = time.process_time()
    result = compare(first, second)
    ours = time.process_time() - start
    start = time.process_time()
    expected = _plain_pass(first, second)
    plain = time.process_time() - start
    assert len(result.differing) == expected == round(count * changed)
    assert result.breaches == ()
    name = f"compare, {changed:.0%} changed"
    record_testsuite_property(f"{name}: seconds", round(ours, 3))
    record_testsuite_property(f"{name}: times a plain numpy pass", round(ours / plain, 1))
    # 4.6 to 5 where everything changed, the first comparison of a process included.
    assert not timed or ours < max(0.2, 7 * plain)


def test_identical_objects_are_skipped(count: int, timed: bool) -> None:
    first = _large_set(count, "normal", 0.0)
    edited = first.with_table(first["group0.table0"].with_values(1.0))
    start = time.process_time()
    result = compare(first, edited)
    assert not timed or time.process_time() - start < 0.5
    assert [t.id for t in result.differing] == ["group0.table0"]
