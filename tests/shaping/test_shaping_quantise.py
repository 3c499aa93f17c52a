"""Stored values: the nearest that keep the rules, what rounding does, and scalings."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Rule
from calib_model.core.storage import INTEGER_TYPES, Storage
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.errors import EditRefused, ModelError
from calib_model.rules.check import check
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import Kink, Monotone, Slope
from calib_model.shaping import gather, quantise, repair, rounding, scalings, to_storage
from tests.shaping.making_shaping import feasible_sets, grid, locked

ONE = Storage("uint16", 1, 1)


@given(st.integers(0, 10_000), st.sampled_from([0.0, 1.0, 2.0]), st.sampled_from([2, 3, 99]))
def test_nearest_steps_of_a_curve_by_dynamic_programming(seed: int, gap: float, most: int) -> None:
    # The shortest path over all whole numbers: exact, and nothing in common with minimum cuts.
    rng = np.random.default_rng(seed)
    n = 7
    y = np.round(rng.uniform(0, 14, n), 3)
    weights = rng.uniform(0.5, 2, n)
    content = grid((n,), even=True)
    x = content["t"].axes[0].values
    rules = [Slope("pedal", most / (x[1] - x[0]), gap / (x[1] - x[0])), Bounds(0, 15)]
    table = replace(content["t"], values=y, storage=ONE, rules=tuple(rules))
    proposal = repair(content.with_table(table), "t", weights={"t": weights})
    grid_values = np.arange(16.0)
    cost = weights[0] * (grid_values - y[0]) ** 2
    for k in range(1, n):
        step = grid_values[None, :] - grid_values[:, None]  # from, to
        reach = np.where((step >= gap) & (step <= most), cost[:, None], np.inf)
        cost = reach.min(axis=0) + weights[k] * (grid_values - y[k]) ** 2
    ours = float((weights * (proposal.values("t") - y) ** 2).sum())
    assert ours == pytest.approx(float(cost.min()), abs=1e-6)


def test_nearest_steps_of_a_map_by_trying_all() -> None:
    rng = np.random.default_rng(4)
    for _ in range(6):
        y = np.round(rng.uniform(0, 4, (2, 3)), 2)
        content = grid((2, 3), Monotone("pedal"), Monotone("vehicle_speed", strict=True))
        table = replace(content["t"], values=y, storage=ONE, upper=4.0)
        ours = repair(content.with_table(table), "t").values("t")
        best = min(
            float(((np.reshape(z, (2, 3)) - y) ** 2).sum())
            for z in product(range(5), repeat=6)
            if (np.diff(np.reshape(z, (2, 3)), axis=0) >= 0).all()
            and (np.diff(np.reshape(z, (2, 3)), axis=1) >= 1).all()
        )
        assert float(((ours - y) ** 2).sum()) == pytest.approx(best, abs=1e-9)


def test_strict_order_by_the_shifted_isotonic_fit() -> None:
    # Strict order over whole numbers: shift by the place, fit weak order, round, shift back; the
    # distance to the data cannot be beaten by it.
    rng = np.random.default_rng(7)
    y = np.sort(rng.uniform(0, 30, 12)) + rng.normal(size=12) * 2
    content = grid((12,), Monotone("pedal", strict=True))
    table = replace(content["t"], values=y, storage=ONE, upper=40.0)
    ours = repair(content.with_table(table), "t").values("t")
    place = np.arange(12)
    shifted = isotonic_regression(y - place).x
    known = np.round(np.clip(shifted, 0, 40 - 11)) + place
    assert (np.diff(ours) >= 1).all()
    assert ((ours - y) ** 2).sum() <= ((known - y) ** 2).sum() + 1e-9


@given(feasible_sets())
def test_rounding_keeps_order_bounds_and_locks(content: object) -> None:
    table = content["t"]  # type: ignore[index]
    sound = apply(content, repair(content, "t", on_raster=False).change())  # type: ignore[arg-type]
    coarse = replace(sound["t"], storage=Storage("uint8", 1, 1))
    moved = sound.with_table(coarse)
    system = gather(moved, ["t"])
    stored = to_storage(system, system.values)
    kinds = {system.sources[system.origin[r]].rule.kind for r in stored.broken}
    strict = any(isinstance(r, Monotone) and r.strict for r in table.rules)
    assert not {"bounds", "limits", "locked"} & kinds
    if not strict:
        assert "monotone" not in kinds
    assert coarse.storage.representable(stored.values[system.reduced.free]).all()


def test_plain_rounding_where_nothing_breaks() -> None:
    content = grid((8, 7), Monotone("pedal"), noise=0)
    proposal = quantise(content, "t", storage=Storage("uint16", 1, 2))
    nearest = Storage("uint16", 1, 2).nearest(content["t"].values)
    assert np.array_equal(proposal.values("t"), nearest)
    assert proposal.diagnostics.figures["stored"] == "rounded"
    after = apply(content, proposal.change())
    assert after["t"].storage == Storage("uint16", 1, 2)
    assert apply(after, proposal.change().inverse()) == content


def test_rules_that_rounding_breaks_are_named_with_their_cells() -> None:
    # A line that may not bend, from 0 to 1 in three steps: no whole numbers lie on it.
    content = grid((4,), Kink("pedal", 0.0), even=True)
    table = replace(content["t"], values=np.array([0.0, 1 / 3, 2 / 3, 1.0]))
    content = locked(content.with_table(table), {(0,): 0.0, (3,): 1.0})
    assert not check(content).of("t")
    proposal = quantise(content, "t", storage=ONE)
    (part,) = proposal.diagnostics.broken
    assert part.kind == "kink"
    assert {cell for _, cell in part.cells} <= {0, 1, 2, 3}
    assert "Rounding to storage breaks a rule at " in " ".join(proposal.notes)
    after = apply(content, proposal.change())
    assert {f.rule for f in check(after).of("t")} == {"kink"}


def test_what_did_not_hold_before_is_left_out_of_account() -> None:
    content = grid((9,), Monotone("pedal"), noise=40, storage=Storage("uint16", 1, 10))
    proposal = quantise(content, "t", storage=Storage("uint16", 2, 1))
    assert "did not hold before rounding" in " ".join(proposal.notes)
    assert np.abs(proposal.moved("t")).max() <= 1.0 + 1e-9


def test_rounding_tells_lost_and_tilted_slopes() -> None:
    content = grid((5,), even=True)
    table = replace(content["t"], values=np.array([0.0, 0.4, 1.4, 2.6, 3.6]))
    effect = rounding(table, ONE.nearest(table.values))
    assert [b.cells for b in effect.flattened] == [(0, 1)]
    assert effect.flattened[0].text.startswith("The rise of 0.4 N·m between ")
    assert effect.flattened[0].text.endswith("is lost.")
    # 1.4 to 2.6 becomes 1 to 3: a rise of 1.2 turned 2.
    assert [(b.cells, b.after) for b in effect.tilted] == [((2, 3), 2.0)]
    assert effect.largest == pytest.approx(0.4)


def test_single_precision_is_kept_in_single_precision() -> None:
    content = grid((6, 5), Monotone("pedal"))
    table = replace(content["t"], storage=Storage("float32"))
    proposal = repair(content.with_table(table), "t")
    z = proposal.values("t")
    assert np.array_equal(z.astype(np.float32).astype(np.float64), z)
    assert (np.diff(z, axis=0) >= 0).all()


def test_refusals() -> None:
    content = grid((6,))
    with pytest.raises(EditRefused, match="holds any value"):
        quantise(content, "t")
    with pytest.raises(EditRefused, match="reaches from"):
        quantise(content, "t", storage=Storage("int8", 1, 10))


@pytest.mark.parametrize(
    ("low", "high", "step", "expected"),
    [
        # By hand: how many steps the range needs against what each type holds.
        (0, 250, 1, "uint8, step 1"),
        (0, 256, 1, "uint16, step 1"),
        (-40, 50, "0.5", "int8, step 0.5"),
        (-40, 150, 1, "uint8, step 1 from -40"),
        (-100, 100, 1, "int8, step 1"),
        (-4, 8, "1/128", "int16, step 0.0078125"),
        (0, 1.4, "0.01", "uint8, step 0.01"),
        (1000, 1200, 1, "uint8, step 1 from 1000"),
        (0, 14, "0.001", "uint16, step 0.001"),
        (5, 5, 1, "uint8, step 1"),
    ],
)
def test_scaling_by_hand(low: float, high: float, step: str | int, expected: str) -> None:
    best = scalings(low, high, step)[0]
    assert str(best.storage) == expected
    assert 0 < best.used <= 1


@given(
    st.floats(-1e4, 1e4),
    st.floats(0, 1e4),
    st.sampled_from(["1", "0.5", "0.02", "1/250", "0.001", "5", "1/3"]),
)
def test_every_scaling_holds_the_range(low: float, width: float, step: str) -> None:
    high = low + width
    try:
        found = scalings(low, high, step)
    except ModelError:
        assert width / 0.001 > 2**31
        return
    assert {s.storage.type for s in found} <= set(INTEGER_TYPES)
    for scaling in found:
        least, most = scaling.storage.range
        size = scaling.storage.resolution
        assert least <= low + 1e-6 * size
        assert most >= high - 1e-6 * size
        assert abs(float(scaling.storage.nearest(low)) - low) <= size / 2 * (1 + 1e-6)
    assert [s.bytes for s in found] == sorted(s.bytes for s in found)


def test_scaling_refusals() -> None:
    with pytest.raises(ModelError, match="rising order"):
        scalings(3, 1, 1)
    with pytest.raises(ModelError, match="no resolution"):
        scalings(0, 1, "fine")
    with pytest.raises(ModelError, match="above zero"):
        scalings(0, 1, 0)
    with pytest.raises(ModelError, match="finest step"):
        scalings(0, 1e12, "0.001")


def rising(values: list[float], *rules: Rule, storage: Storage = ONE) -> CalibrationSet:
    """A curve of one number per cell."""
    axis = Axis(np.arange(float(len(values))), "X", "-", "x")
    return CalibrationSet([Table("t", values, (axis,), "T", storage=storage, rules=rules)])


def test_a_strict_order_closer_than_a_step_does_not_go_flat() -> None:
    # Closer than one step of the raster, the order does not hold before rounding; the nearest
    # whole numbers that rise strictly, by trying all.
    values = [1.1, 1.3, 1.5, 4.0]
    proposal = quantise(rising(values, Monotone("x", strict=True)), "t")
    got = proposal.values("t")
    assert (np.diff(got) >= 1).all()
    best = min(
        (float(((np.array(z) - values) ** 2).sum()), z)
        for z in product(range(7), repeat=4)
        if (np.diff(z) >= 1).all()
    )
    assert float(((got - values) ** 2).sum()) == pytest.approx(best[0])
    assert not proposal.diagnostics.broken
    # A breach that rounding cannot mend is still left alone, and said.
    left = quantise(rising([1.2, 9.4, 3.1, 9.9], Monotone("x", strict=True)), "t")
    assert left.values("t").tolist() == [1, 9, 3, 10]
    assert "did not hold before" in " ".join(left.notes)


def test_halves_go_to_even_as_in_storage() -> None:
    values = [0.5, 1.5, 2.5, 3.5, -0.5]
    storage = Storage("int16", 1, 1)
    got = quantise(rising(values, storage=storage), "t").values("t")
    assert got.tolist() == storage.nearest(values).tolist() == [0, 2, 2, 4, 0]
    # Under rules that allow it as well.
    got = quantise(rising(values[:4], Monotone("x"), storage=storage), "t").values("t")
    assert got.tolist() == [0, 2, 2, 4]


def test_values_beyond_the_storage_are_named() -> None:
    byte = Storage("uint8", 1, 1)
    rounded = quantise(rising([3.2, 255.4], storage=byte), "t")
    assert rounded.values("t").tolist() == [3, 255]
    assert "is beyond what uint8, step 1 holds" in " ".join(rounded.notes)
    mended = repair(rising([3.0, 301.0, 300.0], storage=byte), "t")
    assert mended.values("t").tolist() == [3, 255, 255]
    (note,) = [n for n in mended.notes if "is beyond" in n]
    assert "301" in note
    assert "and 1 more" in note
    assert not [n for n in quantise(rising([3.2, 254.4], storage=byte), "t").notes if "beyond" in n]


def test_what_obeys_already_is_left_bit_for_bit() -> None:
    free = Storage("float64")
    values = [0.1, 0.1 + 1e-15, 0.3, 1 / 3]
    proposal = repair(rising(values, Monotone("x"), storage=free), "t")
    assert proposal.is_empty
    assert proposal.diagnostics.solver == ""
    # One breach: no other cell moves by the solver's rounding.
    broken = [0.1, 0.7, 0.6, 0.8, 1 / 3 + 1, np.pi]
    moved = repair(rising(broken, Monotone("x"), storage=free), "t").moved("t")
    assert np.flatnonzero(moved).tolist() == [1, 2]
