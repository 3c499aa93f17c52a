"""Each planted mistake of the practice set is mended by the remedy that fits its kind.

The mistakes and their remedies are those of the invented demo scenario.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Range
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.editing.locks import locked_cells
from calib_model.remedies import Remedy, remedies_for
from calib_model.rules.check import Finding, check
from calib_model.rules.limits import Bounds
from calib_model.rules.relations import Relation
from calib_model.rules.shape import EqualsAt, FixedValue, Monotone, Symmetry
from calib_model.store import open_file

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


@pytest.fixture(scope="module")
def practice() -> CalibrationSet:
    return open_file(SAMPLES / "larch_practice.h5").result().set


@pytest.fixture(scope="module")
def normal() -> CalibrationSet:
    return open_file(SAMPLES / "larch_normal.h5").result().set


def found(content: CalibrationSet, table: str, rule: str) -> Finding:
    return next(f for f in check(content).of(table) if f.rule == rule)


def offered(content: CalibrationSet, finding: Finding, kind: str) -> Remedy:
    return next(r for r in remedies_for(content, finding) if r.kind == kind)


PLANTED = [
    ("pre_engage_torque", "outlier", "re-interpolate"),
    ("current_for_clamp_release", "branch_order", "exchange branches"),
    ("reconnect_speed", "hysteresis", "restore gap"),
    ("ambient_factor", "covers", "move axis"),
    ("clamp_limit_plate", "zero_end", "zero"),
    ("inside_rear_brake", "zero_end", "zero"),
    ("expected_axle_difference", "covers", "scale axis"),
    ("sync_window", "relation", "restore gap"),
]


@pytest.mark.parametrize(("table", "rule", "kind"), PLANTED)
def test_the_fitting_remedy_is_offered_first_and_settles(
    practice: CalibrationSet, table: str, rule: str, kind: str
) -> None:
    first = remedies_for(practice, found(practice, table, rule))[0]
    assert first.kind == kind
    assert first.settles


def test_all_eight_together_leave_a_sound_set_close_to_the_original(
    practice: CalibrationSet, normal: CalibrationSet
) -> None:
    content = practice
    for table, rule, kind in PLANTED:
        content = apply(content, offered(content, found(content, table, rule), kind).change)
    report = check(content)
    assert report.findings == ()
    # Exchanged branches, moved and scaled axes and zeroed ends come back exactly.
    for same in (
        *("current_for_clamp_apply", "current_for_clamp_release", "ambient_factor"),
        *("expected_axle_difference", "clamp_limit_plate", "inside_rear_brake"),
    ):
        assert np.array_equal(content[same].values, normal[same].values), same
        assert content[same].axes == normal[same].axes, same
    # The slipped cell is told by its neighbours to within 3 % of what it was.
    assert content["pre_engage_torque"].values[3, 6] == pytest.approx(215, rel=0.03)
    gap = content["disconnect_speed"].values - content["reconnect_speed"].values
    assert gap.min() >= 5
    assert locked_cells(content["clamp_limit_plate"])[-1]


def test_the_nearest_values_would_have_been_wrong(practice: CalibrationSet) -> None:
    # Levelling the slipped cell would have given the value before it, not one between.
    finding = found(practice, "pre_engage_torque", "monotone")
    level = offered(practice, finding, "level")
    mended = apply(practice, level.change)["pre_engage_torque"].values
    assert mended[3, 6] == mended[3, 5]
    assert remedies_for(practice, finding)[0].kind == "re-interpolate"


X = Axis([-2, -1, 0, 1, 2], "Error", "deg", "yaw_rate_error")


def one(values: list[float], *rules: object, **about: object) -> CalibrationSet:
    given = {"lower": -100.0, "upper": 100.0, "storage": Storage("int16", 1, 2), **about}
    return CalibrationSet([Table("t", values, (X,), "T", "N.m", rules=rules, **given)])  # type: ignore[arg-type]


def mended(content: CalibrationSet, rule: str, kind: str) -> list[float]:
    remedy = offered(content, found(content, "t", rule), kind)
    assert remedy.settles
    return apply(content, remedy.change)["t"].values.tolist()


def test_fixed_value_and_equals_at() -> None:
    zero = FixedValue(0.0, scope=(Range("yaw_rate_error", -1, 1),))
    assert mended(one([-4, 1, 2, 0, 4], zero), "fixed_value", "zero") == [-4, 0, 0, 0, 4]
    at = EqualsAt((0.0,), 1.5)
    assert mended(one([0, 0, 1, 2, 3], at), "equals_at", "set") == [0, 0, 1.5, 2, 3]


def test_symmetry_offers_both_halves() -> None:
    content = one([4, 1, 0, 2, 5], Symmetry("yaw_rate_error"))
    remedies = remedies_for(content, found(content, "t", "symmetry"))
    outcomes = [(r.kind, apply(content, r.change)["t"].values.tolist()) for r in remedies]
    assert outcomes == [
        ("mirror", [4, 1, 0, 1, 4]),
        ("mirror", [5, 2, 0, 2, 5]),
        ("nearest values", [4.5, 1.5, 0, 1.5, 4.5]),
    ]


@pytest.mark.parametrize(("table", "rule", "kind"), PLANTED)
def test_the_nearest_values_come_last_and_only_for_linear_rules(
    practice: CalibrationSet, table: str, rule: str, kind: str
) -> None:
    finding = found(practice, table, rule)
    kinds = [r.kind for r in remedies_for(practice, finding)]
    assert "nearest values" not in kinds[:-1]
    if not finding.source.linear:
        assert "nearest values" not in kinds


def test_the_nearest_values_say_what_they_are(practice: CalibrationSet) -> None:
    finding = found(practice, "sync_window", "relation")
    last = remedies_for(practice, finding)[-1]
    assert last.kind == "nearest values"
    assert last.settles
    assert last.text.startswith("Nearest values under the rules in ")
    assert "no remedy for a slipped digit" in last.change.note


def test_clip_round_and_fill() -> None:
    assert mended(one([0, 1, 2, 3, 150]), "limits", "clip") == [0, 1, 2, 3, 100]
    bounds = Bounds(upper=2.0)
    assert mended(one([0, 1, 1, 2, 3], bounds), "bounds", "clip") == [0, 1, 1, 2, 2]
    assert mended(one([0, 1, 2, 3, 4.1]), "on_raster", "round") == [0, 1, 2, 3, 4]
    hole = one([0, 1, np.nan, 3, 4])
    assert mended(hole, "finite", "re-interpolate") == [0, 1, 2, 3, 4]


def test_level_carries_on_in_the_right_direction() -> None:
    up = one([0, 3, 2, 4, 5], Monotone("yaw_rate_error", "up"))
    assert mended(up, "monotone", "level") == [0, 3, 3, 4, 5]
    down = one([5, 4, 4.5, 1, 0], Monotone("yaw_rate_error", "down"))
    assert mended(down, "monotone", "level") == [5, 4, 4, 1, 0]


def test_restored_gap_goes_outward_to_the_raster_and_keeps_the_order() -> None:
    other = Table("o", [1.2, 1.2, 1.2, 2.0, 2.0], (X,), "O", "N.m")
    table = Table(
        "t",
        [1.0, 1.0, 1.0, 1.0, 3.0],
        (X,),
        "T",
        "N.m",
        lower=0,
        upper=9,
        storage=Storage("uint8", 1, 2),
        rules=(Relation("o", ">="), Monotone("yaw_rate_error")),
    )
    content = CalibrationSet([table, other])
    # 1.2 rounds up to the next half, never down below the relation.
    assert mended(content, "relation", "restore gap") == [1.5, 1.5, 1.5, 2.0, 3.0]


def test_disordered_axis_moves_back_between_its_neighbours() -> None:
    table = Table("t", [1.0, 2, 3, 4], (Axis([0, 10, 2, 30], "A", "%"),), "T")
    content = CalibrationSet([table])
    remedy = offered(content, found(content, "t", "axis_order"), "move axis")
    assert remedy.settles
    moved = apply(content, remedy.change)["t"]
    assert moved.axes[0].ordered
    assert moved.values.tolist() == [1, 2, 3, 4]


def test_a_remedy_that_cannot_be_carried_out_is_not_offered() -> None:
    empty = one([np.nan] * 5)
    assert remedies_for(empty, found(empty, "t", "finite")) == ()
