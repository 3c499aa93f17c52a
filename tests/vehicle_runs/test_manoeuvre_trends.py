"""The ten manoeuvres on the shipped sets: what a calibrator expects must be what comes out.

Trends without a named source are common practice of the trade, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib_model.vehicle.manoeuvres import MANOEUVRES, Manoeuvre
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.runs import bench, drive, drive_all
from tests.vehicle_runs.larch_sets import (
    MODES,
    bench_of,
    driven,
    edited,
    row_of,
    shipped,
    value,
)

pytestmark = pytest.mark.timeout(400)  # the first drive may have to compile the model

NEVER_AVAILABLE = {
    # Why a metric may have no value with a shipped set.
    ("towing", "reconnect_time"): "never disconnected",
    **{
        (mode, f"limit_cycle_{what}"): "No limit cycle"
        for mode in MODES
        for what in ("frequency", "amplitude")
    },
    ("low_grip", "recovery_time"): "does not come back",
}


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("name", MANOEUVRES)
def test_every_manoeuvre_runs_on_every_shipped_set(name: str, mode: str) -> None:
    result = driven(name, mode)
    assert result.completed, result.why
    assert result.missing == {}
    assert result.trace.time[-1] == pytest.approx(result.manoeuvre.duration)
    for reading in result.metrics:
        if reading.value is None:
            assert (mode, reading.name) in NEVER_AVAILABLE, (reading.name, reading.why)
            assert NEVER_AVAILABLE[mode, reading.name] in reading.why


@pytest.mark.parametrize("name", MANOEUVRES)
def test_a_billionth_more_changes_no_metric_by_its_floor(name: str) -> None:
    """The floors' origin: what rounding leaves of a drive, grown along it, stays far below."""
    touched = LARCH.replaced(wheel_radius=LARCH["wheel_radius"] * (1 + 1e-9))
    result = bench_of().drive(MANOEUVRES[name], vehicle=touched)
    assert result.trace["speed"][-1] != driven(name).trace["speed"][-1]
    for row in replace(result, against=driven(name)).rows():
        if row.change is not None:
            assert abs(row.change) < row.reading.metric.floor / 100, row.reading.name
            assert row.verdict in ("same", "")


def test_low_grip_launches_sooner_and_with_less_slip_on_snow() -> None:
    normal, low = driven("launch_snow"), driven("launch_snow", "low_grip")
    assert value(low, "time_to_30") < value(normal, "time_to_30") - 0.02
    assert value(low, "peak_front_slip") < value(normal, "peak_front_slip") - 0.1
    assert value(driven("launch_ice", "low_grip"), "hunting_amplitude") < value(
        driven("launch_ice"), "hunting_amplitude"
    )


def test_steering_limit_keeps_wind_up_below_its_limit_and_flattened_does_not() -> None:
    shipped_result = driven("parking_circle")
    assert shipped_result.manoeuvre.limits["peak_wind_up"] == 110
    assert not shipped_result.reading("peak_wind_up").beyond
    flat = edited("steering_limit", lambda v: np.full_like(v, v.max()))
    result = drive(flat, MANOEUVRES["parking_circle"], LARCH, against=shipped())
    row = result.rows()[0]
    assert row.reading.name == "peak_wind_up"
    assert row.change is not None
    assert row.change > 30
    assert row.verdict == "worse"
    assert row.reading.beyond


def test_plate_temperature_against_a_fixed_torque_rises_then_falls_once_the_clutch_locks() -> None:
    # Own estimate of the project at friction 0.19: much heat at 100 N.m, hardly any at 150.
    one = replace(MANOEUVRES["launch_snow"], metrics=("peak_plate_temperature", "clutch_energy"))
    torques = (0.0, 40.0, 80.0, 120.0, 160.0, 200.0, 240.0, 300.0)
    heat = []
    for torque in torques:
        result = bench_of().drive(replace(one, fixed_clutch_torque=torque))
        heat.append(value(result, "peak_plate_temperature"))
    top = int(np.argmax(heat))
    assert 0 < top < len(torques) - 1, heat
    assert (np.diff(heat[: top + 1]) > 0).all()
    assert heat[-1] < heat[top] - 5
    assert heat[-1] == pytest.approx(heat[-2], abs=1.0)  # locked: more capacity changes nothing


def test_more_fixed_torque_launches_sooner_with_diminishing_returns() -> None:
    one = replace(MANOEUVRES["launch_snow"], duration=16.0)
    found = [
        bench_of().drive(replace(one, fixed_clutch_torque=torque))
        for torque in (0.0, 40.0, 80.0, 120.0, 160.0)
    ]
    times = [value(r, "time_to_30") for r in found]
    slips = [value(r, "peak_front_slip") for r in found]
    assert (np.diff(times) < 0).all(), times
    assert (np.diff(times, 2) > 0).all(), times
    assert slips[-1] < slips[0]


def test_towing_never_disconnects_and_low_grip_later() -> None:
    shares = {mode: value(driven("kick_down", mode), "share_disconnected") for mode in MODES}
    assert shares["towing"] == 0
    assert 0 < shares["low_grip"] < shares["normal"]
    assert 0.2 < value(driven("kick_down"), "reconnect_time") < 0.6  # "about 0.3 s", scenario


def test_inside_brake_tightens_the_circle_and_towing_has_none() -> None:
    change = {m: value(driven("circle_inside_brake", m), "turning_circle_change") for m in MODES}
    assert change["normal"] < change["low_grip"] < 0
    assert change["towing"] == 0
    locked = edited("inside_rear_brake", lambda v: v * 2.5)
    result = bench(locked, LARCH).drive(MANOEUVRES["circle_inside_brake"])
    # Above about 220 N.m the wheel locks on packed snow (the table's own reason).
    assert value(result, "rear_wheel_lock_time") > 1
    assert value(driven("circle_inside_brake"), "rear_wheel_lock_time") == 0


def test_brake_control_opens_the_clutch_in_time_only_with_a_fast_fall() -> None:
    slow = edited("torque_fall_slew", lambda v: np.full_like(v, 100.0))
    result = bench(slow, LARCH).drive(MANOEUVRES["lane_change_brake"])
    quick = driven("lane_change_brake")
    assert value(quick, "clutch_opening_time") < 0.5
    late = result.reading("clutch_opening_time")
    assert late.value is None or late.value > value(quick, "clutch_opening_time") + 0.1
    assert value(result, "residual_torque") > value(quick, "residual_torque")


def test_a_slow_fall_of_torque_holds_on_longer_after_the_patch() -> None:
    slow = bench(edited("torque_fall_slew", lambda v: np.full_like(v, 300.0)), LARCH)
    result, good = slow.drive(MANOEUVRES["low_to_high_patch"]), driven("low_to_high_patch")
    assert value(result, "release_time") > value(good, "release_time") + 0.1


def test_heat_lowers_the_limit_and_lets_go_again() -> None:
    result = driven("repeated_hill_starts")
    assert 120 < value(result, "peak_plate_temperature") < 260
    assert value(result, "time_derated") > 5
    assert value(result, "recovery_time") > 5
    early = edited("slip_power_derate", lambda v: v * 0.08)
    derated = bench(early, LARCH).drive(MANOEUVRES["repeated_hill_starts"])
    assert value(derated, "peak_plate_temperature") < value(result, "peak_plate_temperature")


# -- an edit shows where it is read, and nowhere else -----------------------------------------


def _edited_pre_engagement(at: float) -> object:
    row = row_of("pre_engage_torque", "ambient_temperature", at)

    def change(values: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        values[row] *= 0.5
        return values

    return edited("pre_engage_torque", change)


def test_an_edit_at_the_launch_temperature_changes_the_launch_and_one_at_40_does_not() -> None:
    cold = MANOEUVRES["launch_snow"]
    assert cold.start.ambient_temperature == -20
    before = driven("launch_snow")
    changed = bench(_edited_pre_engagement(-20.0), LARCH).drive(cold)  # type: ignore[arg-type]
    assert value(changed, "peak_front_slip") > value(before, "peak_front_slip") + 0.1
    # 35 and 50 degC are the breakpoints on either side of 40.
    content = _edited_pre_engagement(35.0)
    hot = bench(content, LARCH).drive(cold)  # type: ignore[arg-type]
    for name, column in before.trace.columns.items():
        np.testing.assert_array_equal(hot.trace.columns[name], column, err_msg=name)
    summer = replace(cold, start=replace(cold.start, ambient_temperature=40.0))
    assert not np.array_equal(
        bench(content, LARCH).trace(summer)["clutch_torque"],  # type: ignore[arg-type]
        bench_of().trace(summer)["clutch_torque"],
    )


def test_runs_repeat_to_the_last_bit_and_a_seed_changes_the_noise() -> None:
    one = MANOEUVRES["launch_ice"]
    first, second = bench_of().trace(one, seed=3), bench_of().trace(one, seed=3)
    for name in first.columns:
        np.testing.assert_array_equal(first.columns[name], second.columns[name])
    other = bench_of().trace(one, seed=4)
    assert not np.array_equal(other["clutch_torque"], first["clutch_torque"])


# -- the plant keeps its own truth ----------------------------------------------------------------


def _worst_torque_error(result_trace: object) -> float:
    trace = result_trace
    moving = trace["clutch_slip"] > 1.0  # type: ignore[index]
    error = np.abs(trace["clutch_capacity"] - trace["law_torque"])[moving]  # type: ignore[index]
    return float(np.median(error))


SLIPPING: Manoeuvre = MANOEUVRES["repeated_hill_starts"]


def test_exchanged_clamp_branches_show_in_the_trace() -> None:
    content = shipped()
    apply, release = content["current_for_clamp_apply"], content["current_for_clamp_release"]
    exchanged = content.replaced(
        {
            apply.id: replace(apply, values=np.array(release.values)),
            release.id: replace(release, values=np.array(apply.values)),
        }
    )
    good = bench_of().trace(SLIPPING)
    bad = bench(exchanged, LARCH).trace(SLIPPING)
    assert _worst_torque_error(bad) > 3 * _worst_torque_error(good)
    # The set believes it gets what it asks for: the commanded torque alone does not show it.
    assert bad["clutch_capacity"].max() < good["clutch_capacity"].max() - 30


def test_a_wrong_friction_table_shows_in_the_trace() -> None:
    # The set believes a third more friction than there is: a quarter of the torque is missing.
    wrong = bench(edited("plate_friction", lambda v: v * 4 / 3), LARCH).trace(SLIPPING)
    good = bench_of().trace(SLIPPING)
    moving = (wrong["clutch_slip"] > 1) & (wrong["law_torque"] > 80)
    share = wrong["clutch_capacity"][moving] / wrong["law_torque"][moving]
    assert np.median(share) == pytest.approx(0.75, abs=0.05)
    moving = (good["clutch_slip"] > 1) & (good["law_torque"] > 80)
    share = good["clutch_capacity"][moving] / good["law_torque"][moving]
    assert np.median(share) == pytest.approx(1.0, abs=0.05)


def test_a_touch_point_too_low_shows_in_the_trace() -> None:
    # The set believes that the plates touch, and press, at 0.4 A less than they do.
    low = edited("touch_point_current", lambda v: v - 0.4)
    apply = edited("current_for_clamp_apply", lambda v: v - 0.4)["current_for_clamp_apply"]
    late = bench(low.replaced({apply.id: apply}), LARCH).drive(MANOEUVRES["launch_snow"])
    good = driven("launch_snow")
    assert value(late, "time_to_first_clamp") > value(good, "time_to_first_clamp")
    first = good.trace.time < 2
    missing = (good.trace["clutch_capacity"] - late.trace["clutch_capacity"])[first]
    assert missing.max() > 20
    # Seen while it comes late; the drive's own peak is one of the later slip control.
    assert late.trace["front_slip"][first].max() > good.trace["front_slip"][first].max() + 0.5


def test_a_narrow_synchronising_window_never_reconnects_and_says_so() -> None:
    narrow = edited("sync_window", lambda v: np.full_like(v, 0.5))
    result = bench(narrow, LARCH).drive(MANOEUVRES["kick_down"])
    found = result.reading("reconnect_time")
    assert found.value is None
    assert "never completed" in found.why
    assert "rad/s from the front axle" in found.why
    assert "0.5 rad/s" in found.why
    assert value(result, "reconnects_per_hour") == 0
    assert any("never completed" in remark for remark in result.trace.remarks)


# -- what is missing, and what is beyond the model ----------------------------------------------


def test_what_is_missing_is_named_and_what_can_run_runs() -> None:
    content = edited("slip_gain", lambda v: np.where(v == v.max(), np.nan, v))
    content = content.replaced({"hill_torque": None})
    results = drive_all(content, MANOEUVRES.values(), LARCH)
    assert len(results) == 10
    for result in results:
        assert "slip_gain" in result.missing
        assert "1 cell" in result.missing["slip_gain"]
        assert "hill_torque" in result.missing
        assert result.completed, result.why


def test_a_run_beyond_the_model_says_so_and_gives_no_numbers() -> None:
    one = MANOEUVRES["steady_circle"]
    wild = replace(
        one,
        surface=MANOEUVRES["parking_circle"].surface,
        start=replace(one.start, speed=110.0),
        driver=replace(
            one.driver, speed_target=((0.0, 110.0),), steering=((0.0, 0.0), (0.5, 400.0))
        ),
    )
    result = bench(shipped(), LARCH.replaced(centre_height=1.4)).drive(wild)
    assert not result.completed
    assert "lifts" in result.why
    assert all(r.value is None and result.why in r.why for r in result.metrics)


def test_before_and_after_of_the_same_set_is_the_same() -> None:
    result = drive(shipped(), MANOEUVRES["launch_snow"], LARCH, against=shipped())
    assert {row.verdict for row in result.rows()} == {"same"}
    assert all(row.change == 0 for row in result.rows())
