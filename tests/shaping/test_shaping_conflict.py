"""Contradictions: a set from which nothing can be left out, in words, and the nearest locks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from calib_model.core.storage import Storage
from calib_model.editing.change import apply
from calib_model.rules.check import check
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import Curvature, Kink, Monotone, Slope
from calib_model.shaping import RuleSystem, explain, gather, relocked, repair
from calib_model.shaping.conflict import Core, find_core
from tests.shaping.making_shaping import MAP_RULES, feasible_sets, grid, locked


def can_hold(system: RuleSystem, rows: list[int], held: list[int]) -> bool:
    """Whether rows can hold together, by SciPy's linear programming alone."""
    matrix, bound = system.matrix.toarray()[rows], system.bound[rows]
    equal = system.equal[rows]
    scale = np.abs(matrix).max(axis=1, keepdims=True)
    matrix, bound = matrix / scale, bound / scale[:, 0]
    unit = np.eye(system.size)[held]
    a_eq = np.concatenate([matrix[equal], unit])
    b_eq = np.concatenate([bound[equal], system.values[held]])
    result = linprog(
        np.zeros(system.size),
        A_ub=matrix[~equal] if (~equal).any() else None,
        b_ub=bound[~equal] if (~equal).any() else None,
        A_eq=a_eq if len(a_eq) else None,
        b_eq=b_eq if len(b_eq) else None,
        bounds=(None, None),
        method="highs",
    )
    assert result.status in (0, 2, 3)
    return bool(result.status != 2)


def require_irreducible(system: RuleSystem, core: Core) -> None:
    rows, held = list(core.rows), list(core.held)
    assert not can_hold(system, rows, held)
    for row in rows:
        assert can_hold(system, [r for r in rows if r != row], held)
    for cell in held:
        assert can_hold(system, rows, [c for c in held if c != cell])


CASES = {
    "order": (MAP_RULES[:3], {(0, 0): 90.0, (9, 9): 60.0}),
    "slope": (MAP_RULES[:3], {(0, 5): 50.0, (2, 5): 290.0}),
    "bounds": ((*MAP_RULES[:2], Bounds(0, 120)), {(3, 3): 150.0}),
    "strict": ((Monotone("pedal", strict=True, gap=10.0),), {(0, 0): 40.0, (8, 0): 100.0}),
    "concave": (MAP_RULES, {(0, 3): 0.0, (4, 3): 20.0, (9, 3): 150.0}),
    "kink": ((Kink("pedal", 1.0),), {(0, 0): 50.0, (3, 0): 150.0, (6, 0): 50.0}),
    "opposed": ((Monotone("pedal"), Slope("pedal", most=-0.1)), {}),
    "two": (
        (Curvature("pedal"), Curvature("pedal", "concave")),
        {(0, 1): 1.0, (1, 1): 2.0, (2, 1): 50.0},
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_nothing_can_be_left_out(name: str) -> None:
    rules, locks = CASES[name]
    system = gather(locked(grid((10, 10), *rules), locks), ["t"])
    core = find_core(system)
    assert core is not None
    assert core.irreducible
    require_irreducible(system, core)


def test_cells_that_may_not_move_are_named() -> None:
    content = locked(grid((6,), Monotone("pedal"), noise=0), {(0,): 250.0})
    allowed = np.ones(6, dtype=bool)
    allowed[4] = False
    system = gather(content, ["t"], allowed={"t": allowed})
    core = find_core(system)
    assert core is not None
    assert core.held == (4,)
    require_irreducible(system, core)
    found = explain(system)
    assert found is not None
    assert "may not move" in found.text


@given(
    st.integers(0, 10_000),
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4)), min_size=2, max_size=5, unique=True),
)
def test_random_locks_are_either_feasible_or_explained(
    seed: int, cells: list[tuple[int, int]]
) -> None:
    rng = np.random.default_rng(seed)
    rules = [r for r in (*MAP_RULES, Kink("vehicle_speed", 8.0)) if rng.random() < 0.6]
    locks = {c: float(rng.integers(0, 300)) for c in cells}
    system = gather(locked(grid((5, 5), *rules), locks), ["t"])
    every = list(range(system.bound.size))
    core = find_core(system)
    assert (core is None) == can_hold(system, every, [])
    if core is not None:
        assert core.irreducible
        require_irreducible(system, core)


@given(feasible_sets())
def test_no_contradiction_is_claimed_where_there_is_none(content: object) -> None:
    assert find_core(gather(content, ["t"])) is None  # type: ignore[arg-type]


def test_words_name_cells_and_values_and_offer_locks() -> None:
    content = locked(grid((10, 10), *MAP_RULES[:2]), {(0, 0): 90.0, (9, 9): 60.0, (3, 3): 75.0})
    found = explain(gather(content, ["t"]))
    assert found is not None
    assert "T is locked at 90 N·m at " in found.text
    assert "never falls with pedal" in found.text
    assert found.irreducible
    # Two locks at odds and an innocent third between them: the nearest feasible locks.
    moved = {r.cell: (r.now, r.instead) for r in found.relocks}
    assert moved[0] == (90.0, pytest.approx(75.0))
    assert moved[99] == (60.0, pytest.approx(75.0))
    assert 33 not in moved
    change = relocked(gather(content, ["t"]), found)
    assert change.title == "Move 2 locks to the nearest feasible values"
    moved_locks = apply(content, change)
    assert apply(moved_locks, change.inverse()) == content
    assert find_core(gather(moved_locks, ["t"])) is None
    mended = apply(moved_locks, repair(moved_locks, "t").change())
    assert not [f for f in check(mended).findings if f.source.linear]
    assert mended["t"].values[3, 3] == 75.0


def test_offered_locks_lie_on_the_raster() -> None:
    storage = Storage("uint16", 5, 1)
    content = locked(grid((6,), Monotone("pedal"), storage=storage), {(1,): 90.0, (4,): 65.0})
    found = explain(gather(content, ["t"]))
    assert found is not None
    assert {r.instead % 5 for r in found.relocks} == {0.0}
    values = {r.cell: r.instead for r in found.relocks}
    assert values.get(1, 90.0) <= values.get(4, 65.0)


def test_where_locks_are_not_to_blame_none_is_offered() -> None:
    found = explain(gather(grid((6,), Monotone("pedal"), Slope("pedal", most=-0.1)), ["t"]))
    assert found is not None
    assert found.relocks == ()
    assert {p.kind for p in found.parts} == {"monotone", "slope"}
