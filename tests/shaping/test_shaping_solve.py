"""Answers against other solvers, published examples and the conditions of an optimum."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import clarabel as clarabel_library
import numpy as np
import pytest
from hypothesis import given
from scipy.optimize import isotonic_regression, nnls
from scipy.sparse import csc_matrix, csr_array, diags_array, eye_array
from sklearn.datasets import load_diabetes
from sklearn.isotonic import IsotonicRegression

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import Curvature, Kink, Monotone, Slope
from calib_model.shaping import AtOdds, NotSolved, Smoother, gather, minimise, solve
from calib_model.shaping import polish as polishing
from calib_model.shaping.kkt import kkt_residual
from calib_model.shaping.roughness import penalty
from tests.shaping.making_shaping import MAP_RULES, feasible_sets, grid, locked, optimality


def curve(x: np.ndarray, z: np.ndarray, *rules: object) -> CalibrationSet:
    axis = Axis(x, "X", "-", "x")
    return CalibrationSet([Table("t", z, (axis,), "T", rules=rules)])  # type: ignore[arg-type]


def nearest(content: CalibrationSet, weights: np.ndarray | float = 1.0) -> np.ndarray:
    system = gather(content, ["t"])
    hessian = diags_array(np.broadcast_to(weights, system.size).astype(float)).tocsr()
    return minimise(system, hessian, -(hessian @ system.values)).values


def test_isotonic_on_open_data_as_scipy_and_scikit_learn() -> None:
    # Open data: the diabetes set that scikit-learn bundles (Efron et al. 2004), disease progress
    # over body mass index; ties become means with summed weights.  scikit-learn may call
    # SciPy's routine, so the two count as one source.
    data = load_diabetes()
    x, counts = np.unique(data.data[:, 2], return_counts=True)
    z = np.array([data.target[data.data[:, 2] == v].mean() for v in x])
    ours = nearest(curve(x, z, Monotone("x")), counts.astype(float))
    theirs = IsotonicRegression().fit(data.data[:, 2], data.target).predict(x)
    assert np.abs(ours - theirs).max() < 1e-8
    assert np.abs(ours - isotonic_regression(z, weights=counts).x).max() < 1e-8
    assert (np.diff(ours) >= 0).all()
    falling = nearest(curve(x, z, Monotone("x", "down")), counts.astype(float))
    down = isotonic_regression(z, weights=counts, increasing=False).x
    assert np.abs(falling - down).max() < 1e-8


def test_isotonic_of_de_leeuw_hornik_and_mair() -> None:
    # de Leeuw, Hornik & Mair, J. Stat. Software 32(5), 2009: size of the pituitary fissure over
    # age (Pothoff & Roy 1964).  Data and answer (22.2222 up to 12 years, 24.25 at 14) from
    # memory; the pooled mean is 200/9 by hand.
    sizes = {8: (21, 23.5, 23), 10: (24, 21, 25), 12: (21.5, 22, 19), 14: (23.5, 25)}
    x = np.array(list(sizes), dtype=float)
    z = np.array([np.mean(v) for v in sizes.values()])
    counts = np.array([len(v) for v in sizes.values()], dtype=float)
    ours = nearest(curve(x, z, Monotone("x")), counts)
    assert ours[:3] == pytest.approx([200 / 9] * 3, abs=1e-12)
    assert ours[0] == ours[1] == ours[2]
    assert ours[3] == 24.25


def test_least_distance_as_lawson_and_hanson() -> None:
    # Lawson & Hanson's least distance programming turns "nearest point under A z <= b" into
    # non-negative least squares, which SciPy solves with no part of PIQP or Clarabel.
    for shape, rules in (
        ((12,), (Monotone("pedal"), Curvature("pedal", "concave"), Bounds(45, 110))),
        ((7, 6), MAP_RULES),
        ((4, 3, 3), (Monotone("pedal"), Kink("vehicle_speed", 3.0), Slope("pedal", 9.0, 2.0))),
    ):
        content = grid(shape, *rules, seed=2, noise=12)
        system = gather(content, ["t"])
        a, b = system.matrix.toarray(), system.bound
        y = system.values
        # min |u| with -A u >= A y - b:  rows stacked over the right-hand side, target (0, 1).
        stacked = np.concatenate([-a, (a @ y - b)[:, None]], axis=1).T
        goal = np.zeros(stacked.shape[0])
        goal[-1] = 1.0
        dual, _ = nnls(stacked, goal, maxiter=10_000)
        rest = stacked @ dual - goal
        theirs = y - rest[:-1] / rest[-1]
        assert np.abs(nearest(content) - theirs).max() < 1e-8 * 300


def test_smoothing_programmes_as_a_second_solver() -> None:
    # Clarabel on the plain, unscaled programme, at its own tightest settings.
    content = locked(grid((9, 8), *MAP_RULES, seed=4, noise=10), {(0, 0): 38.0, (4, 5): 140.0})
    system = gather(content, ["t"])
    for strength in (1e-4, 1e-2, 1.0):
        hessian = csr_array(eye_array(system.size) + strength * penalty(content["t"], (0, 1)))
        ours = minimise(system, hessian, -system.values)
        # Divided by its size, or the second solver stops short of its tolerance.
        size = float(hessian.diagonal().max())
        theirs = second_solver(system, hessian / size, -system.values / size)
        assert np.abs(ours.values - theirs).max() < 1e-8 * 300
        assert ours.residual < 1e-10
        assert ours.polished


def second_solver(system: object, hessian: object, gradient: np.ndarray) -> np.ndarray:
    equal = system.equal  # type: ignore[attr-defined]
    matrix = system.matrix.toarray()  # type: ignore[attr-defined]
    bound = system.bound  # type: ignore[attr-defined]
    order = np.concatenate([np.flatnonzero(equal), np.flatnonzero(~equal)])
    settings = clarabel_library.DefaultSettings()
    settings.verbose = False
    settings.tol_feas = settings.tol_gap_abs = settings.tol_gap_rel = 1e-12
    settings.max_threads = 1
    cones = [
        clarabel_library.ZeroConeT(int(equal.sum())),
        clarabel_library.NonnegativeConeT(int((~equal).sum())),
    ]
    answer = clarabel_library.DefaultSolver(
        csc_matrix(np.triu(hessian.toarray())),  # type: ignore[attr-defined]
        gradient,
        csc_matrix(matrix[order]),
        bound[order],
        cones,
        settings,
    ).solve()
    assert str(answer.status) == "Solved"
    return np.array(answer.x)


@given(feasible_sets())
def test_any_feasible_rules_are_met_at_an_optimum(content: CalibrationSet) -> None:
    system = gather(content, ["t"])
    for strength in (0.0, 1e-3):
        along = tuple(range(len(content["t"].axes)))
        hessian = csr_array(eye_array(system.size) + strength * penalty(content["t"], along))
        answer = minimise(system, hessian, -system.values)
        assert not system.broken(answer.values).size
        assert answer.residual < 1e-6
        assert optimality(system, hessian, -system.values, answer.values) < 1e-6
        z = answer.values.reshape(content["t"].shape)
        for rule in content["t"].rules:
            if isinstance(rule, Monotone):  # in the last bit, without any tolerance
                number = content["t"].axis_of(rule.axis)
                steps = np.diff(z, axis=number) * (1 if rule.direction == "up" else -1)
                assert (steps >= 0).all()


def test_the_second_solver_takes_over(monkeypatch: pytest.MonkeyPatch) -> None:
    content = grid((9, 8), *MAP_RULES, seed=4, noise=10)
    first = nearest(content)
    monkeypatch.setattr(solve, "piqp", lambda programme, accuracy: None)
    system = gather(content, ["t"])
    answer = minimise(system, eye_array(system.size).tocsr(), -system.values)
    assert answer.solver == "Clarabel"
    assert np.abs(answer.values - first).max() < 1e-8 * 300


def test_a_failure_of_both_is_not_called_a_contradiction(monkeypatch: pytest.MonkeyPatch) -> None:
    content = grid((9, 8), *MAP_RULES, seed=4, noise=10)
    monkeypatch.setattr(solve, "piqp", lambda programme, accuracy: None)
    monkeypatch.setattr(solve, "clarabel", lambda programme, accuracy: None)
    system = gather(content, ["t"])
    with pytest.raises(NotSolved, match="no contradiction"):
        minimise(system, eye_array(system.size).tocsr(), -system.values)


def test_contradictions_are_told_apart() -> None:
    content = locked(grid((9, 8), Monotone("pedal")), {(0, 0): 50.0, (8, 0): 20.0})
    system = gather(content, ["t"])
    with pytest.raises(AtOdds):
        minimise(system, eye_array(system.size).tocsr(), -system.values)


def test_the_look_at_conditions_sees_wrong_answers() -> None:
    # One cell, at most 1, wanted at 3: the answer is 1 with a multiplier of 2.
    one, row = csr_array([[1.0]]), csr_array([[1.0]])
    parts = (one, np.array([-3.0]), row, np.array([1.0]), np.array([False]))
    free = (np.array([-np.inf]), np.array([np.inf]))

    def residual(z: float, multiplier: float) -> float:
        return kkt_residual(*parts, *free, np.array([z]), np.array([multiplier]))

    assert residual(1.0, 2.0) < 1e-15
    assert residual(1.5, 1.5) > 0.1  # breaks the row
    assert residual(0.5, 2.5) > 0.1  # slack, yet pushed
    assert residual(1.0, 0.0) > 0.1  # not balanced
    assert residual(4.0, -1.0) > 0.1  # pulled instead of pushed


def test_units_do_not_change_the_answer() -> None:
    content = grid((7, 6), *MAP_RULES[:2], seed=2, noise=12)
    plain = nearest(content)
    table = content["t"]
    thousand = replace(table, values=table.values * 1000, lower=0.0, upper=300_000.0)
    large = nearest(content.with_table(thousand))
    assert np.abs(large / 1000 - plain).max() < 1e-10 * 300


def test_cells_that_may_not_move_stay_and_what_is_out_of_reach_is_named() -> None:
    content = grid((8, 6), Monotone("pedal"), noise=30)
    allowed = np.zeros((8, 6), dtype=bool)
    allowed[:4] = True
    system = gather(content, ["t"], allowed={"t": allowed})
    answer = minimise(system, eye_array(48).tocsr(), -system.values)
    z = answer.values.reshape(8, 6)
    assert np.array_equal(z[4:], content["t"].values[4:])
    before = system.broken(system.values)
    still = system.broken(answer.values)
    assert set(still) == set(system.reduced.beyond)
    assert still.size < before.size


def test_rows_that_join_while_polishing_need_no_second_factoring(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    content = locked(grid((20, 20), *MAP_RULES, noise=10), {(0, 0): 38.0, (10, 10): 130.0})
    factored = []

    def counted(*given: Any) -> Any:
        factored.append(1)
        return factor(*given)

    factor = polishing._factor
    monkeypatch.setattr(polishing, "_factor", counted)
    smoother = Smoother(content, "t")
    once, _ = smoother.solution(1e-4)
    assert len(factored) == 1
    monkeypatch.setattr(polishing, "MOST_JOINED", 0)
    anew, _ = smoother.solution(1e-4)
    assert len(factored) > 2
    assert once.polished
    assert anew.polished
    span = smoother.system.span[0]
    assert np.abs(once.values - anew.values).max() < 1e-13 * span
