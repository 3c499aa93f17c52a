"""Fits under random rule sets: the checker has nothing to say, and nothing better exists."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Range
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.rules.check import check
from calib_model.rules.relations import Hysteresis, Relation
from calib_model.rules.shape import Monotone
from calib_model.shaping.branches import fit_branches
from calib_model.shaping.fit import FitProposal, fit, propose
from calib_model.shaping.fit_estimate import estimate
from calib_model.shaping.fit_options import FitOptions
from calib_model.shaping.problem import gather
from calib_model.shaping.samples import Samples, from_arrays
from tests.fit.making_fits import curve, design
from tests.shaping.making_shaping import feasible_sets, optimality

# Always in force and about how values look; a fit has no say in them.
PLAUSIBILITY = ("outlier", "flattened")
SLOW = settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])


def _samples(table: Table, seed: int, noise: float) -> Samples:
    rng = np.random.default_rng(seed)
    points = [rng.uniform(a.values[0], a.values[-1], 300) for a in table.axes]
    truth = table.values.reshape(-1)
    y = design(table, points) @ truth + noise * rng.normal(size=300)
    return from_arrays(points, y)


def _clean(content: CalibrationSet, found: FitProposal) -> None:
    after = apply(content, found.change())
    assert [f for f in check(after).of("t") if f.rule not in PLAUSIBILITY] == []
    for rule in content["t"].rules:
        if isinstance(rule, Monotone):
            axis = [a.quantity for a in content["t"].axes].index(rule.axis)
            steps = np.diff(after["t"].values, axis=axis)
            assert ((steps if rule.direction == "up" else -steps) >= 0).all()


@SLOW
@given(feasible_sets(), st.integers(0, 1000), st.sampled_from((0.1, 3.0)))
def test_fits_pass_the_checker_and_are_optimal(
    content: CalibrationSet, seed: int, noise: float
) -> None:
    samples = _samples(content["t"], seed, noise)
    options = FitOptions(loss="squares", strength=1e-3, on_raster=False)
    found = fit(content, "t", samples, options)
    _clean(content, found)
    assert found.diagnostics.residual < 1e-6
    # An independent judge: multipliers by SciPy's non-negative least squares.
    known = estimate(content["t"], samples, options)
    system = gather(content, ["t"])
    form = (known.normal + known.rough) / known.sigma**2
    size = float(form.diagonal().max())
    gradient = -known.right / known.sigma**2 / size
    z = found.ideal.get((0, "t"), found.values("t")).reshape(-1)
    assert optimality(system, (form / size).toarray(), gradient, z) < 1e-6


@SLOW
@given(feasible_sets(Storage.of("uint16", "0.5")), st.integers(0, 1000))
def test_fits_on_a_raster_pass_the_checker(content: CalibrationSet, seed: int) -> None:
    found = fit(content, "t", _samples(content["t"], seed, 2.0))
    broken = {p.kind for p in found.diagnostics.broken}
    after = apply(content, found.change())
    flagged = {f.rule for f in check(after).of("t") if f.rule not in PLAUSIBILITY}
    # What rounding breaks is said; everything else holds.
    assert flagged <= broken
    assert content["t"].storage.representable(after["t"].values).all()
    if not broken:
        _clean(content, found)


@given(st.integers(0, 10_000), st.floats(0.0, 0.6))
@settings(max_examples=25)
def test_the_gap_holds_whatever_the_samples_say(seed: int, gap: float) -> None:
    # Branches that touch in places: the samples alone would cross there.
    rng = np.random.default_rng(seed)
    storage = Storage.of("uint16", "0.01")
    up = curve([0, 2, 5, 10], np.zeros(4), id="up", lower=0, upper=30, storage=storage)
    rule = Hysteresis("up", branches=True, scope=(Range("pedal", 0.5),))
    down = curve(
        [0, 2, 5, 10], np.zeros(4), id="down", lower=0, upper=30, storage=storage,
        rules=(Monotone("pedal", "up", strict=True), rule),
    )  # fmt: skip
    x = np.concatenate([np.linspace(0, 10, 120), np.linspace(10, 0, 120)])
    width = np.where(np.arange(240) < 120, 0.1 * np.abs(x - 5), -0.1 * np.abs(x - 5))
    y = 2 + 2 * x + width + rng.normal(size=240) * 0.05
    drive = np.concatenate([np.linspace(0, 1, 120), np.linspace(1, 0, 120)])
    content = CalibrationSet([up, down])
    found = fit_branches(
        content, "up", "down", from_arrays([x], y, drive=drive), FitOptions(gap=gap)
    )
    asked = max(gap, 0.01)
    assert found.branches is not None
    assert found.branches.asked == asked
    apart = found.values("up") - found.values("down")
    assert apart[1:].min() >= asked - 1e-9
    after = apply(content, found.change())
    assert not [f for f in check(after).of("down") if f.rule not in PLAUSIBILITY]


def test_tables_that_move_along_make_room() -> None:
    # A relation pins the curve's first node to another table, unless that one may move too.
    from calib_model.core.rule import Range as Scope
    from calib_model.rules.relations import Relation

    pinned = curve(
        [0, 5, 10], np.zeros(3),
        rules=(Relation("start", "==", scope=(Scope("pedal", 0, 0),)),),
    )  # fmt: skip
    start = Table("start", 1.0)
    content = CalibrationSet([pinned, start])
    x = np.linspace(0, 10, 200)
    samples = from_arrays([x], 3 + x)
    fixed = fit(content, "curve", samples)
    assert fixed.values("curve")[0] == pytest.approx(1.0, abs=1e-8)
    free = fit(content, "curve", samples, FitOptions(also=("start",)))
    np.testing.assert_allclose(free.values("curve"), [3, 8, 13], atol=1e-2)
    assert float(free.values("start")) == pytest.approx(3.0, abs=1e-2)


def test_rules_can_be_left_out_by_kind() -> None:
    table = curve([0, 5, 10], np.zeros(3), rules=(Monotone("pedal", "up"),))
    content = CalibrationSet([table])
    x = np.linspace(0, 10, 200)
    found = fit(content, "curve", from_arrays([x], -x), FitOptions(without=("monotone",)))
    np.testing.assert_allclose(found.values("curve"), [0, -5, -10], atol=1e-6)
    estimates = {"curve": estimate(table, from_arrays([x], -x), FitOptions())}
    level = propose(content, estimates, FitOptions())
    assert np.ptp(level.values("curve")) == 0


def test_values_that_a_rule_uses_as_factors_are_brought_up_to_date() -> None:
    # own * factor >= 3: the fit halves the factor, so that own, which may move too, has to rise
    # from 8 to 12. A fit that went on with the factor of before would leave it.
    pedal = [0.0, 10.0, 20.0]
    factor = curve(pedal, [0.5] * 3, id="factor")
    other = curve(pedal, [3.0] * 3, id="other")
    rule = Relation("other", ">=", times="factor")
    own = curve(pedal, [8.0] * 3, id="own", rules=(rule,))
    content = CalibrationSet([factor, other, own])
    x = np.linspace(0, 20, 41)
    options = FitOptions(loss="squares", strength=0.0, on_raster=False, also=("own",))
    found = fit(content, "factor", from_arrays([x], np.full(x.size, 0.25)), options)
    after = apply(content, found.change())
    np.testing.assert_allclose(after["factor"].values, 0.25, atol=1e-6)
    np.testing.assert_allclose(after["own"].values, 12.0, atol=1e-4)
