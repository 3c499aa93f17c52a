"""Smoothing, repairing and explaining, against the solver alone and against the targets.

Judged by the processor's time, the best of several: the work is done on one core.  The targets are
those of the design note, for one map of 20 x 20 or 32 x 32; the ratio is to the same solver's bare
call in the same run.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest
from scipy.sparse import csc_matrix, eye_array

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.rules.shape import Curvature, Monotone
from calib_model.shaping import Smoother, explain, gather, minimise, repair
from calib_model.shaping.conflict import find_core
from tests.shaping.making_shaping import MAP_RULES, grid, locked

Record = Callable[[str, object], None]
SLACK = 2.5
"""The targets were measured on a machine at rest; this much slower is no failure here."""


def best(work: Callable[[], object], times: int = 9) -> float:
    """Least processor time of several runs, in milliseconds."""
    least = float("inf")
    for _ in range(times):
        start = time.process_time()
        work()
        least = min(least, time.process_time() - start)
    return 1000 * least


def bare_piqp(content: CalibrationSet, strength: float) -> Callable[[], object]:
    """The solver alone: rows and form ready made, set-up and solution at 1e-8."""
    import piqp

    smoother = Smoother(content, "t")
    reduced = smoother.system.reduced
    free = reduced.free
    form = csc_matrix(smoother._form(strength)[free][:, free] / 1e3)
    rows = csc_matrix(reduced.matrix)
    pull = -(smoother.weights * smoother.data)[free] / 1e3

    def run() -> object:
        solver = piqp.SparseSolver()
        solver.settings.eps_abs, solver.settings.eps_rel = 1e-8, 1e-9
        solver.setup(
            form, pull, None, None, rows, None, reduced.bound, reduced.lower, reduced.upper
        )
        assert solver.solve() == piqp.PIQP_SOLVED
        return solver

    return run


def held_map(*shape: int) -> CalibrationSet:
    return locked(grid(shape, *MAP_RULES, noise=10), {(0, 0): 38.0, (10, 10): 130.0})


@pytest.mark.parametrize(("shape", "target"), [((12, 16), 5.0), ((20, 20), 15.0), ((32, 32), 50.0)])
def test_constrained_map(
    shape: tuple[int, int], target: float, record_testsuite_property: Record, timed: bool
) -> None:
    content = held_map(*shape)
    smoother = Smoother(content, "t")
    answers = []
    ours = best(lambda: answers.append(smoother.solution(1e-4)[0]))
    solver = best(bare_piqp(content, 1e-4))
    z = answers[-1].values.reshape(shape)
    assert answers[-1].polished
    # With the clean-up: order violated by exactly nothing.
    assert min(np.diff(z, axis=0).min(), np.diff(z, axis=1).min()) >= 0
    assert not smoother.system.broken(answers[-1].values).size
    name = f"smooth {shape[0]} x {shape[1]} under rules"
    record_testsuite_property(f"{name}: milliseconds", round(ours, 1))
    record_testsuite_property(f"{name}: times the bare solver", round(ours / solver, 2))
    assert not timed or ours < target * SLACK
    assert not timed or ours < 8 * solver


def test_a_drag_on_a_smoothed_map(record_testsuite_property: Record, timed: bool) -> None:
    # One cell moves: the rules are stated anew, the map is smoothed, rounded and proposed.
    content = grid((20, 20), *MAP_RULES[:3], noise=10, storage=Storage("uint16", 1, 10))
    rng = np.random.default_rng(0)

    def drag() -> None:
        values = content["t"].values.copy()
        values[7, 9] += float(rng.integers(-20, 20))
        moved = content.with_table(content["t"].with_values(values))
        Smoother(moved, "t").propose(1e-3, seconds=0)

    took = best(drag)
    record_testsuite_property("drag on a smoothed 20 x 20 map: milliseconds", round(took, 1))
    assert not timed or took < 40 * SLACK


def test_automatic_strength(record_testsuite_property: Record, timed: bool) -> None:
    content = grid((20, 20), noise=10)
    weights = np.random.default_rng(0).uniform(0.5, 2, (20, 20))
    plain = best(lambda: Smoother(content, "t").choose())
    whole = best(lambda: Smoother(content, "t"))
    weighted = best(lambda: Smoother(content, "t", weights=weights).choose(), 4)
    record_testsuite_property(
        "automatic strength 20 x 20, unweighted: milliseconds", round(plain - whole, 2)
    )
    record_testsuite_property(
        "automatic strength 20 x 20, weighted: milliseconds", round(weighted - whole, 1)
    )
    assert not timed or plain - whole < 4.0 * SLACK
    assert not timed or weighted - whole < 100.0 * SLACK


def test_explaining_contradictions(record_testsuite_property: Record, timed: bool) -> None:
    far = {(0, 0): 150.0, (31, 31): 60.0}
    plain = gather(locked(grid((32, 32), *MAP_RULES[:3]), far), ["t"])
    bent = gather(
        locked(grid((32, 32), *MAP_RULES), {(0, 3): 0.0, (10, 3): 20.0, (31, 3): 200.0}), ["t"]
    )
    found = []
    differences = best(lambda: found.append(find_core(plain)))
    curvature = best(lambda: found.append(find_core(bent)), 3)
    assert all(core is not None and core.irreducible for core in found)
    record_testsuite_property("contradiction 32 x 32, order: milliseconds", round(differences, 1))
    record_testsuite_property("contradiction 32 x 32, convex: milliseconds", round(curvature, 0))
    assert not timed or differences < 5.0 * SLACK
    assert not timed or curvature < 500.0 * SLACK
    offered = best(lambda: explain(plain), 2)
    record_testsuite_property("the same with nearest locks: milliseconds", round(offered, 0))


def test_repair_on_the_raster(record_testsuite_property: Record) -> None:
    content = grid((20, 20), Monotone("pedal"), Monotone("vehicle_speed"), noise=10,
                   storage=Storage("uint16", 1, 10))  # fmt: skip
    proposals = []
    took = best(lambda: proposals.append(repair(content, "t")), 4)
    assert not proposals[-1].diagnostics.broken
    record_testsuite_property("repair 20 x 20 to the raster: milliseconds", round(took, 1))
    bent = grid((12, 16), Curvature("pedal", "concave"), noise=10, storage=Storage("uint16", 1, 10))
    took = best(lambda: proposals.append(repair(bent, "t")), 3)
    assert not proposals[-1].diagnostics.broken
    record_testsuite_property("repair 12 x 16, concave, to the raster: milliseconds", round(took))


def test_plain_problem_is_no_detour(record_testsuite_property: Record, timed: bool) -> None:
    # Monotone both ways alone: what a bare isotonic repair costs.
    content = grid((20, 20), *MAP_RULES[:2], noise=10)
    system = gather(content, ["t"])
    system.reduced  # noqa: B018  (stated once, as a drag of the strength does)
    took = best(lambda: minimise(system, eye_array(400, format="csr"), -system.values))
    record_testsuite_property("isotonic 20 x 20: milliseconds", round(took, 1))
    assert not timed or took < 15 * SLACK
