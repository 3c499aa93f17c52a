"""Binding and gaps: what cannot be used is named, and the law never reaches across a gap."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib_model.controller.binding import bind
from calib_model.controller.constants import LARCH
from calib_model.controller.inputs import INPUT_INDEX
from calib_model.controller.law import BESIDE, prepared, run
from calib_model.controller.needs import ROLE_UNITS
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import ROLES
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.errors import ModelError
from tests.controller.law_parts import drive, flat_set, rows, sample


@pytest.mark.parametrize("name", ["larch_normal", "larch_low_grip", "larch_towing"])
def test_every_role_of_the_sample_sets_is_bound(name: str) -> None:
    bound = bind(sample(name), LARCH)
    assert tuple(bound.tables) == ROLES
    assert (bound.missing, dict(bound.unusable), dict(bound.repeated)) == ((), {}, {})
    assert bound.tick_s == 0.02
    assert bound.roles_of_table("slip_gain") == ("slip_gain",)
    assert bound.roles_of_table("nothing") == ()
    assert set(ROLE_UNITS) == set(ROLES)


def _changed(role: str, **changes: object) -> CalibrationSet:
    content = sample("larch_normal")
    table = content.by_role(role)
    assert table is not None
    return content.with_table(replace(table, **changes))  # type: ignore[arg-type]


def _axis(role: str, **changes: object) -> CalibrationSet:
    table = sample("larch_normal").by_role(role)
    assert table is not None
    axis = replace(table.axes[0], shared="", **changes)  # type: ignore[arg-type]
    return _changed(role, axes=(axis, *table.axes[1:]))


@pytest.mark.parametrize(
    ("role", "content", "words"),
    [
        (
            "pre_engage_fade",
            lambda: _changed("pre_engage_fade", values=[1, 1, np.nan, 1, 1, 1, np.nan, 0]),
            "2 cells are not filled",
        ),
        ("steering_limit", lambda: _changed("steering_limit", unit="N"), "in N, the controller"),
        (
            "clamp_limit_oil",
            lambda: _axis("clamp_limit_oil", values=[-40, 0, 60, 60, 120, 140, 160]),
            "out of order",
        ),
        ("disconnect_speed", lambda: _axis("disconnect_speed", quantity="weight"), "'weight'"),
        ("disconnect_speed", lambda: _axis("disconnect_speed", quantity=""), "not bound"),
        ("pre_engage_fade", lambda: _axis("pre_engage_fade", unit="m/s"), "in m/s"),
        ("controller_tick", lambda: _changed("controller_tick", values=0.0), "above zero"),
    ],
)
def test_unusable_tables_are_named_and_the_rest_runs(
    role: str, content: object, words: str
) -> None:
    bound = bind(content(), LARCH)  # type: ignore[operator]
    assert list(bound.unusable) == [role]
    assert words in bound.unusable[role]
    assert role not in bound.tables
    ran = run(bound, drive(0, 50))
    assert ran.good.all()
    assert not ran.decided(role).any()


def test_missing_repeated_and_unknown_roles_are_named() -> None:
    one, two = Table("one", 10.0, unit="N.m", role="hill_torque"), Table("odd", 1.0, role="magic")
    other = replace(one, id="other", values=99.0)
    bound = bind(CalibrationSet([one, other, two]), LARCH)
    assert "slip_gain" in bound.missing
    assert "hill_torque" not in bound.missing
    assert bound.repeated == {"hill_torque": ("one", "other")}
    assert bound.strangers == {"odd": "magic"}
    for tables in ([one, other, two], [other, one, two]):  # their order decides nothing
        bound = bind(CalibrationSet(tables), LARCH)
        assert "2 tables play it (one and other)" in bound.unusable["hill_torque"]
        assert run(bound, rows(1, pedal=0.0)).output("torque")[0] == 0.0
    assert run(bind(CalibrationSet([one]), LARCH), rows(1, pedal=0.0)).output("torque")[0] == 10.0
    nothing = run(bind(CalibrationSet([]), LARCH), rows(2, pedal=0.0))
    assert nothing.output("torque").tolist() == [0.0, 0.0]
    assert nothing.governing.tolist() == [-1, -1]


def test_equal_units_may_be_spelled_otherwise() -> None:
    content = CalibrationSet([Table("t", 10.0, unit="N*m", role="hill_torque")])
    assert bind(content, LARCH).unusable == {}


def test_tables_are_read_as_stored() -> None:
    axis = Axis([0.0, 10.0], quantity="grade", unit="%")
    table = Table(
        "t", [0.3, 10.2], (axis,), unit="N.m", role="hill_torque",
        storage=Storage.of("uint16", "0.5"),
    )  # fmt: skip
    ran = run(bind(CalibrationSet([table]), LARCH), rows(2, grade=[0.0, 10.0]))
    assert ran.output("hill").tolist() == [0.5, 10.0]


def test_absent_inputs_leave_roles_out_with_a_reason() -> None:
    bound = bind(sample("larch_normal"), LARCH)
    inputs = drive(0, 100)
    for name in ("axle_speed_difference", "pedal"):
        inputs[:, INPUT_INDEX[name]] = np.nan
    ran = run(bound, inputs)
    assert ran.good.all()
    assert ran.left_out["slip_gain"].endswith("axle_speed_difference to work it out from")
    assert ran.left_out["pre_engage_torque"] == "pedal is not there"
    assert ran.left_out["pre_engage_fade"] == "pre_engage_torque takes no part"
    assert ran.left_out["actuator_rate"] == BESIDE["actuator_rate"]
    assert "steering_limit" not in ran.left_out
    assert ran.roles == frozenset(bound.tables) - set(ran.left_out)
    needed = prepared(bound, ran.given).needed
    assert "steering_angle" in needed
    assert not needed & {"pedal", "shaft_synchronised", "clamp", "slip_error"}


def test_given_values_spare_the_law_its_own() -> None:
    bound = bind(sample("larch_normal"), LARCH)
    inputs = drive(0, 100)
    inputs[:, INPUT_INDEX["front_slip"]] = 2.5
    ran = run(bound, inputs)
    assert ran.left_out["expected_axle_difference"].startswith("front_slip is given")
    assert ran.left_out["plate_cooling"].startswith("plate_temperature is given")
    assert (ran.output("slip") == 2.5).all()


def test_law_starts_afresh_after_a_gap() -> None:
    bound = bind(sample("larch_normal"), LARCH)
    inputs = drive(4, 400)
    broken = inputs.copy()
    broken[150:160, INPUT_INDEX["pedal"]] = np.nan  # a drop-out of something needed
    valid = np.ones(400, dtype=bool)
    valid[300:320] = False
    ran = run(bound, broken, valid=valid)
    bad = np.zeros(400, dtype=bool)
    bad[150:160] = bad[300:320] = True
    np.testing.assert_array_equal(ran.good, ~bad)
    np.testing.assert_array_equal(np.isnan(ran.outputs).any(axis=1), bad)
    assert np.isnan(ran.used[bad]).all()
    assert (ran.governing[bad] == -1).all()
    for begin, end in ((0, 150), (160, 300), (320, 400)):
        np.testing.assert_array_equal(ran.outputs[begin:end], run(bound, inputs[begin:end]).outputs)


def test_a_hole_in_what_nobody_reads_is_no_gap() -> None:
    content = flat_set(hill_torque=10.0)
    given = rows(5, pedal=[1.0, np.nan, 2.0, np.nan, 3.0])
    assert run(bind(content, LARCH), given).good.all()


def test_tick_of_the_inputs_may_be_another() -> None:
    content = flat_set(hill_torque=100.0, torque_rise_slew=100.0)
    ran = run(bind(content, LARCH), rows(3, pedal=0.0), tick_s=0.1)
    np.testing.assert_allclose(ran.output("torque"), [10, 20, 30])
    assert ran.tick_s == 0.1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"inputs": np.zeros((3, 4))}, r"shape \(3, 4\)"),
        ({"inputs": rows(3), "valid": [True]}, "3 ticks"),
        ({"inputs": rows(3), "state": np.zeros(3)}, "state of shape"),
        ({"inputs": rows(3), "tick_s": 0.0}, "tick"),
    ],
)
def test_what_does_not_fit_is_refused(arguments: dict[str, object], words: str) -> None:
    bound = bind(flat_set(hill_torque=1.0), LARCH)
    with pytest.raises(ModelError, match=words):
        run(bound, **arguments)  # type: ignore[arg-type]


def test_names_that_are_no_inputs_are_refused() -> None:
    with pytest.raises(ModelError, match="'weight' is no input"):
        prepared(bind(flat_set(hill_torque=1.0), LARCH), ["weight"])
