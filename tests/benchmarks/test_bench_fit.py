"""Speed of fits as ratios to SciPy's sparse algebra, in the same run; see test_bench_lookup."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.sparse import csr_matrix

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.lookup import compiled
from calib_model.lookup.reference import weights
from calib_model.rules.shape import Monotone
from calib_model.shaping.assembly import gather_moments, normal_equations
from calib_model.shaping.breakpoints_lines import Lines
from calib_model.shaping.breakpoints_place import best
from calib_model.shaping.fit import fit
from calib_model.shaping.samples import Samples, from_arrays
from tests.benchmarks.conftest import Best

SAMPLES = 1_000_000
Record = Callable[[str, object], None]

pytestmark = pytest.mark.skipif(not compiled.available(), reason="numba is not installed")


@pytest.fixture(scope="module")
def table() -> Table:
    rng = np.random.default_rng(0)
    axes = tuple(
        Axis(np.cumsum(rng.uniform(0.2, 3, 20)), name, quantity=quantity)
        for name, quantity in (("First", "pedal"), ("Second", "vehicle_speed"))
    )
    rules = (Monotone("pedal", "up"), Monotone("vehicle_speed", "up"))
    storage = Storage.of("uint16", "0.001")
    return Table("map", np.zeros((20, 20)), axes, rules=rules, lower=0, upper=60, storage=storage)


@pytest.fixture(scope="module")
def samples(table: Table) -> Samples:
    rng = np.random.default_rng(1)
    points = [rng.uniform(a.values[0], a.values[-1], SAMPLES) for a in table.axes]
    y = 10 + np.sqrt(points[0]) + 0.3 * points[1] + rng.normal(size=SAMPLES) * 0.2
    y[::50] += 5
    return from_arrays(points, y)


def _by_scipy(table: Table, samples: Samples) -> object:
    cells, shares = weights(table.axes, samples.points)
    count = samples.values.size
    ends = np.arange(0, 4 * count + 1, 4)
    hats = csr_matrix((shares.ravel(), cells.ravel(), ends), shape=(count, 400))
    return hats.T @ hats, hats.T @ samples.values


def _best(job: Callable[[], Any], rounds: int) -> tuple[float, Any]:
    """As the fixture `best`, always with all its rounds: for ratios that the suite judges too."""
    best, result = float("inf"), None
    for _ in range(rounds):
        start = time.process_time()
        result = job()
        best = min(best, time.process_time() - start)
    return best, result


def test_assembly_of_a_million_samples(
    table: Table, samples: Samples, record_testsuite_property: Record, timed: bool
) -> None:
    normal, right = normal_equations(gather_moments(table.axes, samples, compiled=True))
    scipy, theirs = _best(lambda: _by_scipy(table, samples), 2)
    np.testing.assert_allclose(normal.toarray(), theirs[0].toarray(), atol=1e-6)
    np.testing.assert_allclose(right, theirs[1], rtol=1e-9)
    tracemalloc.start()
    gather_moments(table.axes, samples, compiled=True)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    ours, _ = _best(lambda: normal_equations(gather_moments(table.axes, samples, compiled=True)), 3)
    record_testsuite_property("assembly: nanoseconds per sample", round(ours / SAMPLES * 1e9, 1))
    if timed:
        plain, _ = _best(lambda: gather_moments(table.axes, samples, compiled=False), 1)
        record_testsuite_property("assembly, numpy: ns per sample", round(plain / SAMPLES * 1e9, 1))
    record_testsuite_property("assembly: times faster than SciPy CSR", round(scipy / ours, 1))
    record_testsuite_property("assembly: extra megabytes", round(peak / 1e6, 1))
    assert scipy / ours >= (7 if timed else 2)  # the suite shares its cores with others
    assert peak < 10e6


def test_robust_monotone_fit_of_a_million_samples(
    table: Table, samples: Samples, record_testsuite_property: Record, timed: bool, best: Best
) -> None:
    content = CalibrationSet([table])
    if not timed:
        part = slice(SAMPLES // 10)
        samples = from_arrays([x[part] for x in samples.points], samples.values[part])
    ours, found = best(lambda: fit(content, "map", samples))
    values = found.values("map")
    assert (np.diff(values, axis=0) >= 0).all()
    assert (np.diff(values, axis=1) >= 0).all()
    assert found.fits["map"].residuals.outlier_count >= 0.019 * samples.values.size
    scipy, _ = best(lambda: _by_scipy(table, samples), 2)
    record_testsuite_property("robust monotone fit, 1e6 samples: seconds", round(ours, 2))
    record_testsuite_property("robust fit relative to one SciPy assembly", round(ours / scipy, 2))
    # One assembly by SciPy takes 0.4 s where the fit's target of 1 s was set.
    assert not timed or ours / scipy <= 2.5


def test_breakpoints_of_a_dense_reference(record_testsuite_property: Record, timed: bool) -> None:
    x = np.linspace(0, 100, 400)
    lines = Lines(x, 300 * np.sqrt(x))

    def naive() -> None:  # a twentieth of all segments, one by one, as a loop would do it
        for i in range(0, 400, 20):
            for j in range(i + 1, 400):
                chord = np.interp(x[i : j + 1], x[[i, j]], lines.y[[i, j], 0])
                np.abs(lines.y[i : j + 1, 0] - chord).max()

    ours, theirs = _best(lambda: best(lines, 16), 3)[0], 20 * _best(naive, 2)[0]
    record_testsuite_property("16 breakpoints of 400 samples: milliseconds", round(ours * 1e3, 1))
    record_testsuite_property("breakpoints: times faster than a loop", round(theirs / ours, 1))
    # The loop's table of errors alone takes some 0.9 s where the target of 0.1 s was set.
    assert theirs / ours >= (4 if timed else 1.5)
    assert not timed or theirs / ours >= 8
