"""The resulting torque against the law run tick by tick, and against SciPy on the tables."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator
from scipy.ndimage import label

from calib_model.compare.relation import relation_breaches
from calib_model.controller.constants import KMH_PER_SHAFT
from calib_model.controller.law import run
from calib_model.controller.outputs import OUTPUT_INDEX, ROLE_INDEX, STATES
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import ROLES
from calib_model.core.table import Table
from calib_model.errors import ModelError
from calib_model.evidence.regions import regions
from calib_model.evidence.result import Ask, Integral, place_of, resulting
from calib_model.evidence.result_inputs import choices, filled, inputs_at
from calib_model.evidence.result_relation import check_relation, torque_relation
from tests.overlay.sets import bound, sample


def read(table: Table, *points: np.ndarray | float) -> np.ndarray:
    """Read a table by scipy.interpolate.RegularGridInterpolator, held at the ends."""
    axes = [axis.values for axis in table.axes]
    held = [np.clip(p, a[0], a[-1]) for p, a in zip(points, axes, strict=True)]
    spread = np.broadcast_arrays(*held)
    found = RegularGridInterpolator(axes, table.values)(np.stack(spread, axis=-1))
    return np.asarray(found).reshape(spread[0].shape)


def with_values(content: CalibrationSet, id: str, values: object) -> CalibrationSet:
    return content.with_table(content[id].with_values(values))


# -- against the law itself ---------------------------------------------------------------------


@pytest.mark.parametrize("integral", list(Integral))
def test_it_is_what_the_law_comes_to_when_its_inputs_are_held(integral: Integral) -> None:
    """`controller.law.run` at the controller's own tick for 100 s at each of some points."""
    rng = np.random.default_rng(5)
    content = sample("normal")
    if integral is Integral.EMPTY:
        gain = content["slip_integral_gain"]
        content = content.with_table(gain.with_values(np.zeros(gain.shape)))
    law = bound(content)
    kmh = float(law.constants.array[KMH_PER_SHAFT])
    seen = set()
    for _ in range(14):
        at = {
            "ambient_temperature": rng.uniform(-40, 30),
            "grade": rng.choice([0.0, 12.0]),
            "front_slip": rng.choice([0.0, 0.2, 1.0, 4.0, 7.0]),
            "lateral_acceleration_abs": rng.choice([0.0, 4.0]),
            "brake_state": rng.choice([0.0, 0.0, 1.0]),
            "yaw_rate_error": rng.choice([0.0, 8.0]),
            "plate_temperature": rng.choice([60.0, 190.0]),
            "inside_brake_request": rng.choice([0.0, 1.0]),
            "steering_angle": rng.choice([0.0, -500.0]),
        }
        pedal, speed = rng.uniform(0, 100), rng.choice([2.0, 30.0, 120.0])
        ask = Ask("pedal", "vehicle_speed", at, integral)
        told = resulting(bound(sample("normal")), ask, np.array([pedal]), np.array([speed]))
        points = {**at, "pedal": pedal, "vehicle_speed": speed}
        row = inputs_at(points, law, kmh)
        long = run(law, np.repeat(row, 5000, axis=0))
        assert long.good.all()
        last = long.outputs[-1]
        assert told.torque[0, 0] == pytest.approx(last[OUTPUT_INDEX["torque"]], abs=1e-6), points
        assert told.governing[0, 0] == last[OUTPUT_INDEX["governing"]], points
        assert told.disconnected[0, 0] == (STATES[int(last[OUTPUT_INDEX["state"]])]
                                           == "disconnected")  # fmt: skip
        assert told.settled[0, 0]
        seen.add(told.name_of(int(told.governing[0, 0])))
    assert len(seen) >= 4  # the points reach several parts of the law


def test_an_open_driveshaft_is_part_of_it_unless_it_is_to_stay_connected() -> None:
    law = bound(sample("normal"))
    x, y = np.array([5.0]), np.array([140.0])
    told = resulting(law, Ask("pedal", "vehicle_speed"), x, y)
    assert told.disconnected[0, 0]
    assert told.torque[0, 0] == 0.0
    assert told.name_of(int(told.governing[0, 0])) == sample("normal")["disconnect_speed"].label
    held = resulting(law, Ask("pedal", "vehicle_speed", connected=True), x, y)
    assert not held.disconnected[0, 0]
    assert held.torque[0, 0] > 0.0


def test_a_set_that_goes_back_and_forth_never_settles() -> None:
    """Reconnecting above the disconnect speed: between the two nothing comes to rest."""
    content = sample("normal")
    away = content["disconnect_speed"]
    law = bound(with_values(content, "reconnect_speed", np.full(away.shape, away.values.max() + 9)))
    ask = Ask("pedal", "vehicle_speed", {"ambient_temperature": 20.0})
    speed = float(away.values.max()) + 4
    told = resulting(law, ask, np.array([0.0]), np.array([speed, 10.0]))
    assert told.settled.tolist() == [[False], [True]]


# -- by hand, with SciPy ------------------------------------------------------------------------


def test_feed_forward_and_limits_by_scipy() -> None:
    """Largest of the three branches, then the least limit, each read by SciPy."""
    content = sample("normal")
    told = resulting(
        bound(content),
        Ask("pedal", "vehicle_speed", {"grade": 15.0, "steering_angle": 300.0}),
        pedal := np.linspace(0, 100, 33),
        speed := np.linspace(0, 40, 21),
    )
    p, v = np.meshgrid(pedal, speed)
    ambient = -10.0
    branches = {
        "pre_engage_torque": read(content["pre_engage_torque"], ambient, p)
        * read(content["pre_engage_fade"], v),
        # The wiper's axis is read in steps; state 0 is its first row.
        "cruise_base_torque": read(content["cruise_base_torque"], v, p)
        * read(content["ambient_factor"], ambient)
        * np.interp(
            ambient, content["wiper_factor"].axes[1].values, content["wiper_factor"].values[0]
        ),
        "hill_torque": read(content["hill_torque"], 15.0, p),
    }
    asked = np.max(list(branches.values()), axis=0)
    steering = read(content["steering_limit"], 300.0, v)
    lateral = read(content["lateral_limit"], 0.0, v)
    axles = np.abs(read(content["expected_axle_difference"], 300.0, v))
    friction = read(content["plate_friction"], axles, 60.0)
    clamp = min(
        float(read(content["clamp_limit_plate"], 60.0)),
        float(read(content["clamp_limit_oil"], 40.0)),
    )
    clamped = 12 * friction * clamp * 0.055  # 12 faces, mean radius of 62 and 48 mm (uniform wear)
    expected = np.minimum.reduce([asked, steering, lateral, clamped])
    current = told.governing == ROLE_INDEX["current_for_clamp_apply"]
    assert not current.any()
    assert told.torque == pytest.approx(expected)
    names = np.array(ROLES, dtype=object)[told.governing]
    by_limit = asked > np.minimum.reduce([steering, lateral, clamped]) + 1e-9
    assert (names[by_limit] == "steering_limit").all()
    assert by_limit.any()
    order = np.array(list(branches), dtype=object)
    largest = order[np.argmax(list(branches.values()), axis=0)]
    clear = ~by_limit & (asked > 0)
    assert (names[clear] == largest[clear]).all()
    assert {"pre_engage_torque", "hill_torque"} <= set(names[clear])


def test_slip_by_hand() -> None:
    """Gain times error above the target, without and with a grown integral."""
    content = sample("normal")
    law = bound(content)
    at = {"front_slip": 5.0, "vehicle_speed": 30.0, "ambient_temperature": 20.0}
    ask = Ask("pedal", "ambient_temperature", at)
    pedal = 20.0
    told = resulting(law, ask, np.array([pedal]), np.array([20.0]))
    error = 5.0 - float(read(content["slip_target"], 30.0, pedal))
    assert error > 0
    wanted = float(read(content["slip_gain"], 30.0, error)) * error
    assert told.torque[0, 0] == pytest.approx(wanted)
    assert told.name_of(int(told.governing[0, 0])) == content["slip_gain"].label
    grown = resulting(
        law, Ask("pedal", "ambient_temperature", at, Integral.GROWN), np.array([pedal]),
        np.array([20.0]),
    )  # fmt: skip
    limits = [
        float(read(content["steering_limit"], 0.0, 30.0)),
        float(read(content["lateral_limit"], 0.0, 30.0)),
    ]
    assert grown.torque[0, 0] == pytest.approx(min(limits))
    assert ROLES[int(grown.governing[0, 0])] in ("steering_limit", "lateral_limit")


# -- where it comes from ------------------------------------------------------------------------


def test_a_point_leads_to_the_governing_tables_cell() -> None:
    content = sample("normal")
    law = bound(content)
    ask = Ask("pedal", "ambient_temperature", {"vehicle_speed": 3.0})
    place = place_of(law, ask, 83.0, -21.0)
    assert (place.role, place.table_id) == ("pre_engage_torque", "pre_engage_torque")
    table = content["pre_engage_torque"]
    assert table.coordinates(place.cell) == (-20.0, 85.0)
    assert place.torque == resulting(law, ask, np.array([83.0]), np.array([-21.0])).torque[0, 0]
    # Through an input that the law works out itself: the slip error.
    slipping = Ask("front_slip", "vehicle_speed", {"pedal": 20.0, "ambient_temperature": 20.0})
    place = place_of(law, slipping, 6.0, 30.0)
    assert place.table_id == "slip_gain"
    error = 6.0 - float(read(content["slip_target"], 30.0, 20.0))
    speed, at = content["slip_gain"].coordinates(place.cell)
    axis = content["slip_gain"].axes[1].values
    assert speed == 30.0
    assert abs(at - error) == np.abs(axis - error).min()
    # Nothing governs where nothing is asked for.
    warm = {"ambient_temperature": 50.0, "front_slip": 0.0}
    nothing = with_values(
        with_values(content, "cruise_base_torque", np.zeros((6, 6))),
        "pre_engage_torque", np.zeros((10, 12)),
    )  # fmt: skip
    assert place_of(bound(nothing), Ask("pedal", "vehicle_speed", warm), 0.0, 10.0).table_id == ""


def test_what_can_be_chosen_is_what_the_tables_read() -> None:
    law = bound(sample("normal"))
    offered = {c.name: c for c in choices([law])}
    assert offered["wiper_state"].states == (0.0, 1.0, 2.0, 3.0)
    assert (offered["steering_angle"].low, offered["steering_angle"].high) == (-540.0, 540.0)
    for name in ("pedal", "vehicle_speed", "ambient_temperature"):
        points = set(offered[name].points.tolist())
        for table in law.tables.values():
            for axis in table.axes:
                if axis.quantity == name:
                    assert points >= set(axis.values.tolist()), (name, table.id)
        assert all(c.low <= c.usual <= c.high for c in offered.values())
    only = CalibrationSet([sample("normal")["steering_limit"]])
    assert [c.name for c in choices([bound(only)])] == ["vehicle_speed", "steering_angle"]
    many = np.sort(np.random.default_rng(1).uniform(0, 1, 200))
    assert set(filled(many).tolist()) >= set(many.tolist())
    assert filled(np.array([0.0, 1.0])).size > 30


def test_one_input_cannot_run_along_both_axes_and_strangers_are_refused() -> None:
    with pytest.raises(ModelError, match="both axes"):
        Ask("pedal", "pedal")
    with pytest.raises(ModelError, match="cannot be chosen"):
        Ask("pedal", "clamp")


def test_a_table_that_cannot_be_used_is_named() -> None:
    content = sample("normal")
    law = bound(with_values(content, "steering_limit", np.full((8, 6), np.nan)))
    told = resulting(law, Ask("pedal", "vehicle_speed"), np.array([10.0]), np.array([10.0]))
    assert "steering_limit" in told.left_out["steering_limit"]


# -- regions ------------------------------------------------------------------------------------


def test_regions_are_those_of_scipy() -> None:
    """scipy.ndimage.label, kind by kind; its default structure joins sides, not corners."""
    rng = np.random.default_rng(3)
    for shape in ((1, 1), (7, 9), (40, 31)):
        kinds = (rng.uniform(size=shape) * 3).astype(np.int64)
        among = rng.uniform(size=shape) < 0.8
        if not among.any():
            among[0, 0] = True
        mine = regions(kinds, among)
        assert np.array_equal(np.sum([r.mask for r in mine], axis=0), among)
        for kind in range(3):
            marks, count = label((kinds == kind) & among)
            own = [r for r in mine if r.kind == kind]
            assert len(own) == count
            for region in own:
                assert region.mask[region.place]
                assert np.array_equal(region.mask, marks == marks[region.place])
        assert [r.size for r in mine] == sorted((r.size for r in mine), reverse=True)


def test_a_label_stands_in_the_middle_of_a_block() -> None:
    kinds = np.zeros((9, 15), dtype=np.int64)
    kinds[1:8, 2:9] = 1
    block = next(r for r in regions(kinds) if r.kind == 1)
    assert block.place == (4, 5)


# -- the mode relation on the result ------------------------------------------------------------


def checked(mode_set: CalibrationSet, base: CalibrationSet, ask: Ask, first: str = "base"):
    pair = (base, mode_set) if first == "base" else (mode_set, base)
    laws = [bound(content) for content in pair]
    points = {c.name: c.points for c in choices(laws)}
    told = [resulting(law, ask, points[ask.x], points[ask.y]) for law in laws]
    return check_relation(*told, torque_relation(*pair)), told


@pytest.mark.parametrize("first", ["base", "mode"])
def test_the_planted_breach_of_the_low_grip_set_shows_in_the_result(first: str) -> None:
    """The scenario: pre-engagement at -20 degC, 70-100 %, 15-20 N.m below normal."""
    ask = Ask("pedal", "ambient_temperature", {"vehicle_speed": 0.0})
    check, _ = checked(sample("low_grip"), sample("normal"), ask, first)
    assert check.relation.sense == ">="
    assert check.relation.turned == (first == "mode")
    (breach,) = check.breaches
    assert 15.0 <= breach.amount <= 20.0
    assert (breach.mode_by, breach.base_by) == ("pre_engage_torque", "pre_engage_torque")
    assert "ambient temperature" in breach.words
    assert "decided by Pre-engage torque" in breach.words
    offered = {c.name: c.points for c in choices([bound(sample("normal"))])}
    x, y = offered["pedal"], offered["ambient_temperature"]
    assert y[breach.worst[0]] == -20.0
    columns = np.flatnonzero(breach.mask[breach.worst[0]])
    assert x[columns[0]] > 60.0  # from beyond 60 %, the last node that is right
    assert x[columns[-1]] == 100.0
    assert "breached at" in check.words


def test_tables_that_each_pass_can_make_a_result_that_fails() -> None:
    """A faster fade in low grip is free as a table, and takes torque away all the same."""
    base = sample("normal")
    mode_set = sample("low_grip")
    for id in ("pre_engage_torque", "slip_target"):  # without the two deliberate breaches
        mode_set = with_values(mode_set, id, base[id].values)
    fade = base["pre_engage_fade"].values
    mode_set = with_values(mode_set, "pre_engage_fade", np.where(fade < 1, fade * 0.5, fade))
    unequal = [t.id for t in mode_set if t != base.tables.get(t.id)]
    found, _ = relation_breaches(base, mode_set, unequal)
    assert not found
    ask = Ask("pedal", "vehicle_speed", {"ambient_temperature": -20.0})
    check, (normal, low) = checked(mode_set, base, ask)
    assert check.breaches
    mask = check.mask
    assert np.array_equal(mask, low.torque < normal.torque - 1e-6)
    assert all(b.base_by == "pre_engage_torque" for b in check.breaches)


def test_what_the_governing_tables_own_relation_asks_for_is_meant() -> None:
    """Towing: the lateral limit is at most normal's, so less torque there is what is wanted."""
    base, mode_set = sample("normal"), sample("towing")
    limit = base["lateral_limit"].values
    lower = np.maximum(limit * 0.3, 100.0)
    mode_set = with_values(mode_set, "lateral_limit", np.where(limit > 150, lower, limit))
    ask = Ask(
        "pedal", "lateral_acceleration_abs", {"vehicle_speed": 5.0, "ambient_temperature": -30.0}
    )
    check, (normal, towing) = checked(mode_set, base, ask)
    short = towing.torque < normal.torque - 1e-6
    assert short.any()
    assert not check.breaches
    assert np.array_equal(np.logical_or.reduce([m.mask for m in check.meant]), short)
    assert all(m.mode_by == "lateral_limit" for m in check.meant)
    assert "meant" in check.words


def test_no_relation_is_said_with_its_reason() -> None:
    normal = sample("normal")
    assert torque_relation(normal, normal).sense == ""
    assert "No mode relation applies" in torque_relation(normal, normal).words
    low = sample("low_grip")
    for id, sense in (("pre_engage_torque", "<="), ("cruise_base_torque", ">=")):
        table = low[id]
        low = low.with_table(replace(table, relations={**table.relations, low.mode: sense}))
    told = torque_relation(low, normal)
    assert told.sense == ""
    assert "disagree" in told.words


def test_results_of_other_points_are_not_held_against_each_other() -> None:
    law = bound(sample("normal"))
    x = np.array([1.0, 2.0])
    one = resulting(law, Ask("pedal", "vehicle_speed"), x, x)
    other = resulting(law, Ask("pedal", "grade"), x, x)
    with pytest.raises(ModelError, match="same points"):
        check_relation(one, other, torque_relation(sample("normal"), sample("low_grip")))
