"""Speed of replay: ratios to SciPy and numpy in one run, and an hour of the whole sample set."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from calib_model.controller.constants import LARCH
from calib_model.core.axis import Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.evidence.coverage import coverage
from calib_model.evidence.replay import Replay, replay
from calib_model.lookup import compiled
from tests.evidence.made_drives import sample, winter_round

pytestmark = pytest.mark.skipif(not compiled.available(), reason="numba is not installed")


@pytest.fixture(scope="module")
def normal() -> CalibrationSet:
    return sample("normal")


@pytest.fixture(scope="module")
def samples(timed: bool) -> int:
    """Of an hour at 100 Hz; of six minutes where no time is judged."""
    return 360_000 if timed else 36_000


@pytest.fixture(scope="module")
def along(normal: CalibrationSet, samples: int) -> Replay:
    """At 100 Hz: twice as many ticks as the controller's 20 ms would give."""
    at_100_hz = winter_round(samples / 50.0)
    assert at_100_hz.time.size == samples
    return replay(normal, at_100_hz, LARCH)


def turns(*jobs: Callable[[], object], rounds: int) -> list[float]:
    """Return each job's best processor time, taking the jobs in turn."""
    best = [float("inf")] * len(jobs)
    for _ in range(rounds):
        for number, job in enumerate(jobs):
            start = time.process_time()
            job()
            best[number] = min(best[number], time.process_time() - start)
    return best


def linear(table: Table, axes: int) -> bool:
    return len(table.axes) == axes and all(
        a.interpolation is Interpolation.LINEAR for a in table.axes
    )


def test_maps_of_the_sample_set_against_scipy(
    along: Replay, normal: CalibrationSet, timed: bool,
    record_testsuite_property: Callable[[str, object], None],
) -> None:  # fmt: skip
    maps = [t for t in normal if linear(t, 2)]
    assert len(maps) > 10
    points = {t.id: along.points(t.id) for t in maps}
    held = {
        t.id: np.stack(
            [np.clip(x, a.values[0], a.values[-1])
             for x, a in zip(points[t.id], t.axes, strict=True)], axis=-1,
        )
        for t in maps
    }  # fmt: skip
    grids = {t.id: RegularGridInterpolator([a.values for a in t.axes], t.values) for t in maps}
    for table in maps[:3]:
        ours = compiled.lookup_values(table.axes, table.values, points[table.id])
        np.testing.assert_allclose(ours, grids[table.id](held[table.id]), atol=1e-9)
    ours_s, theirs_s = turns(
        lambda: [compiled.lookup_values(t.axes, t.values, points[t.id]) for t in maps],
        lambda: [grids[t.id](held[t.id]) for t in maps],
        rounds=2 if timed else 1,
    )
    record_testsuite_property(
        "replay, maps: times faster than RegularGridInterpolator", round(theirs_s / ours_s, 1)
    )
    assert not timed or theirs_s / ours_s >= 3


def test_curves_of_the_sample_set_against_numpy(
    along: Replay, normal: CalibrationSet, timed: bool,
    record_testsuite_property: Callable[[str, object], None],
) -> None:  # fmt: skip
    curves = [t for t in normal if linear(t, 1)]
    assert len(curves) > 5
    points = {t.id: along.points(t.id)[0] for t in curves}
    for table in curves:
        ours = compiled.lookup_values(table.axes, table.values, [points[table.id]])
        expected = np.interp(points[table.id], table.axes[0].values, table.values)
        np.testing.assert_allclose(ours, expected, rtol=1e-9, atol=1e-12)
    ours_s, theirs_s = turns(
        lambda: [compiled.lookup_values(t.axes, t.values, [points[t.id]]) for t in curves],
        lambda: [np.interp(points[t.id], t.axes[0].values, t.values) for t in curves],
        rounds=5 if timed else 1,
    )
    record_testsuite_property(
        "replay, curves: time relative to numpy.interp", round(ours_s / theirs_s, 2)
    )
    assert not timed or ours_s / theirs_s <= 1.5


def test_an_hour_of_the_whole_sample_set(
    along: Replay, normal: CalibrationSet, samples: int, timed: bool,
    record_testsuite_property: Callable[[str, object], None],
) -> None:  # fmt: skip
    found: dict[str, Any] = {}

    def whole() -> None:
        fresh = replay(normal, along.ticks, LARCH, digest_=along.digest)
        found["tables"] = {id: fresh.tables[id] for id in fresh.tables}
        found["torque"] = fresh.output("torque")

    (replayed,) = turns(whole, rounds=3 if timed else 1)
    assert len(found["tables"]) == 42
    assert found["torque"].size == samples
    assert np.isfinite(found["torque"]).all()
    (counted,) = turns(lambda: coverage(normal, along, along.ticks), rounds=2 if timed else 1)
    record_testsuite_property("replay of an hour at 100 Hz, 42 tables and the law: s", replayed)
    record_testsuite_property("coverage of that hour: s", counted)
    assert not timed or replayed < 2.0
