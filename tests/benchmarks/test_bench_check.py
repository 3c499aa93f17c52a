"""Checking 30,000 tables, and one edit among them, against a plain numpy pass over the data.

Judged by the processor's time, the best of three: a check runs on one core, and the wall clock of
a busy machine says more about its other work.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Rule
from calib_model.core.table import Table
from calib_model.rules.attention import attention
from calib_model.rules.check import Checker, check
from calib_model.rules.limits import Bounds
from calib_model.rules.relations import Relation
from calib_model.rules.shape import Monotone, Slope
from tests.benchmarks.conftest import Best
from tests.generated import generated_set

Record = Callable[[str, object], None]


@pytest.fixture(scope="module")
def large(count: int) -> CalibrationSet:
    """60 % scalars, 25 % curves, 15 % maps; bounds on every table, shapes on curves and maps.

    Every hundredth table also refers to the one before it.
    """
    tables = list(generated_set(count))
    return CalibrationSet(
        [replace(t, rules=_rules(n, t, tables)) for n, t in enumerate(tables)],
        mode="normal",
        base_mode="normal",
    )


def _rules(number: int, table: Table, tables: list[Table]) -> tuple[Rule, ...]:
    rules: list[Rule] = [Bounds(table.lower, table.upper)]
    rules += [Monotone(axis.quantity) for axis in table.axes[:1]]
    rules += [Slope(axis.quantity, 1e6, -1e6) for axis in table.axes[1:]]
    if number % 100 == 0 and not table.axes:
        rules.append(Relation(tables[number - 1].id, ">=", factor=0.0, offset=-1.0))
    return tuple(rules)


def _plain_pass(content: CalibrationSet) -> int:
    """Finite, within limits, rising: in plain numpy, table by table, saying nothing."""
    bad = 0
    for table in content:
        z = table.values
        bad += not np.isfinite(z).all()
        bad += bool((z < table.lower).any() or (z > table.upper).any())
        if z.ndim:
            bad += bool((np.diff(z, axis=0) < 0).any())
            bad += any((np.diff(a.values) <= 0).any() for a in table.axes)
    return bad


def test_check_30000_tables(
    large: CalibrationSet, count: int, record_testsuite_property: Record, timed: bool, best: Best
) -> None:
    seconds, report = best(lambda: check(large))
    plain, bad = best(lambda: _plain_pass(large))
    assert len(report.by_table) == count
    # The base set alone: what it states of another mode is told, and nothing else is left out.
    stated = [table.id for table in large if "low_grip" in table.relations]
    assert [(n.table, n.mode) for n in report.not_checked] == [(id, "low_grip") for id in stated]
    assert bad == 0
    assert not report.findings
    record_testsuite_property("check of 30,000 tables: seconds", round(seconds, 3))
    record_testsuite_property("check: times a plain numpy pass", round(seconds / plain, 1))
    assert not timed or seconds < 2.0


def test_counting_who_looks_costs_little_beside_the_check(
    large: CalibrationSet, record_testsuite_property: Record, best: Best
) -> None:
    seconds, report = best(lambda: check(large))
    counted, found = best(lambda: attention(large, report))
    assert sum(found.tables.values()) == len(large)
    record_testsuite_property("counting rules: share of the check", round(counted / seconds, 3))
    assert counted < 0.25 * seconds


def test_mode_relations_of_30000_tables(
    large: CalibrationSet, record_testsuite_property: Record, timed: bool, best: Best
) -> None:
    # Every table a new object with equal values, as two files on disk give.
    other = CalibrationSet(
        [t.with_values(t.values.copy()) for t in large], mode="low_grip", base_mode="normal"
    )
    seconds, report = best(lambda: check(other, [large]))
    assert report.not_checked == ()
    record_testsuite_property("check against a base set: seconds", round(seconds, 3))
    assert not timed or seconds < 2.5


def test_one_edit_among_30000_tables(
    large: CalibrationSet, record_testsuite_property: Record, timed: bool
) -> None:
    checker = Checker(large)
    checker.update(large, [])  # who reads whom is found out once
    curve = next(t for t in large if t.kind == "curve")
    times = []
    for number in range(20):
        values = curve.values.copy()
        values[2] = values[-1] + 1 + number  # out of order: a finding each time
        content = large.with_table(curve.with_values(values))
        start = time.process_time()
        report = checker.update(content, [curve.id])
        times.append(time.process_time() - start)
        assert any(f.rule == "monotone" for f in report.of(curve.id))
    median = sorted(times)[len(times) // 2]
    record_testsuite_property("check after one edit: milliseconds", round(1000 * median, 2))
    assert not timed or median < 0.010
