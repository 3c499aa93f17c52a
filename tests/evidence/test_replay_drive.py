"""Replay of the sample sets: tables against SciPy, moments and cells, statistics, A against B."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.interpolate import RegularGridInterpolator

from calib_model.controller.constants import LARCH
from calib_model.controller.outputs import OUTPUT_INDEX
from calib_model.core.axis import Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import digest
from calib_model.core.roles import ROLES
from calib_model.core.table import Table
from calib_model.errors import ModelError
from calib_model.evidence.coverage import coverage
from calib_model.evidence.replay import LIMIT_ROLES, Replay, compare_replays, replay
from tests.evidence.made_drives import TICK, sample, ticks_of, winter_round


@pytest.fixture(scope="module")
def normal() -> CalibrationSet:
    return sample("normal")


@pytest.fixture(scope="module")
def along(normal: CalibrationSet) -> Replay:
    return replay(normal, winter_round(120.0), LARCH)


@pytest.fixture(scope="module")
def low_grip(along: Replay) -> Replay:
    return replay(sample("low_grip"), along.ticks, LARCH)


# -- what tables read ----------------------------------------------------------------------


def by_scipy(table: Table, points: tuple[np.ndarray, ...]) -> np.ndarray:
    """The same lookup by SciPy and numpy: step axes to the breakpoint below, ends held."""
    held = []
    for axis, x in zip(table.axes, points, strict=True):
        if axis.interpolation is Interpolation.STEP:
            low = np.searchsorted(axis.values, x, side="right") - 1
            x = axis.values[np.clip(low, 0, None)]
        held.append(np.clip(x, axis.values[0], axis.values[-1]))
    if not held:
        return np.full(0, float(table.values))
    if len(held) == 1:
        return np.interp(held[0], table.axes[0].values, table.values)
    grid = RegularGridInterpolator([a.values for a in table.axes], table.values)
    return np.asarray(grid(np.stack(held, axis=-1)))


def test_every_table_reads_as_scipy_does_along_a_published_cycle(
    published: Path, normal: CalibrationSet
) -> None:
    # Outside check: RegularGridInterpolator and numpy.interp along the UDDS speed trace, which
    # the FASTSim package carries (EPA's urban schedule); pedal from its acceleration.
    cycle = pd.read_csv(published / "fastsim" / "resources" / "cycles" / "udds.csv")
    seconds, metres = cycle["cycSecs"].to_numpy(float), cycle["cycMps"].to_numpy(float)
    assert seconds[-1] == 1369, "UDDS lasts 1369 s"

    def speed(t: np.ndarray) -> np.ndarray:
        return np.interp(t, seconds, metres) * 3.6

    def pedal(t: np.ndarray) -> np.ndarray:
        rise = np.gradient(np.interp(t, seconds, metres), TICK)
        return np.clip(12 + 40 * rise, 0, 100)

    ticks = winter_round(1369.0, vehicle_speed=speed, pedal=pedal)
    found = replay(normal, ticks, LARCH)
    assert not found.left_out
    assert len(found.tables) == 42
    for id, values in found.tables.items():
        table = normal[id]
        if not table.axes:
            np.testing.assert_array_equal(values, np.full(ticks.time.size, float(table.values)))
            continue
        expected = by_scipy(table, found.points(id))
        span = max(float(np.ptp(table.values)), 1e-9)
        np.testing.assert_allclose(values, expected, rtol=0, atol=1e-12 * span * 100, err_msg=id)


def test_tables_read_what_the_law_worked_out_itself(along: Replay) -> None:
    # Gain times error plus integral is the slip demand: the gain's table was fed the law's error.
    for name, id in (("slip_error", "slip_gain"), ("clamp", "holding_factor")):
        (axis,) = (i for i, a in enumerate(along.content[id].axes) if a.quantity == name)
        np.testing.assert_array_equal(along.points(id)[axis], along.run.input(name))
    error, gain = along.output("slip_error"), along.tables["slip_gain"]
    acting = error > 0
    assert acting.sum() > 100
    free = acting & (along.output("limited") == along.output("demand"))
    difference = (along.output("slip_demand") - gain * error)[free]
    assert (difference >= -1e-9).all(), "the integral never asks for less than nothing"


def test_a_table_without_its_input_is_left_out_with_the_reason(normal: CalibrationSet) -> None:
    ticks = winter_round(4.0, grade=np.nan, oil_temperature=np.nan)
    found = replay(normal, ticks, LARCH)
    assert "grade" in found.left_out["hill_torque"]
    assert "oil temperature" in found.left_out["clamp_limit_oil"]
    assert "hill_torque" not in found.tables
    assert "grade" in found.roles_left_out["hill_torque"]
    with pytest.raises(KeyError):
        found.tables["hill_torque"]
    with pytest.raises(ModelError, match="grade"):
        found.cells_at("hill_torque", 3)
    assert "hill_torque" not in coverage(normal, found, ticks)


def test_an_axis_in_another_unit_is_fed_in_its_own(normal: CalibrationSet) -> None:
    ticks = winter_round(20.0)
    table = normal["pre_engage_fade"]
    axis = replace(table.axes[0], values=table.axes[0].values / 3.6, unit="m/s", shared="")
    other = normal.replaced({"pre_engage_fade": replace(table, axes=(axis,), role="")})
    ours = replay(normal, ticks, LARCH).tables["pre_engage_fade"]
    theirs = replay(other, ticks, LARCH).tables["pre_engage_fade"]
    np.testing.assert_allclose(theirs, ours, rtol=1e-12)


def test_a_set_with_another_tick_is_refused(normal: CalibrationSet) -> None:
    with pytest.raises(ModelError, match="20 ms"):
        replay(normal, ticks_of(2.0, tick_s=0.01, pedal=1.0), LARCH)


# -- moments and cells ---------------------------------------------------------------------


def test_the_cells_of_a_moment_give_the_value_read(along: Replay) -> None:
    for id in ("pre_engage_torque", "steering_limit", "wiper_factor", "plate_heat_capacity"):
        for tick in (0, 77, 2500, 5999):
            uses = along.cells_at(id, tick)
            assert sum(u.weight for u in uses) == pytest.approx(1.0)
            assert [abs(u.weight) for u in uses] == sorted((u.weight for u in uses), reverse=True)
            read = sum(u.weight * u.value for u in uses)
            assert read == pytest.approx(float(along.tables[id][tick]), rel=1e-12)


def test_a_cell_leads_to_just_the_moments_that_used_it(along: Replay) -> None:
    id, time = "steering_limit", along.ticks.time
    table = along.content[id]
    used = {cell: np.zeros(time.size, bool) for cell in np.ndindex(table.shape)}
    for tick in range(0, time.size, 7):
        for use in along.cells_at(id, tick):
            used[use.cell][tick] = True
    for cell in used:
        inside = np.zeros(time.size, bool)
        for stretch in along.moments_of(id, cell):
            inside |= (time >= stretch.start - 1e-9) & (time < stretch.end - 1e-9)
        np.testing.assert_array_equal(inside[::7], used[cell][::7], err_msg=str(cell))


def test_moments_say_how_long_the_table_decided(along: Replay) -> None:
    id = "steering_limit"
    mask = along.decided(id)
    assert mask is not None
    stretches = [
        s for cell in np.ndindex(along.content[id].shape) for s in along.moments_of(id, cell)
    ]
    assert all(0 <= s.decided <= s.end - s.start + 1e-9 for s in stretches)
    (cell,) = [u.cell for u in along.cells_at(id, int(np.flatnonzero(mask)[0]))][:1]
    deciding = along.moments_of(id, cell, deciding=True)
    assert deciding
    assert all(s.decided == pytest.approx(s.end - s.start) for s in deciding)


def test_a_gap_is_no_moment_and_starts_the_law_afresh(normal: CalibrationSet) -> None:
    valid = np.ones(1000, bool)
    valid[400:500] = False
    found = replay(normal, winter_round(20.0, valid=valid), LARCH)
    assert found.cells_at("pre_engage_torque", 450) == ()
    assert np.isnan(found.output("torque")[400:500]).all()
    for cell in np.ndindex(normal["pre_engage_torque"].shape):
        for s in found.moments_of("pre_engage_torque", cell):
            assert s.end <= 8.0 + 1e-9 or s.start >= 10.0 - 1e-9, "no stretch reaches over the gap"
    assert found.deciding_at(450) == ()
    assert found.governing_at(450) is None
    covered = coverage(normal, found, found.ticks)["pre_engage_torque"]
    assert covered.seconds == pytest.approx(18.0)


def test_the_tables_that_decided_at_a_moment(along: Replay) -> None:
    for tick in range(0, 6000, 211):
        number = int(along.output("governing")[tick])
        named = along.deciding_at(tick)
        if number >= 0:
            assert named[0] == along.content.by_role(ROLES[number]).id  # type: ignore[union-attr]
            assert along.governing_at(tick) is along.content[named[0]]
        for id in named:
            mask = along.decided(id)
            assert mask is not None
            assert mask[tick]


def test_a_moment_is_the_tick_that_holds_then(along: Replay) -> None:
    assert [along.tick_at(s) for s in (-5.0, 0.0, 0.019, 0.02, 0.039, 1.0, 1e9)] == [
        0, 0, 0, 1, 1, 50, 5999,
    ]  # fmt: skip


# -- in total ------------------------------------------------------------------------------


def test_time_governed_adds_up_and_is_what_pandas_counts(along: Replay) -> None:
    stats = along.stats()
    assert stats.seconds == pytest.approx(120.0)
    assert sum(stats.governed.values()) + stats.idle_seconds == pytest.approx(stats.valid_seconds)
    # Outside check: pandas counts the same.
    counts = pd.Series(along.output("governing")).value_counts()
    for role, seconds in stats.governed.items():
        assert seconds == pytest.approx(counts[ROLES.index(role)] * TICK)
    assert set(stats.limited) <= set(LIMIT_ROLES)
    assert stats.limited_seconds == pytest.approx(sum(stats.limited.values()))
    torque = stats.outputs["torque"]
    series = pd.Series(along.output("torque"))
    assert (torque.low, torque.high) == (series.min(), series.max())
    assert torque.percentiles[95.0] == pytest.approx(series.quantile(0.95))
    assert len(stats.outputs) == len(OUTPUT_INDEX)


def test_disconnections_are_counted(normal: CalibrationSet) -> None:
    # Warm and fast: disconnected after the delay; then slow again. Twice.
    def speed(t: np.ndarray) -> np.ndarray:
        return np.where(t % 60 < 45, 125.0, 20.0)

    ticks = winter_round(
        120.0, vehicle_speed=speed, pedal=5.0, ambient_temperature=25.0, grade=0.0,
        steering_angle=0.0, yaw_rate=0.0, lateral_acceleration=0.0, axle_speed_difference=0.0,
        oil_temperature=60.0, brake_state=0.0, wiper_state=0.0,
    )  # fmt: skip
    stats = replay(normal, ticks, LARCH).stats()
    assert (stats.disconnections, stats.reconnections) == (2, 2)
    assert stats.reconnections_per_hour == pytest.approx(60.0)
    delay = float(normal["disconnect_delay"].values[-2])
    assert 0.1 < stats.disconnected_share < (45 - min(delay, 1)) / 60


# -- A against B ---------------------------------------------------------------------------


def test_b_less_a(along: Replay, low_grip: Replay) -> None:
    found = compare_replays(along, low_grip)
    torque = found.outputs["torque"]
    less = low_grip.output("torque") - along.output("torque")
    np.testing.assert_array_equal(found.difference("torque"), less)
    place = int(np.abs(less).argmax())
    assert (torque.largest, torque.largest_at) == (less[place], along.ticks.time[place])
    assert torque.rms == pytest.approx(float(np.sqrt(np.mean(less**2))))
    assert torque.apart == pytest.approx(float((less != 0).sum() * TICK))
    assert "pre_engage_torque" in found.tables
    assert "plate_friction" not in found.tables, "the same in both sets"
    assert found.governed_otherwise == pytest.approx(found.governing_differs.sum() * TICK)
    assert found.outputs["limit_brake_control"].apart == 0, "infinite in both is no difference"
    assert "state" not in found.outputs


def test_a_set_against_itself_differs_nowhere(along: Replay) -> None:
    found = compare_replays(along, along)
    assert not found.tables
    assert all(d.apart == 0 for d in found.outputs.values())
    assert (found.governed_otherwise, found.state_otherwise) == (0, 0)


def test_an_edit_that_the_drive_never_reached_is_named(along: Replay) -> None:
    table = along.content["pre_engage_torque"]
    values = table.values.copy()
    values[0, 0] += 5  # -40 degC, and this drive is at -8
    edited = along.content.replaced({table.id: table.with_values(values)})
    found = compare_replays(along, replay(edited, along.ticks, LARCH))
    assert found.nowhere == ("pre_engage_torque",)
    assert found.outputs["torque"].apart == 0


def test_two_drives_cannot_be_compared(along: Replay, normal: CalibrationSet) -> None:
    with pytest.raises(ModelError, match="two drives"):
        compare_replays(along, replay(normal, winter_round(10.0), LARCH))


def test_the_replay_carries_the_digest_of_what_ran(along: Replay, normal: CalibrationSet) -> None:
    assert along.digest == digest(normal)
    assert along.role_of("steering_limit") == "steering_limit"
    assert along.in_chain("steering_limit")
    assert not along.in_chain("actuator_rate")
    assert along.decided("actuator_rate") is None


def test_a_drive_of_no_ticks_is_empty_not_an_error(normal: CalibrationSet) -> None:
    found = replay(normal, ticks_of(0.0), LARCH)
    stats: Any = found.stats()
    assert stats.valid_seconds == 0
    assert np.isnan(stats.disconnected_share)
    covered = coverage(normal, found, found.ticks)
    assert all(one.seconds == 0 for one in covered.values())
