"""Strong smoothing under rules, against SciPy's non-negative least squares.

The judge shares nothing with what it judges: the problem is stated as constrained least squares
and solved as a least-distance problem (Lawson & Hanson, Solving Least Squares Problems, 1974,
chapter 23, from memory) by `scipy.optimize.nnls`; on the rows that it finds active the answer is
solved anew in their null space, by orthogonal factors, which square no condition number.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.linalg import null_space
from scipy.optimize import nnls

from calib_model.core.calibration_set import CalibrationSet
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import Monotone, Slope
from calib_model.shaping import Smoother
from calib_model.shaping.roughness import bending_rows, penalty
from tests.shaping.making_shaping import MAP_RULES, grid, locked

FALLS = Monotone("pedal", "down")
CASES: dict[str, Callable[[], CalibrationSet]] = {
    "a curve less steep than its values": lambda: grid((20,), Slope("pedal", 1.0), noise=20),
    "a curve that may not rise": lambda: grid((20,), FALLS, noise=20),
    "a curve within narrow bounds": lambda: grid((24,), Bounds(60.0, 100.0), noise=20),
    "a map that may not rise": lambda: grid((8, 9), FALLS, Monotone("vehicle_speed"), noise=20),
    "a map less steep than its values": lambda: grid(
        (9, 8), Slope("pedal", 1.0), Bounds(50.0, 140.0), noise=20
    ),
    "a map with locks": lambda: locked(
        grid((9, 10), *MAP_RULES, noise=10), {(0, 0): 38.0, (7, 8): 130.0}
    ),
}


def judged(smoother: Smoother, strength: float) -> np.ndarray:
    """The values that the rules allow and that are nearest and smoothest, in shares of the span."""
    system = smoother.system
    span = system.span[0]
    root = np.sqrt(smoother.weights)
    rough = np.sqrt(strength) * bending_rows(smoother.table, smoother.along).toarray()
    form = np.concatenate([np.diag(root), rough])
    wanted = np.concatenate([root * smoother.data, np.zeros(len(rough))]) / span
    matrix, bound = system.matrix.toarray(), system.bound / span
    rows = np.concatenate([-matrix, matrix[system.equal]])
    least = np.concatenate([-bound, bound[system.equal]])
    length = np.linalg.norm(rows, axis=1)
    rows, least = rows / length[:, None], least / length
    q, r = np.linalg.qr(form)
    turned = np.linalg.solve(r.T, rows.T).T
    distance = least - turned @ (q.T @ wanted)
    unit = np.zeros(len(r) + 1)
    unit[-1] = 1.0
    pull, _ = nnls(np.concatenate([turned.T, distance[None]]), unit, maxiter=100 * len(rows))
    met = pull > 0
    place = np.linalg.lstsq(rows[met], least[met], rcond=None)[0]
    free = null_space(rows[met]) if met.any() else np.eye(len(r))
    step = np.linalg.lstsq(form @ free, wanted - form @ place, rcond=None)[0]
    z = place + free @ step
    assert (least - rows @ z).max() < 1e-12
    return np.asarray(z)


@pytest.mark.parametrize("strength", [1.0, 1e3, 1e5])
@pytest.mark.parametrize("case", CASES)
def test_strong_smoothing_under_rules_is_the_optimum(case: str, strength: float) -> None:
    smoother = Smoother(CASES[case](), "t")
    ours, _ = smoother.solution(strength)
    assert not smoother.system.broken(ours.values).size
    span = smoother.system.span[0]
    assert np.abs(ours.values / span - judged(smoother, strength)).max() < 1e-8


def test_strong_smoothing_heeds_weights_and_gaps() -> None:
    weights = np.random.default_rng(3).choice([0.0, 0.1, 1.0, 5.0], (12, 9))
    smoother = Smoother(grid((12, 9), FALLS, noise=20), "t", weights=weights)
    ours, _ = smoother.solution(1e5)
    span = smoother.system.span[0]
    assert np.abs(ours.values / span - judged(smoother, 1e5)).max() < 1e-8


def test_a_large_map_is_solved_at_a_high_strength() -> None:
    # The way to the optimum is long where thousands of rows nearly hold: 170 steps of the solver.
    content = locked(grid((48, 48), *MAP_RULES, noise=10), {(0, 0): 38.0, (10, 10): 130.0})
    smoother = Smoother(content, "t")
    answer, _ = smoother.solution(1e4)
    assert answer.solver == "PIQP"  # the second one takes four times as long, or finds nothing
    assert answer.residual < 1e-7
    assert not smoother.system.broken(answer.values).size


def test_the_rows_of_the_roughness_are_its_root() -> None:
    table = grid((5, 6, 4))["t"]
    for along, factors in (((0, 1, 2), None), ((0, 2), (0.5, 3.0))):
        rows = bending_rows(table, along, factors).toarray()
        whole = penalty(table, along, factors).toarray()
        assert np.abs(rows.T @ rows - whole).max() < 1e-12 * np.abs(whole).max()
