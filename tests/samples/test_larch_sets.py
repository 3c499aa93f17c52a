"""The sample sets are what the invented demo scenario says, and clean but for what is meant."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from calib_model.core.axis import End, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import QUANTITIES, ROLES
from calib_model.core.rule import KINDS, Rule
from calib_model.core.storage import Storage
from calib_model.core.units import known
from calib_model.editing.change import apply as apply_change
from calib_model.editing.change import change_from_plain, change_to_plain
from calib_model.rules.check import ALWAYS, MODE_RELATION, check
from calib_model.store import read_set
from sample_sets import make_sets, recordings
from tests.samples.larch_spec import ROWS, R, Row

FOLDER = Path(make_sets.__file__).parent
CLEAN = ("normal", "low_grip", "towing")
ids = [row.id for row in ROWS]


@cache
def stored(name: str) -> CalibrationSet:
    return read_set(FOLDER / name).set


# -- the files -----------------------------------------------------------------------------


@pytest.mark.usefixtures("reading_process")
@pytest.mark.parametrize("name", make_sets.DOCUMENTS)
def test_committed_file_holds_what_the_script_makes(name: str) -> None:
    document = make_sets.DOCUMENTS[name]()
    file = read_set(FOLDER / name)
    assert file.set == document.content
    made = [change_to_plain(change) for change in document.pending]
    assert [dict(entry) for entry in file.history.entries()] == made


@pytest.fixture
def made_anew() -> Iterator[None]:
    """The makers keep what they made: forget it before a test, and after it."""
    for make in make_sets.DOCUMENTS.values():
        make.cache_clear()
    yield
    for make in make_sets.DOCUMENTS.values():
        make.cache_clear()


@pytest.mark.usefixtures("made_anew")
@pytest.mark.parametrize("side", [-np.inf, np.inf])
def test_no_value_hangs_on_the_last_bit_of_an_elementary_function(
    side: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else the committed files would not be what the script makes on another processor."""
    for name in ("exp", "tanh", "sin", "arctan"):
        true = getattr(np, name)
        monkeypatch.setattr(np, name, lambda x, true=true: np.nextafter(true(x), side))
    for name, make in make_sets.DOCUMENTS.items():
        assert make().content == stored(name)


@pytest.mark.parametrize("name", make_sets.DOCUMENTS)
def test_history_is_genuine(name: str) -> None:
    """Taking the entries back one by one fits every time, and doing them again gives the set."""
    file = read_set(FOLDER / name)
    changes = [change_from_plain(entry) for entry in file.history.entries()]
    assert len(changes) >= 2
    assert all(c.author and c.reason and c.time for c in changes)
    assert [c.time for c in changes] == sorted(c.time for c in changes)
    content = file.set
    for change in reversed(changes):
        content = apply_change(content, change.inverse())
    assert content != file.set
    for change in changes:
        content = apply_change(content, change)
    assert content == file.set


def test_script_runs_from_the_command_line(tmp_path: Path) -> None:
    """Same bytes in another process: the touch-ups' random state is fixed."""
    code = (
        "import runpy, sys, pathlib; sys.argv = ['make_sets.py'];"
        f"m = runpy.run_path({str(FOLDER / 'make_sets.py')!r}, run_name='made');"
        f"m['main'](pathlib.Path({str(tmp_path)!r}))"
    )
    environment_free = subprocess.run(
        [sys.executable, "-I", "-c", code], capture_output=True, text=True, check=False
    )
    assert environment_free.returncode == 0, environment_free.stderr
    for name in make_sets.DOCUMENTS:
        assert read_set(tmp_path / name).set == stored(name)
    for name in recordings.RECIPES:  # each with its own truth, whatever this processor rounds
        assert (tmp_path / name).is_file()
        assert (
            recordings.kept_samples(name, tmp_path).keys() == recordings.kept_samples(name).keys()
        )


# -- the tables ----------------------------------------------------------------------------


def test_every_set_has_the_42_tables_in_order() -> None:
    assert len(ROWS) == 42
    for name in make_sets.DOCUMENTS:
        assert list(stored(name).tables) == ids
    assert set(ids) == set(ROLES)


@pytest.mark.parametrize("mode", CLEAN)
def test_sets_name_programme_and_modes(mode: str) -> None:
    content = stored(f"larch_{mode}.h5")
    assert (content.programme, content.mode, content.base_mode) == ("Larch", mode, "normal")


@pytest.mark.parametrize("mode", CLEAN)
@pytest.mark.parametrize("row", ROWS, ids=ids)
def test_table_is_as_the_scenario_says(row: Row, mode: str) -> None:
    table = stored(f"larch_{mode}.h5")[row.id]
    assert (table.name, table.unit, table.role) == (row.name, row.unit, row.id)
    assert (table.lower, table.upper) == row.limits
    type_, step = row.storage.split()
    assert table.storage == Storage.of(type_, step)
    assert dict(table.relations) == {"low_grip": row.low_grip, "towing": row.towing}
    assert len(table.axes) == len(row.axes)
    for axis, text in zip(table.axes, row.axes, strict=True):
        quantity, *points = text.split()
        stepped = quantity.endswith("!")
        assert axis.quantity == quantity.rstrip("!")
        assert axis.interpolation is (Interpolation.STEP if stepped else Interpolation.LINEAR)
        assert (axis.below, axis.above) == (End.HELD, End.HELD)
        assert axis.values.tolist() == [float(p) for p in points]
        assert axis.unit == QUANTITIES[axis.quantity]
        assert axis.storage.representable(axis.values).all()
        assert axis.storage.type != "float64"
    assert table.storage.representable(table.values).all()
    assert table.values.min() >= row.limits[0]
    assert table.values.max() <= row.limits[1]
    assert known(table.unit)
    assert table.function
    assert len(table.description) > 40


@pytest.mark.parametrize("row", ROWS, ids=ids)
def test_table_states_its_shape_rules(row: Row) -> None:
    for mode in CLEAN:
        rules = stored(f"larch_{mode}.h5")[row.id].rules
        for expected in row.rules:
            assert any(_is(rule, expected) for rule in rules), expected
        # A rule that nobody asked for would be a finding that nobody can explain.
        extra = [r for r in rules if not any(_is(r, e) for e in row.rules)]
        assert {r.kind for r in extra} <= {"kink", "curvature", "locked"}


def _is(rule: Rule, expected: R) -> bool:
    if rule.kind != expected.kind:
        return False
    severity = expected.settings.get("severity", "error")
    for name, value in expected.settings.items():
        have = getattr(rule, name)
        if name == "scope":
            have = [(part.axis, part.low, part.high) for part in have]
        if have != value:
            return False
    return str(rule.severity) == severity


def test_finite_slopes_and_scopes_where_the_scenario_leaves_the_figure_open() -> None:
    content = stored("larch_normal.h5")
    (slope,) = (r for r in content["slip_gain"].rules if r.kind == "slope")
    assert np.isfinite([slope.most, slope.least]).all()
    (rate,) = (r for r in content["pre_engage_torque"].rules if r.kind == "rate_within")
    assert 50 <= rate.rate <= 500  # % per s: a foot, not a machine (common practice, no source)
    (pair,) = (r for r in content["current_for_clamp_release"].rules if r.kind == "hysteresis")
    (scope,) = pair.scope
    # "Wherever clamp is above zero": the first breakpoint above zero is 500 N.
    assert scope.axis == "clamp"
    assert 0 < scope.low <= 500


def test_every_kind_of_rule_is_in_force_somewhere() -> None:
    stated = {rule.kind for table in stored("larch_normal.h5") for rule in table.rules}
    always = {rule.kind for rule in (*ALWAYS, MODE_RELATION)}
    # A set with it is of format version 2; the shipped ones stay readable by older programs.
    assert stated | always == set(KINDS) - {"step"}


def test_shared_axes_are_shared() -> None:
    content = stored("larch_normal.h5")
    users = {key: [t.id for t in content.users_of(key)] for key in content.shared_axes}
    assert users["axis.ambient_disconnect"] == [
        "disconnect_speed",
        "reconnect_speed",
        "disconnect_delay",
    ]
    assert users["axis.clamp_branch"] == users["axis.motor_temperature_branch"]
    assert users["axis.vehicle_speed_slip"] == ids[8:13]
    assert all(len(found) >= 2 for found in users.values())


def test_descriptions_say_what_a_value_means() -> None:
    content = stored("larch_normal.h5")
    for table in content:
        torque = table.unit.startswith("N.m") and table.id != "inside_rear_brake"
        said = "at the clutch" in table.description and "2.6" in table.description
        assert said or not torque, table.id
        for axis in table.axes:
            if axis.quantity in ("steering_angle_abs", "lateral_acceleration_abs"):
                assert "absolute" in table.description, table.id
            if axis.quantity in ("steering_angle", "yaw_rate_error"):
                assert "igned" in table.description, table.id
    assert "normalised by turn direction" in content["yaw_error_torque"].description
    assert "one wheel that is braked" in content["inside_rear_brake"].description


# -- physics that a calibrator would look for first -------------------------------------------


def test_shapes_are_argued_from_the_vehicle() -> None:
    content = stored("larch_normal.h5")
    # T = faces x friction x clamp x mean radius (uniform wear; Shigley's Mechanical Engineering
    # Design, from memory): 12 x 0.12 x 12 kN x 0.055 m = 950 N.m, above every limit on torque.
    assert content["steering_limit"].values.max() < 12 * 0.12 * 12000 * 0.055
    # Hysteresis of the actuator: widest in the cold.
    apply, release = (content[f"current_for_clamp_{b}"].values for b in ("apply", "release"))
    loop = apply[-1] - release[-1]
    assert loop.argmax() == 0
    # The motor current limit (14 A) is not reached before the clamp limit (12 kN).
    assert apply.max() < 14
    # Ackermann at walking speed (5 km/h, full lock: 540 deg / 15 = 36 deg at the road wheel):
    # front axle path / rear axle path = 1 / cos(36 deg).
    front_over_rear = 1 / np.cos(np.radians(36))
    expected = 2.6 / 0.335 * 5 / 3.6 * (front_over_rear - 1)
    table = content["expected_axle_difference"]
    assert table.values[0, 1] == pytest.approx(expected, abs=0.05)
    # Weight on a 30 % hill: m g sin, with the rear axle's share after load transfer
    # (Gillespie, Fundamentals of Vehicle Dynamics, from memory).
    slope = np.arctan(0.3)
    share = 1.134 / 2.7 + 0.62 / 2.7 * np.tan(slope)
    most = 1700 * 9.81 * np.sin(slope) * share * 0.335 / 2.6
    assert content["hill_torque"].values[-1, -1] == pytest.approx(most, abs=0.5)


# -- the checks on the clean sets ---------------------------------------------------------------


@pytest.mark.parametrize("mode", CLEAN)
def test_clean_set_alone_has_no_finding(mode: str) -> None:
    report = check(stored(f"larch_{mode}.h5"))
    assert report.findings == ()
    assert {n.rule for n in report.not_checked} <= {"mode_relation"}


def test_low_grip_breaches_its_relation_at_the_two_meant_places_only() -> None:
    base, low = stored("larch_normal.h5"), stored("larch_low_grip.h5")
    report = check(low, [base])
    assert report.not_checked == ()
    found = {f.table: f for f in report.findings}
    assert list(found) == ["pre_engage_torque", "slip_target"]
    assert len(report.findings) == 2
    assert {f.rule for f in report.findings} == {"mode_relation"}

    pre = found["pre_engage_torque"]
    assert sorted(pre.axis_values) == [(-20.0, 70.0), (-20.0, 85.0), (-20.0, 100.0)]
    below = (base["pre_engage_torque"].values - low["pre_engage_torque"].values)[2, 9:]
    assert below.min() == 15
    assert below.max() == pre.amount == 20

    slip = found["slip_target"]
    assert sorted(slip.axis_values) == [(0.0, 100.0), (10.0, 100.0)]
    assert slip.amount == pytest.approx(0.8)
    assert low["slip_target"].values[:2, 5].tolist() == [4.0, 4.0]
    assert base["slip_target"].values[:2, 5].tolist() == [3.2, 3.2]

    # Seen from the base set, the same two.
    other = check(base, [low, stored("larch_towing.h5")])
    assert [(f.table, f.cells) for f in other.findings] == [
        (f.table, f.cells) for f in report.findings
    ]


def test_towing_keeps_every_relation_and_differs() -> None:
    base, tow = stored("larch_normal.h5"), stored("larch_towing.h5")
    report = check(tow, [base])
    assert report.findings == ()
    assert report.not_checked == ()
    assert tow["disconnect_allowed"].values == 0
    assert base["disconnect_allowed"].values == 1
    assert not tow["inside_rear_brake"].values.any()
    assert (tow["lateral_limit"].values[1:] < base["lateral_limit"].values[1:]).all()
    assert (tow["slip_target"].values < base["slip_target"].values).all()
    assert (tow["hill_torque"].values[1:] > base["hill_torque"].values[1:]).all()


@pytest.mark.parametrize("mode", ["low_grip", "towing"])
def test_physical_tables_are_the_same_in_every_mode(mode: str) -> None:
    base, other = stored("larch_normal.h5"), stored(f"larch_{mode}.h5")
    for row in ROWS:
        if getattr(row, mode) == "==":
            assert base[row.id] == other[row.id]


def test_touched_pre_engage_value() -> None:
    assert stored("larch_normal.h5")["pre_engage_torque"].values[3, 6] == 215
