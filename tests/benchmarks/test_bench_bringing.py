"""Bringing tables in: 5,000 of one CSV, 300 files, and the same bytes by other libraries.

The goals are 5 s for all of a CSV of 5,000 tables, the start of the reading process included, and
1 s for all that a page of 300 tables shows and for any choice on it.  What is read in a process of
its own is timed by the clock on the wall.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.csv
import pytest

import calib_model as cm
from calib_model.bringing.understanding import Understood, understand
from calib_model.exchange.csv_tables import csv_bytes
from tests.benchmarks.conftest import Best

Record = Callable[[str, object], None]
TABLES = 5_000


def made(count: int) -> list[cm.Table]:
    """Scalars, curves of 8 and maps of 10 by 12, a third each."""
    random = np.random.default_rng(1)
    speed = cm.Axis(np.arange(10.0) * 5, name="Speed", unit="km/h")
    pedal = cm.Axis(np.arange(12.0) * 5, name="Pedal", unit="%")
    short = cm.Axis(np.arange(8.0) * 5, name="Speed", unit="km/h")
    tables = []
    for number in range(count):
        axes = ((), (short,), (speed, pedal))[number % 3]
        values = random.random(tuple(len(axis) for axis in axes)).round(4)
        tables.append(cm.Table(f"t{number}", values, axes, unit="N.m"))
    return tables


@pytest.mark.timeout(300)
def test_five_thousand_tables_of_one_csv(
    tmp_path: Path,
    best: Best,
    timed: bool,
    record_testsuite_property: Callable[[str, object], None],
) -> None:
    tables = made(TABLES if timed else TABLES // 10)
    path = tmp_path / "all.csv"
    path.write_bytes(csv_bytes(tables))
    seconds, found = best(lambda: understand([path]).content(), 3, time.perf_counter)
    assert list(found) == [cm.Table(t.id, t.values, t.axes, unit=t.unit) for t in tables]
    by_pandas, _ = best(lambda: pd.read_csv(path), 3, time.perf_counter)
    by_arrow, _ = best(lambda: pyarrow.csv.read_csv(path), 3, time.perf_counter)
    record_testsuite_property("5,000 tables of one CSV, seconds", round(seconds, 2))
    record_testsuite_property("the same over pandas' read_csv", round(seconds / by_pandas, 1))
    record_testsuite_property("the same over pyarrow's read_csv", round(seconds / by_arrow, 1))
    if timed:
        assert seconds < 5


def test_the_page_of_three_hundred_tables(
    tmp_path: Path,
    best: Best,
    timed: bool,
    record_testsuite_property: Callable[[str, object], None],
) -> None:
    count = 300 if timed else 30
    for table in made(3 * count)[2::3]:
        rows, columns = table.axes
        frame = pd.DataFrame(
            table.values, pd.Index(rows.values, name="Speed [km/h]"), columns.values
        )
        frame.to_csv(tmp_path / f"{table.id}.csv")
    reading, found = best(lambda: understand([tmp_path]), 3, time.perf_counter)

    def shown(one: Understood) -> list[object]:
        return [(d.where, d.range, str(d.storage_proposed), d.doubts, d.notes) for d in one.tables]

    seconds, lines = best(lambda: shown(found), 1)
    assert len(lines) == count
    choice, after = best(lambda: found.with_table(found.tables[3], unit="N"))
    assert after.tables[3].table.unit == "N"
    record_testsuite_property("300 files of a table, read, seconds", round(reading, 2))
    record_testsuite_property("their page, seconds", round(seconds, 3))
    record_testsuite_property("a choice on it, seconds", round(choice, 3))
    if timed:
        assert seconds < 1
        assert choice < 1
