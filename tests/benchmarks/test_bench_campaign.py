"""Speed of desk manoeuvres, campaigns and sensitivities, measured in the same run."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib_model.lookup import compiled
from calib_model.store import open_file
from calib_model.vehicle.campaign import NamedSet, Plan, run_campaign
from calib_model.vehicle.executors import cores, executor
from calib_model.vehicle.manoeuvres import MANOEUVRES
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.runs import Bench, bench
from calib_model.vehicle.sensitivity import sensitivity
from calib_model.vehicle.variations import VARIATIONS, latin_hypercube
from tests.benchmarks.conftest import Best

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
Record = Callable[[str, object], None]

pytestmark = [
    pytest.mark.skipif(not compiled.available(), reason="numba is not installed"),
    pytest.mark.timeout(400),  # the first drive may have to compile the model
]


@pytest.fixture(scope="module")
def normal() -> Bench:
    made = bench(open_file(SAMPLES / "larch_normal.h5").result().set, LARCH)
    made.drive(MANOEUVRES["launch_snow"])
    return made


@pytest.mark.parametrize("name", MANOEUVRES)
def test_time_of_a_manoeuvre(
    name: str, normal: Bench, record_testsuite_property: Record, timed: bool, best: Best
) -> None:
    one = MANOEUVRES[name]
    alone, trace = best(lambda: normal.trace(one))
    assert trace.completed
    whole, _ = best(lambda: normal.drive(one), 2)
    record_testsuite_property(
        f"{name}: milliseconds of processor for {one.duration:g} s", round(alone * 1e3, 2)
    )
    record_testsuite_property(f"{name}: with its metrics", round(whole * 1e3, 2))
    # The target: 10 s of manoeuvre in under 20 ms.
    assert not timed or alone * 1e3 / one.duration * 10 < 20


def test_runs_per_second_of_a_campaign(
    normal: Bench, record_testsuite_property: Record, timed: bool
) -> None:
    content = open_file(SAMPLES / "larch_normal.h5").result().set
    manoeuvres = tuple(MANOEUVRES[n] for n in ("launch_snow", "launch_ice", "low_to_high_patch"))
    count = 200 if timed else 4
    points = latin_hypercube(list(VARIATIONS.values()), count, 1)
    plan = Plan((NamedSet("normal", content),), manoeuvres, LARCH, points)
    found = {}
    for workers in (1, 2):
        with executor(workers) as made:
            if timed:  # the processes start, and load what is compiled, during the first run
                run_campaign(plan, made, workers=workers)
            start = time.perf_counter()
            found[workers] = run_campaign(plan, made, workers=workers)
            seconds = time.perf_counter() - start
        assert found[workers].completed.all()
        record_testsuite_property(
            f"campaign of launches, {workers} workers: runs per second",
            round(len(plan) / seconds, 1),
        )
    for name, column in found[1].metrics.items():
        np.testing.assert_array_equal(found[2].metrics[name], column)
    record_testsuite_property("campaign: cores of this computer", cores())


def test_sensitivity_against_a_plain_loop(
    normal: Bench, record_testsuite_property: Record, timed: bool
) -> None:
    one = replace(
        MANOEUVRES["launch_snow"], duration=6.5 if timed else 1.0, metrics=("peak_front_slip",)
    )
    role, step = "pre_engage_torque", 10.0
    table = normal.bound.tables[role]

    def plain() -> np.ndarray:  # type: ignore[type-arg]
        """Edit, bind and drive for every cell, one after the other."""
        content = open_file(SAMPLES / "larch_normal.h5").result().set
        base = bench(content, LARCH).drive(one).value("peak_front_slip")
        change = np.zeros(table.shape)
        for cell in np.ndindex(table.shape):
            values = np.array(table.values)
            values[cell] += step
            edited = content.replaced({table.id: replace(table, values=values)})
            change[cell] = bench(edited, LARCH).drive(one).value("peak_front_slip") - base
        return change

    start = time.perf_counter()
    expected = plain()
    loop = time.perf_counter() - start
    start = time.perf_counter()
    found = sensitivity(normal, one, role, "peak_front_slip", step)
    ours = time.perf_counter() - start
    np.testing.assert_array_equal(found.change, expected)
    record_testsuite_property("sensitivity of 120 cells: seconds", round(ours, 3))
    record_testsuite_property("sensitivity: cells that need a drive", int(found.read.sum()))
    record_testsuite_property("sensitivity: times faster than a plain loop", round(loop / ours, 1))
    assert not timed or loop / ours > 2
