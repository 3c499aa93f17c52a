"""Binding as changes, the starting rules that come along, and what is still missing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib_model.controller import law
from calib_model.controller.binding import bind
from calib_model.controller.constants import Constants
from calib_model.controller.inputs import INPUT_INDEX, INPUTS
from calib_model.controller.outputs import OUTPUT_INDEX, OUTPUTS
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import ROLES
from calib_model.core.table import Table
from calib_model.editing.change import apply, change_from_plain, change_to_plain
from calib_model.errors import EditRefused
from calib_model.roles.changes import Wanted, bound, confirm_roles, unbind, wanted, with_rules
from calib_model.roles.missing import ABILITIES, readiness
from calib_model.roles.starting import starting_rules
from calib_model.roles.suggest import suggest_roles
from calib_model.rules.check import Finding, check
from calib_model.rules.plausibility import Covers
from calib_model.rules.shape import Monotone
from tests.roles.naming import foreign


def bare(sample: CalibrationSet) -> CalibrationSet:
    """The sample as it would come from files: no roles, inputs or rules."""
    return CalibrationSet(
        [
            replace(
                table,
                role="",
                rules=(),
                relations={},
                axes=tuple(replace(a, quantity="", shared="") for a in table.axes),
            )
            for table in sample
        ]
    )


def errors(content: CalibrationSet) -> list[Finding]:
    return [f for f in check(content).findings if f.severity != "note"]


# -- binding -------------------------------------------------------------------------------


def test_a_foreign_set_is_bound_checked_and_ready_in_one_change(sample: CalibrationSet) -> None:
    content, roles = foreign(sample, "plain", "snake", 1)
    found = [one for one in suggest_roles(content).roles if roles.get(one.table) == one.role]
    change = confirm_roles(content, found)
    after = apply(content, change)
    change = with_rules(content, change, starting_rules(after, change.tables).rules)
    after = apply(content, change)
    assert len(found) >= 40
    assert apply(after, change.inverse()) == content
    assert apply(content, change_from_plain(change_to_plain(change))) == after
    # The units were only spelled in another way: the law reads them all the same.
    ready = readiness(after)
    assert set(ready.missing) == set(ROLES) - {one.role for one in found}
    assert all(after[one.table].rules for one in found)
    assert not check(after).not_checked


def test_binding_one_table_finds_its_inputs() -> None:
    axes = (Axis([0, 100], "accelerator", "percent"), Axis([0, 160], "veh speed", "kph"))
    table = Table("spd", [[1.0, 2.0], [2.0, 3.0]], axes, unit="km/h")
    content = CalibrationSet([table])
    after = apply(content, bound(content, [wanted(content, "spd", "slip_target")]))
    assert after["spd"].role == "slip_target"
    assert [(a.quantity, a.unit) for a in after["spd"].axes] == [
        ("pedal", "%"),
        ("vehicle_speed", "km/h"),
    ]


def test_what_needs_converting_is_left_and_named() -> None:
    table = Table("spd", [1.0, 2.0], (Axis([0, 100], "veh speed", "mph"),), unit="km/h")
    content = CalibrationSet([table])
    after = apply(content, bound(content, [wanted(content, "spd", "slip_dead_band")]))
    assert after["spd"].axes[0].unit == "mph"
    assert "convert the axis" in readiness(after).missing["slip_dead_band"]
    assert "is in mph, not km/h" in readiness(after).unread["spd"]
    assert {w.reason for w in starting_rules(after).waiting} >= {
        "vehicle_speed is read in mph, not km/h"
    }


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (Wanted("slip_gain", "slip_gian"), "no role 'slip_gian'. Did you mean slip_gain"),
        (Wanted("slip_gain", "slip_target"), "slip_target is played by slip_target already"),
        (Wanted("slip_gain", None, {0: "vehicle_sped"}), "Did you mean vehicle_speed"),
        (Wanted("slip_gain", None, {0: "pedal"}), "shared axis axis.vehicle_speed_slip"),
    ],
)
def test_bad_bindings_are_named(sample: CalibrationSet, asked: Wanted, message: str) -> None:
    each = [asked, Wanted("slip_target", None, {0: "vehicle_speed"})]
    with pytest.raises(EditRefused, match=message):
        bound(sample, each)


def test_two_tables_may_exchange_their_roles(sample: CalibrationSet) -> None:
    change = bound(
        sample,
        [
            Wanted("disconnect_speed", "reconnect_speed"),
            Wanted("reconnect_speed", "disconnect_speed"),
        ],
    )
    after = apply(sample, change)
    assert after["disconnect_speed"].role == "reconnect_speed"


def test_a_shared_axis_takes_its_input_in_all_its_tables(sample: CalibrationSet) -> None:
    change = bound(sample, [Wanted("slip_target", None, {0: ""})])
    after = apply(sample, change)
    users = after.users_of("axis.vehicle_speed_slip")
    assert len(users) > 3
    assert {t.axes[0].quantity for t in users} == {""}
    assert apply(after, change.inverse()) == sample


@settings(max_examples=40, deadline=None, derandomize=True)
@given(data=st.data())
def test_bindings_are_taken_back_whole(data: st.DataObject) -> None:
    speed = Axis([0.0, 10.0], "v", "kph", shared="speed")
    tables = [Table(f"t{n}", [1.0, 2.0], (speed,), unit="Nm") for n in range(4)]
    content = CalibrationSet(tables, [speed])
    roles = st.sampled_from(["", *ROLES])
    names = data.draw(st.lists(st.sampled_from(list(content.tables)), unique=True, min_size=1))
    chosen = data.draw(st.lists(roles, min_size=len(names), max_size=len(names)))
    quantity = data.draw(st.sampled_from(["", "vehicle_speed", "pedal"]))
    each = [Wanted(n, r, {0: quantity}) for n, r in zip(names, chosen, strict=True)]
    played = [r for r in chosen if r]
    if len(set(played)) < len(played):
        with pytest.raises(EditRefused, match="played by"):
            bound(content, each)
        return
    change = bound(content, each)
    after = apply(content, change)
    assert apply(after, change.inverse()) == content
    assert [after[n].role for n in names] == chosen
    assert {t.axes[0].quantity for t in after} == {quantity}
    gone = apply(after, unbind(after, names, axes=True))
    assert not any(gone[n].role or gone[n].axes[0].quantity for n in names)


# -- starting rules ------------------------------------------------------------------------


def test_the_sample_holds_to_the_starting_sheet_but_for_notes(sample: CalibrationSet) -> None:
    """Ends that are held on purpose are notes: nothing blocks, and everybody sees them."""
    offered = starting_rules(sample)
    assert offered.waiting == ()
    after = apply(sample, offered.change(sample))
    new = [f for f in check(after).findings if f not in check(sample).findings]
    assert {(f.rule, str(f.severity)) for f in new} == {("covers", "note")}
    assert len(new) == 14
    assert ("clutch_during_inside_brake", "Steering wheel angle (absolute) starts at 270°") in {
        (f.table, f.message.partition(", but")[0]) for f in new
    }


def test_a_cold_end_that_is_missing_is_named_in_every_table(sample: CalibrationSet) -> None:
    """Of the tables that read a temperature, the sample's own rules see one; these see all."""
    cold = ("ambient_temperature", "motor_temperature", "oil_temperature")
    silent, named, tables = [], [], []
    for table in sample:
        numbers = [n for n, a in enumerate(table.axes) if a.quantity in cold and a.values[0] == -40]
        for number in numbers:
            axis = replace(
                table.axes[number],
                values=np.concatenate([[-24.0], table.axes[number].values[2:]]),
                shared="",
            )
            values = np.delete(table.values, 1, axis=number)
            moved = sample.with_table(table.with_axis(number, axis, values))
            tables.append(table.id)
            seen = [f for f in errors(moved) if f.table == table.id and f.rule == "covers"]
            (silent if not seen else named).append(table.id)
            after = apply(moved, starting_rules(moved).change(moved))
            found = [f for f in errors(after) if f.table == table.id and f.rule == "covers"]
            assert found, table.id
            assert "must reach −40" in found[0].message
    assert len(silent) >= 10
    assert named == ["ambient_factor"]


@pytest.mark.parametrize(
    ("id", "cells"),
    [
        ("steering_limit", (slice(3, None), slice(None))),
        ("yaw_error_torque", (slice(6, None), slice(None))),
        ("lateral_limit", (slice(4, None), slice(None))),
    ],
)
def test_a_cliff_beyond_the_slew_is_named(
    sample: CalibrationSet, id: str, cells: tuple[slice, slice]
) -> None:
    """Monotone all along, so that the sample's own rules say nothing."""
    table = sample[id]
    values = table.values.copy()
    values[cells] = table.upper if id == "yaw_error_torque" else table.lower
    steep = sample.with_table(table.with_values(values))
    before = {f.rule for f in check(steep).of(id)}
    assert "rate_within" not in before
    after = apply(steep, starting_rules(steep).change(steep, [id]))
    (found,) = [f for f in check(after).of(id) if f.rule == "rate_within"]
    assert "slew" in found.message


def test_what_a_user_settled_on_stands(sample: CalibrationSet) -> None:
    mine = replace(sample["slip_target"], rules=(Monotone("pedal", "down", off=True),))
    offered = starting_rules(sample.with_table(mine), ["slip_target"]).rules["slip_target"]
    assert not any(isinstance(rule, Monotone) for rule in offered)
    wide = Covers("ambient_temperature", -60, 70)
    table = replace(sample["ambient_factor"], rules=(wide,))
    rules = starting_rules(sample.with_table(table), ["ambient_factor"]).rules["ambient_factor"]
    assert not any(isinstance(rule, Covers) for rule in rules)


def test_a_rule_waits_for_the_table_it_names(sample: CalibrationSet) -> None:
    alone = CalibrationSet([replace(bare(sample)["slip_dead_band"], role="slip_dead_band")])
    reasons = {w.reason for w in starting_rules(alone).waiting}
    assert reasons == {"no axis reads vehicle_speed", "no table plays slip_target yet"}


def test_other_tables_go_by_the_ids_that_play_the_roles(sample: CalibrationSet) -> None:
    renamed = CalibrationSet(
        [
            replace(sample["slip_dead_band"], rules=(), axes=(replace(a, shared="") for a in
                    sample["slip_dead_band"].axes)),
            replace(sample["slip_target"], id="SLPTGT", axes=(replace(a, shared="") for a in
                    sample["slip_target"].axes)),
        ]
    )  # fmt: skip
    rules = starting_rules(renamed).rules["slip_dead_band"]
    assert [r.reads() for r in rules if r.reads()] == [("SLPTGT",)]


# -- what is missing -----------------------------------------------------------------------


def test_every_role_belongs_to_one_ability() -> None:
    assert sorted(r for roles in ABILITIES.values() for r in roles) == sorted(ROLES)


def test_the_sample_can_do_everything(sample: CalibrationSet) -> None:
    ready = readiness(sample)
    assert {one.state for one in ready.abilities} == {"complete"}
    assert ready.words.startswith("42 of 42 roles")


def test_what_goes_with_a_missing_table_is_named(sample: CalibrationSet) -> None:
    after = apply(sample, unbind(sample, ["slip_target"]))
    (slip,) = [one for one in readiness(after).abilities if one.name == "slip control"]
    assert slip.state == "in part"
    assert slip.there == ("expected_axle_difference",)
    assert slip.lacking["slip_target"] == "no table plays it"
    assert "slip_target takes no part" in slip.lacking["slip_gain"]


# -- at work -------------------------------------------------------------------------------


def test_a_foreign_set_asks_for_the_same_torque_once_it_is_bound(sample: CalibrationSet) -> None:
    """Names, spelling of units and order of axes made foreign, values not: the law, run along one
    drive, commands what it commands with the sample."""
    content, roles = foreign(sample, "plain", "snake", 1, trim=0.0)
    found = [one for one in suggest_roles(content).roles if roles.get(one.table) == one.role]
    assert len(found) == 42
    after = apply(content, confirm_roles(content, found))
    stream = np.random.default_rng(3)
    inputs = np.full((400, len(INPUTS)), np.nan)
    for name, low, high in (
        ("ambient_temperature", -40, 40), ("pedal", 0, 100), ("vehicle_speed", 0, 150),
        ("steering_angle", -500, 500), ("yaw_rate", -30, 30), ("lateral_acceleration", -8, 8),
        ("axle_speed_difference", -2, 10), ("oil_temperature", -40, 110),
        ("motor_temperature", -40, 90), ("shaft_speed", 0, 250), ("grade", 0, 25),
    ):  # fmt: skip
        inputs[:, INPUT_INDEX[name]] = stream.uniform(low, high, len(inputs))
    for name in ("wiper_state", "brake_state", "inside_brake_request"):
        inputs[:, INPUT_INDEX[name]] = stream.integers(0, 2, len(inputs))
    runs = [law.run(bind(one, Constants()), inputs) for one in (sample, after)]
    assert runs[0].good.all()
    assert runs[0].left_out == runs[1].left_out
    current = OUTPUT_INDEX["current"]
    for column in set(range(len(OUTPUTS))) - {current}:
        ours, theirs = (one.outputs[:, column] for one in (runs[1], runs[0]))
        np.testing.assert_allclose(ours, theirs, rtol=1e-12, atol=1e-12)
    # The current lies on the raster of its tables' storage, 0.001 A, which the foreign ones lack.
    off = np.abs(runs[1].outputs[:, current] - runs[0].outputs[:, current])
    assert off.max() <= 0.0005 + 1e-12
    assert (runs[0].output("torque") > 0).mean() > 0.2
