"""Repair: nearest values, pairs of tables, relations between modes, the storage raster."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression
from scipy.sparse import diags_array

import sample_sets
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Rule
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.rules.check import check
from calib_model.rules.relations import Hysteresis, RateWithin, Relation
from calib_model.rules.shape import Curvature, Monotone, Slope, Symmetry
from calib_model.shaping import AtOdds, explain, gather, repair
from calib_model.store import read_set
from tests.shaping.making_shaping import axes_of, feasible_sets, grid, locked, optimality

FOLDER = Path(sample_sets.__file__).parent


@pytest.fixture(scope="module")
def sets() -> dict[str, CalibrationSet]:
    names = ("normal", "low_grip", "practice")
    return {n: read_set(FOLDER / f"larch_{n}.h5").set for n in names}


def left(content: CalibrationSet, ids: tuple[str, ...], *against: CalibrationSet) -> list[str]:
    """Kinds of linear rules and of the raster that still find something in these tables."""
    found = check(content, against).findings
    return [f.rule for f in found if f.table in ids and (f.source.linear or f.rule == "on_raster")]


PLANTED = [
    ("pre_engage_torque",),
    ("reconnect_speed",),
    ("disconnect_speed", "reconnect_speed"),
    ("clamp_limit_plate",),
    ("inside_rear_brake",),
    ("sync_window",),
    ("current_for_clamp_release", "current_for_clamp_apply", "holding_factor"),
]


@pytest.mark.parametrize("ids", PLANTED)
def test_planted_mistakes_end_within_the_rules_on_the_raster(
    sets: dict[str, CalibrationSet], ids: tuple[str, ...]
) -> None:
    practice = sets["practice"]
    proposal = repair(practice, ids)
    assert not proposal.is_empty
    assert not proposal.diagnostics.broken
    assert proposal.diagnostics.residual < 1e-9
    mended = apply(practice, proposal.change())
    assert left(mended, ids) == []
    # Nothing else has changed.
    assert all(mended[t.id] is t for t in practice if t.id not in ids)


def test_a_sound_set_is_left_alone(sets: dict[str, CalibrationSet]) -> None:
    for table in sets["normal"]:
        proposal = repair(sets["normal"], table.id)
        assert proposal.is_empty, proposal.summary
        assert proposal.change().is_empty


def test_relation_between_modes_only_the_mode_or_both(sets: dict[str, CalibrationSet]) -> None:
    mode, base = sets["low_grip"], sets["normal"]
    alone = repair(mode, "slip_target", against=[base])
    assert left(apply(mode, alone.change()), ("slip_target",), base) == []
    assert np.abs(alone.moved("slip_target")).max() == pytest.approx(0.8)
    both = repair(mode, [(0, "slip_target"), (1, "slip_target")], against=[base])
    ours, theirs = both.moved("slip_target"), both.moved("slip_target", 1)
    # The way is shared: 0.4 each, in opposite directions.
    assert np.abs(ours).max() == pytest.approx(0.4)
    assert np.array_equal(ours, -theirs)
    new_mode = apply(mode, both.change())
    new_base = apply(base, both.change(set_number=1))
    assert left(new_mode, ("slip_target",), new_base) == []
    assert "normal mode" in both.title


def test_the_base_may_be_repaired_against_its_modes(sets: dict[str, CalibrationSet]) -> None:
    # Low grip's pre-engagement torque lies below normal's: here the base gives way.
    mode, base = sets["low_grip"], sets["normal"]
    proposal = repair(base, "pre_engage_torque", against=[mode])
    assert not proposal.is_empty
    mended = apply(base, proposal.change())
    assert left(mended, ("pre_engage_torque",)) == []
    assert not check(mode, [mended]).of("pre_engage_torque")


def test_pair_shares_the_way_by_weight() -> None:
    axes = axes_of((4,))
    low = Table(
        "low", [5.0, 6, 7, 8], axes, rules=(Hysteresis("high", gap=2.0),), lower=0, upper=20
    )
    high = Table("high", [9.0, 6, 9, 10], axes, lower=0, upper=20)
    content = CalibrationSet([low, high])
    assert repair(content, "low").moved("low").tolist() == [0, -2, 0, 0]
    assert repair(content, "high").moved("high").tolist() == pytest.approx([0, 2, 0, 0])
    both = repair(content, ["low", "high"])
    assert both.moved("low").tolist() == pytest.approx([0, -1, 0, 0])
    assert both.moved("high").tolist() == pytest.approx([0, 1, 0, 0])
    # Three times as dear: a quarter of the way instead of half (weighted least squares).
    dear = repair(content, ["low", "high"], weights={"low": np.full(4, 3.0)})
    assert dear.moved("low")[1] == pytest.approx(-0.5)
    assert dear.moved("high")[1] == pytest.approx(1.5)


def test_only_allowed_cells_move() -> None:
    content = grid((8, 6), Monotone("pedal"), noise=30)
    allowed = np.zeros((8, 6), dtype=bool)
    allowed[:, 2] = True
    proposal = repair(content, "t", allowed={"t": allowed})
    moved = proposal.moved("t")
    assert (moved[:, [0, 1, 3, 4, 5]] == 0).all()
    expected = isotonic_regression(content["t"].values[:, 2]).x
    assert np.abs(proposal.values("t")[:, 2] - expected).max() < 1e-9
    assert "cannot be mended by the cells that may move" in " ".join(proposal.notes)


def test_locks_are_put_back_and_order_kept_around_them() -> None:
    content = locked(grid((9,), Monotone("pedal"), noise=1), {(4,): 150.0})
    proposal = repair(content, "t")
    z = proposal.values("t")
    assert z[4] == 150.0
    assert (np.diff(z) >= 0).all()
    assert (z[5:] >= 150).all()


def test_contradictions_raise_and_can_be_explained() -> None:
    content = locked(grid((6,), Monotone("pedal")), {(1,): 90.0, (4,): 60.0})
    with pytest.raises(AtOdds) as caught:
        repair(content, "t")
    found = explain(caught.value.system)
    assert found is not None
    assert {p.kind for p in found.parts} == {"locked", "monotone"}


def test_empty_cells_stay_empty() -> None:
    content = grid((6,), Monotone("pedal"), noise=30)
    values = content["t"].values.copy()
    values[3] = np.nan
    content = content.with_table(content["t"].with_values(values))
    z = repair(content, "t").values("t")
    assert np.isnan(z[3])
    assert np.isfinite(np.delete(z, 3)).all()


def test_values_used_as_factors_are_brought_up_to_date() -> None:
    # own * times >= other, with `times` moving as well: repaired in several passes.
    axes = axes_of((4,))
    factor = Table(
        "factor", [0.5, 0.4, 0.6, 0.7], axes, rules=(Monotone("pedal"),), lower=0, upper=1
    )
    other = Table("other", [4.0, 4, 4, 4], axes, lower=0, upper=20)
    own = Table(
        "own",
        [8.0, 8, 8, 8],
        axes,
        lower=0,
        upper=20,
        rules=(Relation("other", ">=", times="factor"),),
    )
    content = CalibrationSet([factor, other, own])
    proposal = repair(content, ["factor", "own"])
    mended = apply(content, proposal.change())
    assert left(mended, ("factor", "own")) == []
    # A table that reads the moved one but may not move is named.
    reader = replace(own, rules=(RateWithin("pedal", 1.0, "factor"),), values=[0.0, 0.9, 1.6, 2.9])
    content = CalibrationSet([factor, reader])
    before = check(content).of("own")
    proposal = repair(content, "factor")
    after = check(apply(content, proposal.change())).of("own")
    told = [n for n in proposal.notes if "no longer keeps to a rule" in n]
    assert bool(told) == (len(after) > len(before))


@given(feasible_sets(Storage("uint16", 1, 2)))
def test_any_repair_passes_the_checker_on_the_raster(content: CalibrationSet) -> None:
    proposal = repair(content, "t")
    mended = apply(content, proposal.change())
    kinds = left(mended, ("t",))
    assert set(kinds) <= {p.kind for p in proposal.diagnostics.broken}
    assert not {"monotone", "bounds", "limits", "locked", "on_raster"} & set(kinds)
    table = mended["t"]
    for rule in table.rules:
        if isinstance(rule, Monotone):
            steps = np.diff(table.values, axis=table.axis_of(rule.axis))
            steps = steps if rule.direction == "up" else -steps
            assert (steps >= (0.5 if rule.strict else 0.0)).all()


@given(feasible_sets())
def test_any_repair_of_a_float_table_is_the_nearest(content: CalibrationSet) -> None:
    proposal = repair(content, "t")
    mended = apply(content, proposal.change())
    assert left(mended, ("t",)) == []
    system = gather(content, ["t"])
    hessian = diags_array(1 / system.span**2).tocsr()
    residual = optimality(
        system, hessian, -(hessian @ system.values), proposal.values("t").reshape(-1)
    )
    assert residual < 1e-6


@pytest.mark.parametrize("step", [Storage("uint16", 1, 100), Storage("uint16", 1, 2)])
def test_curvature_survives_the_raster(step: Storage) -> None:
    # Rounding alone breaks convexity nearly everywhere; stored values that keep it are found.
    rules = (Monotone("pedal"), Curvature("pedal", "concave"), Slope("vehicle_speed", 15.0, 0.0))
    content = grid((8, 6), *rules, storage=step, noise=8)
    proposal = repair(content, "t")
    assert proposal.diagnostics.figures["stored"] == "searched"
    assert left(apply(content, proposal.change()), ("t",)) == []
    ideal = proposal.ideal[(0, "t")]
    assert np.abs(proposal.values("t") - ideal).max() < 20 * step.resolution


def test_symmetry_on_the_raster() -> None:

    axis = Axis([-6.0, -2, -1, 0, 1, 2, 6], "Error", "deg", "yaw_rate_error")
    for parity, values in (
        ("even", [4.0, 1, 1, 0, 2, 2, 7]),
        ("odd", [-4.0, -1, -1, 0.5, 2, 2, 7]),
    ):
        table = Table(
            "t", values, (axis,), lower=-20, upper=20, storage=Storage("int16", 1, 2),
            rules=(Symmetry("yaw_rate_error", parity),),
        )  # fmt: skip
        content = CalibrationSet([table])
        proposal = repair(content, "t")
        assert left(apply(content, proposal.change()), ("t",)) == []
        assert np.abs(proposal.moved("t")).max() <= 2.0


PAIRS = [Storage(), Storage("uint16", 1, 10), Storage("int16", 1, 4), Storage("uint8", 1, 1)]


@given(st.integers(0, 100_000))
def test_any_pair_of_tables_ends_within_the_rules_or_says_what_is_left(seed: int) -> None:
    # Two tables of unlike storage and breakpoints tied by a gap or relation, both free to move.
    rng = np.random.default_rng(seed)
    rows = int(rng.integers(2, 6))
    first, second = axes_of((rows, 4), seed % 97), axes_of((rows, 3), seed % 89)
    tie: Rule = Hysteresis("b", gap=float(rng.choice([0.0, 2.5])))
    if rng.random() < 0.5:
        tie = Relation("b", str(rng.choice(["<=", ">="])), factor=1.3, offset=float(rng.normal()))

    def table(id: str, axes: tuple[Axis, ...], *rules: Rule) -> Table:
        storage = PAIRS[rng.integers(len(PAIRS))]
        values = storage.nearest(np.clip(rng.normal(60, 30, [len(a) for a in axes]), 0, 200))
        direction = str(rng.choice(["up", "down"]))
        mine = (Monotone("pedal", direction), Slope("vehicle_speed", 15.0, -15.0), *rules)
        return Table(id, values, axes, upper=200, lower=0, storage=storage, rules=mine)

    content = CalibrationSet([table("a", first, tie), table("b", second)])
    proposal = repair(content, ["a", "b"], seconds=0.5)
    mended = apply(content, proposal.change())
    kinds = set(left(mended, ("a", "b")))
    assert kinds <= {p.kind for p in proposal.diagnostics.broken}
    assert not {"monotone", "limits", "on_raster"} & kinds
    assert proposal.diagnostics.residual < 1e-6


def test_prescribed_values_that_no_storage_holds_are_named() -> None:
    axes = axes_of((3,))
    half = Storage("uint16", 1, 2)
    own = Table("own", [10.0, 10, 10], axes, storage=half, lower=0, upper=50,
                rules=(Relation("other", "==", factor=1.3),))  # fmt: skip
    content = CalibrationSet([own, Table("other", [10.0, 7, 3], axes, lower=0, upper=50)])
    proposal = repair(content, "own")
    (part,) = proposal.diagnostics.broken
    assert part.kind == "on_raster"
    assert [cell for _, cell in part.cells] == [1, 2]
    assert "prescribe 9.1" in " ".join(proposal.notes)
    assert left(apply(content, proposal.change()), ("own",)) == ["on_raster"]
