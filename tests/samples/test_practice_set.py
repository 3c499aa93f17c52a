"""The practice set holds the eight planted mistakes and nothing else, and the check finds them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import sample_sets
from calib_model.core.calibration_set import CalibrationSet
from calib_model.rules.check import Report, check
from calib_model.store import read_set

FOLDER = Path(sample_sets.__file__).parent


@dataclass(frozen=True)
class Mistake:
    """A planted mistake, typed from the invented demo scenario."""

    table: str
    rule: str
    remedy: str
    cells: set[tuple[int, ...]]
    consequences: set[tuple[str, str]]
    """Other findings that follow from it: (table, rule)."""


LINE = {(n, 0) for n in range(10)}
MISTAKES = {
    1: Mistake(
        "pre_engage_torque",
        "outlier",
        "re-interpolate",
        {(3, 6)},
        {("pre_engage_torque", "monotone"), ("pre_engage_torque", "rate_within")},
    ),
    2: Mistake(
        "current_for_clamp_release",
        "branch_order",
        "exchange branches",
        LINE,
        {
            ("current_for_clamp_release", "hysteresis"),
            ("current_for_clamp_apply", "relation"),
            ("holding_factor", "relation"),
        },
    ),
    3: Mistake(
        "reconnect_speed",
        "hysteresis",
        "restore gap",
        {(2,), (3,)},
        {("reconnect_speed", "monotone")},
    ),
    4: Mistake("ambient_factor", "covers", "move axis", {(0,)}, set()),
    5: Mistake("clamp_limit_plate", "zero_end", "zero", {(6,)}, set()),
    6: Mistake(
        "inside_rear_brake",
        "zero_end",
        "zero",
        {(4, 5), (6, 5)},
        {("inside_rear_brake", "monotone")},
    ),
    7: Mistake(
        "expected_axle_difference",
        "covers",
        "scale axis",
        {(row, column) for row in (0, 8) for column in range(7)},
        set(),
    ),
    8: Mistake(
        "sync_window",
        "relation",
        "restore gap",
        {(3,), (4,)},
        {("sync_window", "limits"), ("sync_window", "monotone")},
    ),
}


@cache
def practice() -> CalibrationSet:
    return read_set(FOLDER / "larch_practice.h5").set


@cache
def normal() -> CalibrationSet:
    return read_set(FOLDER / "larch_normal.h5").set


@cache
def report() -> Report:
    return check(practice())


@pytest.mark.parametrize("number", MISTAKES)
def test_check_names_the_planted_place_and_the_fitting_remedy(number: int) -> None:
    mistake = MISTAKES[number]
    (finding,) = (f for f in report().of(mistake.table) if f.rule == mistake.rule)
    assert set(finding.cells) == mistake.cells
    assert mistake.remedy in finding.remedies
    assert finding.message.endswith((".", ")"))


def test_every_finding_is_one_of_the_eight_or_follows_from_one() -> None:
    found = {(f.table, f.rule) for f in report().findings}
    planted = {(m.table, m.rule) for m in MISTAKES.values()}
    consequences = set().union(*(m.consequences for m in MISTAKES.values()))
    assert found == planted | consequences
    assert {n.mode for n in report().not_checked} == {"low_grip", "towing"}, "not at hand"


def test_practice_is_the_normal_set_but_for_the_mistakes() -> None:
    base, worked = normal(), practice()
    assert (worked.mode, worked.base_mode, worked.programme) == ("normal", "normal", "Larch")
    changed = {t.id for t in worked if t != base[t.id]}
    assert changed == {m.table for m in MISTAKES.values()} | {"current_for_clamp_apply"}
    for id in changed:
        a, b = base[id], worked[id]
        assert a.settings() == b.settings()  # rules, limits and texts as they were


def test_the_changes_are_those_of_the_scenario() -> None:
    base, worked = normal(), practice()

    def cells(id: str) -> dict[tuple[int, ...], tuple[float, float]]:
        a, b = base[id].values, worked[id].values
        return {
            tuple(c): (float(a[tuple(c)]), float(b[tuple(c)])) for c in np.argwhere(a != b).tolist()
        }

    assert cells("pre_engage_torque") == {(3, 6): (215.0, 21.5)}
    for one, two in (("apply", "release"), ("release", "apply")):
        changed, partner = f"current_for_clamp_{one}", f"current_for_clamp_{two}"
        assert worked[changed].values[:, 0].tolist() == base[partner].values[:, 0].tolist()
        assert (worked[changed].values[:, 1:] == base[changed].values[:, 1:]).all()
    assert cells("reconnect_speed").keys() == {(2,), (3,)}
    limit = base["disconnect_speed"].values
    assert worked["reconnect_speed"].values[2:4].tolist() == limit[2:4].tolist()
    assert cells("clamp_limit_plate") == {(6,): (0.0, 900.0)}
    assert cells("inside_rear_brake") == {(4, 5): (0.0, 60.0), (6, 5): (0.0, 60.0)}
    assert cells("sync_window") == {(3,): (12.0, 3.0), (4,): (12.0, 3.0)}

    assert worked["ambient_factor"].axes[0].values[0] == -25
    assert (worked["ambient_factor"].axes[0].values[1:] == [-20, -10, 0, 10, 20, 35, 50]).all()
    steering = worked["expected_axle_difference"].axes[0].values
    # 540 deg at the steering wheel over a ratio of 15 is 36 deg at the road wheel.
    assert steering.tolist() == [-36, -24, -12, -6, 0, 6, 12, 24, 36]
    for id in ("ambient_factor", "expected_axle_difference"):
        assert cells(id) == {}


def test_each_branch_looks_fine_alone() -> None:
    """Mistake 2 shows only in the pair: no rule of one map alone speaks of it."""
    alone = {"monotone", "limits", "outlier", "on_raster", "finite"}
    for branch in ("apply", "release"):
        assert not alone & {f.rule for f in report().of(f"current_for_clamp_{branch}")}


def test_nearest_values_would_be_the_wrong_remedy_for_the_slip() -> None:
    """Between its neighbours lies 208.75 N.m; the nearest allowed value would be 167."""
    values = practice()["pre_engage_torque"].values
    assert (values[3, 5] + values[3, 7]) / 2 == pytest.approx(208.75)
    assert abs(208.75 - 215) < abs(values[3, 5] - 215)
