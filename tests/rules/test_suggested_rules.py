"""Rules that a shape suggests: they hold, noise has none, and what was meant is found again."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.editing.rule_changes import set_rules
from calib_model.rules.check import check
from calib_model.rules.preview import preview
from calib_model.rules.shape import Curvature, Monotone, Symmetry, ZeroEnd
from calib_model.rules.step import Step
from calib_model.rules.suggested import SuggestedRule, suggest_rules
from calib_model.store import read_set
from tests.rules.making import axis, curve, plane, raster

NORMAL = Path(__file__).resolve().parents[2] / "sample_sets" / "larch_normal.h5"


def of(table: Table) -> dict[str, SuggestedRule]:
    return {f"{s.rule.kind} {getattr(s.rule, 'axis', '')}".strip(): s
            for s in suggest_rules(CalibrationSet([table]))}  # fmt: skip


def test_the_samples_own_orders_are_found_again() -> None:
    """Without its rules, 39 of the sample's 41 orders over whole tables are suggested."""
    content = read_set(NORMAL).set
    bare = content.replaced({t.id: replace(t, rules=()) for t in content})
    meant = {
        (t.id, r.axis, r.direction)
        for t in content
        for r in t.rules
        if isinstance(r, Monotone) and not r.scope
    }
    found = suggest_rules(bare)
    orders = {
        (s.table, s.rule.axis, s.rule.direction) for s in found if isinstance(s.rule, Monotone)
    }
    assert len(meant) == 41
    # Both others are curves in which three steps move: too few to say so.
    assert meant - orders == {
        ("clamp_limit_oil", "oil_temperature", "down"),
        ("sync_window", "shaft_speed", "up"),
    }
    kept: dict[str, list[object]] = {}
    for one in found:
        kept.setdefault(one.table, []).append(one.rule)
    after = apply(bare, set_rules(bare, kept, "Keep"))  # type: ignore[arg-type]
    assert check(after).findings == ()
    assert suggest_rules(after) == ()


def test_noise_suggests_nothing() -> None:
    """Once in 64 is the bar for one question; six questions are asked of a map."""
    stream = np.random.default_rng(5)
    counts: Counter[str] = Counter()
    for _ in range(300):
        shape = (int(stream.integers(3, 9)), int(stream.integers(2, 9)))
        axes = tuple(Axis(np.arange(n), f"a{k}") for k, n in enumerate(shape))
        table = Table("t", stream.normal(size=shape).round(3), axes, lower=-9, upper=9)
        counts.update(s.rule.kind for s in suggest_rules(CalibrationSet([table])))
    assert counts["monotone"] + counts["curvature"] + counts["step"] <= 6
    assert counts.keys() <= {"monotone", "curvature", "step", "bounds"}


@settings(max_examples=150, deadline=None, derandomize=True)
@given(data=st.data())
def test_what_is_suggested_holds_now(data: st.DataObject) -> None:
    shape = data.draw(st.tuples(st.integers(1, 6), st.integers(1, 6)))
    cells = st.integers(-4, 4).map(float)
    values = np.array(
        data.draw(st.lists(cells, min_size=shape[0] * shape[1], max_size=shape[0] * shape[1]))
    ).reshape(shape)
    if data.draw(st.booleans()):
        values = np.sort(values, axis=0).cumsum(axis=1)
    x = data.draw(st.sampled_from([np.arange(shape[0]), np.arange(shape[0]) - (shape[0] - 1) / 2]))
    axes = (Axis(x, "", "%", "pedal"), Axis(np.arange(shape[1]) ** 2.0, "v"))
    table = Table("t", values, axes, storage=data.draw(st.sampled_from([raster(), raster("1")])))
    content = CalibrationSet([table])
    for one in suggest_rules(content):
        shown = preview(content, ["t"], one.rule)
        assert shown.findings == () == shown.not_checked, one
        assert one.margin >= -1e-9
        assert one.places > 0
        assert one.rule.reason


def test_an_order_says_what_it_rests_on() -> None:
    table = curve([0, 20, 40, 60, 80, 100], [0, 1, 2.5, 3, 5, 8], storage=raster())
    found = of(table)["monotone pedal"]
    assert found.rule == Monotone("pedal", "up", True, reason=found.rule.reason) or (
        found.rule == Monotone("pedal", "up", reason=found.rule.reason)
    )
    assert found.evidence == "rises in its line, 5 steps; the smallest is 0.5 N·m"
    assert found.question.endswith("with pedal: keep it so?")
    assert found.margin == 0.5


def test_strict_needs_room_to_spare() -> None:
    """A step of one raster is broken by the next rounding; then only level steps are excluded."""
    near = of(curve([0, 25, 50, 75, 100], [0, 0.5, 1, 1.5, 2], storage=raster()))
    wide = of(curve([0, 25, 50, 75, 100], [0, 5, 10, 15, 20], storage=raster()))
    assert [s["monotone pedal"].rule.strict for s in (near, wide)] == [False, True]  # type: ignore[attr-defined]


@pytest.mark.parametrize("values", [[1, 2, 3], [1, 2, 3, 4], [1, 1, 1, 2, 2]])
def test_few_steps_say_nothing(values: list[float]) -> None:
    assert "monotone pedal" not in of(curve(range(len(values)), values))


def test_one_cell_out_of_order_takes_the_order_away() -> None:
    values = np.arange(30.0).reshape(6, 5)
    values[2, 2] = -1
    assert (
        not {"monotone pedal", "monotone vehicle_speed"}
        & of(plane(range(6), range(5), values)).keys()
    )


def test_ends_mirrors_levels_and_bends() -> None:
    fades = np.outer([5.0, 4, 2, 1, 0], [1.0, 2, 4, 7, 11, 16])
    found = of(plane(range(5), range(6), fades))
    assert found["zero_end pedal"].rule == ZeroEnd(
        "pedal", "last", reason=found["zero_end pedal"].rule.reason
    )
    assert isinstance(found["curvature vehicle_speed"].rule, Curvature)

    x = np.array([-3.0, -2, -1, 0, 1, 2, 3])
    odd = Table("t", np.outer(x**3, [1.0, 2]), (axis("pedal", x), axis("vehicle_speed", [0, 1])))
    rule = of(odd)["symmetry pedal"].rule
    assert isinstance(rule, Symmetry)
    assert (rule.parity, rule.about) == ("odd", 0.0)

    level = plane(range(4), range(5), np.repeat([[1.0], [2], [5], [9]], 5, axis=1))
    assert of(level)["step vehicle_speed"].rule == Step(
        "vehicle_speed", reason=of(level)["step vehicle_speed"].rule.reason
    )


def test_signs_are_kept_where_limits_do_not_say_so() -> None:
    positive = curve(range(8), [1, 5, 2, 7, 3, 9, 4, 8])
    assert of(positive)["bounds"].rule.lower == 0  # type: ignore[attr-defined]
    assert "bounds" not in of(replace(positive, lower=0))


def test_what_is_stated_or_cannot_be_read_is_left_alone() -> None:
    values = [0.0, 1, 2, 3, 4, 5]
    table = curve(range(6), values)
    assert "monotone pedal" in of(table)
    assert "monotone pedal" not in of(replace(table, rules=(Monotone("pedal", off=True),)))
    assert of(table.with_values([0.0, 1, np.nan, 3, 4, 5])) == {}
    assert of(curve([0, 1, 2, 3, 5, 4], values)) == {}
    assert of(Table("t", 3.0)) == {}
    assert of(curve(range(6), [2.0] * 6)) == {}


def test_an_axis_without_a_name_goes_by_its_number() -> None:
    table = Table("t", [0.0, 1, 2, 3, 4, 5], (Axis(np.arange(6)),))
    assert "monotone 1" in of(table)
    twice = Table("t", np.add.outer(np.arange(6.0), np.arange(6.0)), (Axis(np.arange(6), "x"),) * 2)
    assert {"monotone x", "monotone 2"} <= of(twice).keys()
