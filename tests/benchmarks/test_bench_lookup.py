"""Speed of the lookup as a ratio to a reference library, in the same run.

The ratios are recorded as properties (``pytest --junit-xml=FILE`` keeps them); the best of
several interleaved rounds is compared, so that a busy machine disturbs both sides alike.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from calib_model.core.axis import Axis
from calib_model.core.table import Table
from calib_model.lookup import compiled, lookup

POINTS = 1_000_000
ROUNDS = 7

pytestmark = pytest.mark.skipif(not compiled.available(), reason="numba is not installed")


def best_times(*jobs: Callable[[], object], rounds: int) -> list[float]:
    """Return each job's best processor time, taking the jobs in turn."""
    best = [float("inf")] * len(jobs)
    for _ in range(rounds):
        for number, job in enumerate(jobs):
            start = time.process_time()
            job()
            best[number] = min(best[number], time.process_time() - start)
    return best


@pytest.fixture(scope="module")
def table() -> Table:
    compiled.load()
    rng = np.random.default_rng(0)
    axes = tuple(Axis(np.cumsum(rng.uniform(0.2, 3, 20))) for _ in range(2))
    return Table("map", rng.normal(size=(20, 20)), axes)


def _points(table: Table, order: str) -> list[np.ndarray]:
    rng = np.random.default_rng(1)
    if order == "random":
        return [rng.uniform(a.values[0], a.values[-1], POINTS) for a in table.axes]
    phase = np.linspace(0, 200, POINTS)  # as a recording runs: each point near the one before
    return [
        a.values[0] + (a.values[-1] - a.values[0]) * (0.5 + 0.5 * np.sin(phase * pace))
        for a, pace in zip(table.axes, (1.0, 1.7), strict=False)
    ]


@pytest.mark.parametrize(("order", "at_least"), [("random", 4.0), ("time-ordered", 3.0)])
def test_map_against_scipy(
    table: Table,
    order: str,
    at_least: float,
    record_testsuite_property: Callable[[str, object], None],
) -> None:
    points = _points(table, order)
    grid = RegularGridInterpolator([a.values for a in table.axes], table.values)
    stacked = np.stack(points, axis=-1)
    np.testing.assert_allclose(lookup(table, points, compiled=True), grid(stacked), atol=1e-12)
    ours, theirs = best_times(
        lambda: lookup(table, points, compiled=True), lambda: grid(stacked), rounds=4
    )
    record_testsuite_property(f"map {order}: nanoseconds per point", round(ours / POINTS * 1e9, 1))
    record_testsuite_property(
        f"map {order}: times faster than RegularGridInterpolator", round(theirs / ours, 2)
    )
    assert theirs / ours >= at_least


@pytest.mark.parametrize("order", ["random", "time-ordered"])
def test_curve_against_numpy(
    table: Table, order: str, record_testsuite_property: Callable[[str, object], None], timed: bool
) -> None:
    curve = Table("curve", table.values[0], table.axes[1:])
    (x,) = _points(curve, order)
    breakpoints = curve.axes[0].values
    ours, theirs = best_times(
        lambda: lookup(curve, [x], compiled=True),
        lambda: np.interp(x, breakpoints, curve.values),
        rounds=ROUNDS if timed else 1,
    )
    record_testsuite_property(
        f"curve {order}: nanoseconds per point", round(ours / POINTS * 1e9, 1)
    )
    record_testsuite_property(
        f"curve {order}: time relative to numpy.interp", round(ours / theirs, 2)
    )
    assert not timed or ours / theirs <= 1.5
