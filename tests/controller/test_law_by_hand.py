"""The torque law against examples worked by hand and against closed forms.

The semantics are the project's own; the arithmetic beside each test is done by hand.
"""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.controller.binding import bind
from calib_model.controller.law import STATES, Run, run, settled
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import ROLES
from tests.controller.law_parts import ROUND, flat_set, rows, table


def _names(numbers: np.ndarray) -> list[str]:
    return [ROLES[int(n)] if n >= 0 else "" for n in numbers]


def test_eight_ticks_worked_by_hand() -> None:
    # Feed-forward: pre-engage 100 x 0.5 = 50, cruise 20 x 1.5 x 1.2 = 36, hill 40: 50 N.m.
    # Slip: (11 - 1) rad/s x 0.5 = 5 km/h, error 3; gain 30: 90, integral 50 x 3 x 0.02 = 3:
    # 93 N.m. The steering limit leaves 80, so the integral is cut to 80 - 90 < 0: 0.
    # Rise 1000 N.m/s is 20 N.m a tick: 20, 40, 60, 80. From tick 4 on slip is (5 - 1) x 0.5 = 2,
    # just the target: the integral (0) is held and feed-forward decides; fall 500 N.m/s: 10 a tick.
    content = CalibrationSet(
        [
            *flat_set(
                pre_engage_torque=100.0,
                pre_engage_fade=0.5,
                cruise_base_torque=20.0,
                ambient_factor=1.5,
                wiper_factor=1.2,
                hill_torque=40.0,
                expected_axle_difference=1.0,
                slip_dead_band=1.0,
                slip_target=2.0,
                slip_gain=30.0,
                slip_integral_gain=50.0,
                slip_integral_release=200.0,
                steering_limit=80.0,
                torque_rise_slew=1000.0,
                torque_fall_slew=500.0,
                controller_tick=20.0,
            ),
            table("current_for_clamp_apply", [1.0, 5.0], ("clamp", [0.0, 4000.0])),
            table("current_for_clamp_release", [0.5, 4.5], ("clamp", [0.0, 4000.0])),
        ]
    )
    bound = bind(content, ROUND)
    assert bound.unusable == {}
    ran = run(bound, rows(8, axle_speed_difference=[11, 11, 11, 11, 5, 5, 5, 5]))
    assert ran.left_out == {}
    np.testing.assert_allclose(ran.output("feed_forward"), 50.0)
    np.testing.assert_allclose(ran.output("slip"), [5] * 4 + [2] * 4)
    np.testing.assert_allclose(ran.output("slip_error"), [3] * 4 + [0] * 4)
    np.testing.assert_allclose(ran.output("slip_demand"), [93] * 4 + [0] * 4)
    np.testing.assert_allclose(ran.output("integral"), 0.0)
    np.testing.assert_allclose(ran.output("limited"), [80] * 4 + [50] * 4)
    np.testing.assert_allclose(ran.output("torque"), [20, 40, 60, 80, 70, 60, 50, 50])
    np.testing.assert_allclose(ran.output("clamp"), [400, 800, 1200, 1600, 1400, 1200, 1000, 1000])
    # Applying 1 + clamp/1000 while it rises, releasing half an ampere less while it falls.
    np.testing.assert_allclose(ran.output("current"), [1.4, 1.8, 2.2, 2.6, 1.9, 1.7, 1.5, 1.5])
    assert _names(ran.governing) == [
        *["torque_rise_slew"] * 3,
        "steering_limit",
        *["torque_fall_slew"] * 2,
        *["pre_engage_torque"] * 2,
    ]
    assert ran.decided("pre_engage_fade").tolist() == [False] * 6 + [True] * 2
    assert not ran.decided("wiper_factor").any()
    assert set(ran.output("state")) == {STATES.index("connected")}


def _slip_set(**values: float) -> CalibrationSet:
    base = {
        "slip_dead_band": 1.0,
        "slip_target": 2.0,
        "slip_gain": 40.0,
        "slip_integral_gain": 100.0,
        "slip_integral_release": 200.0,
    }
    return flat_set(**{**base, **values})


def _slipping(kmh: np.ndarray, content: CalibrationSet) -> Run:
    return run(bind(content, ROUND), rows(kmh.size, front_slip=kmh))


def test_the_integral_grows_holds_and_lets_go_by_its_closed_form() -> None:
    # Error 1 km/h for 10 ticks, slip between band and target for 10, then none: the integral is
    # 100 x 1 x 0.02 = 2 a tick, held, and released by 200 x 0.02 = 4 a tick.
    ran = _slipping(np.repeat([3.0, 1.5, 0.5], 10), _slip_set())
    k = np.arange(1, 11)
    want = np.concatenate([2.0 * k, np.full(10, 20.0), np.maximum(20.0 - 4.0 * k, 0.0)])
    np.testing.assert_allclose(ran.output("integral"), want, atol=1e-12)
    want[:10] += 40.0
    np.testing.assert_allclose(ran.output("torque"), want, atol=1e-12)
    assert _names(ran.governing) == (
        ["slip_gain"] * 10 + ["slip_integral_gain"] * 10 + ["slip_integral_release"] * 4 + [""] * 6
    )


def test_slip_at_the_dead_band_is_none_and_at_the_target_no_error() -> None:
    # The band and the target belong to the lower side: at 1 km/h the integral of 20 is released
    # by 4 a tick, at 2 km/h it is held.
    ran = _slipping(np.repeat([3.0, 2.0, 1.0], 10), _slip_set())
    k = np.arange(1, 11)
    want = np.concatenate([2.0 * k, np.full(10, 20.0), np.maximum(20.0 - 4.0 * k, 0.0)])
    np.testing.assert_allclose(ran.output("integral"), want, atol=1e-12)


@pytest.mark.parametrize("limit", ["steering_limit", "clamp_limit_plate", "lateral_limit"])
def test_a_limit_does_not_wind_the_integral_up(limit: str) -> None:
    # Proportional part 40 x 1; a limit of 70 N.m (1400 N at 0.05 N.m/N) leaves the integral 30,
    # however long it lasts; it is gone 30/200 s = 7.5 ticks after the slip is.
    content = _slip_set(**{limit: 1400.0 if limit.startswith("clamp") else 70.0})
    slipping, after = 1500, 12
    ran = _slipping(np.repeat([3.0, 0.0], [slipping, after]), content)
    integral = ran.output("integral")
    np.testing.assert_allclose(integral[:15], 2.0 * np.arange(1, 16))
    np.testing.assert_allclose(integral[15:slipping], 30.0, atol=1e-9)
    gone = np.maximum(30.0 - 4.0 * np.arange(1, after + 1), 0.0)
    np.testing.assert_allclose(integral[slipping:], gone, atol=1e-9)
    assert ran.output("torque").max() <= 70.0 + 1e-9


def test_a_falling_derate_takes_the_integral_along_and_gives_it_back_by_growth_only() -> None:
    # Plates 1400 N at 0.05 N.m/N; the derate halves it: 35 N.m, less than the proportional 40.
    derate = table("slip_power_derate", [1.0, 0.5], ("slip_power", [0.0, 100.0]))
    content = CalibrationSet([*_slip_set(clamp_limit_plate=1400.0), derate])
    power = np.repeat([0.0, 100.0, 0.0], [50, 50, 20])
    ran = run(bind(content, ROUND), rows(120, front_slip=3.0, slip_power=power))
    np.testing.assert_allclose(ran.output("torque")[50:100], 35.0)
    np.testing.assert_allclose(ran.output("integral")[50:100], 0.0)
    back = np.minimum(2.0 * np.arange(1, 21), 30.0)
    np.testing.assert_allclose(ran.output("integral")[100:], back, atol=1e-9)
    assert _names(ran.governing[50:100]) == ["slip_power_derate"] * 50


@pytest.mark.parametrize(
    ("plate", "oil", "torque", "by"),
    [(1400.0, 1000.0, 50.0, "clamp_limit_oil"), (800.0, 1000.0, 40.0, "clamp_limit_plate")],
)
def test_the_smaller_clamp_limit_holds_and_is_named(
    plate: float, oil: float, torque: float, by: str
) -> None:
    # At 0.05 N.m/N; 100 N.m are asked for.
    content = flat_set(hill_torque=100.0, clamp_limit_plate=plate, clamp_limit_oil=oil)
    ran = run(bind(content, ROUND), rows(3))
    np.testing.assert_allclose(ran.output("torque"), torque)
    assert _names(ran.governing) == [by] * 3


def test_slew_follows_analytic_ramps() -> None:
    # A step to 100 N.m and back: rise 400 N.m/s, fall 1000 N.m/s.
    content = CalibrationSet(
        [
            table("hill_torque", [0.0, 100.0], ("grade", [0.0, 10.0])),
            *flat_set(torque_rise_slew=400.0, torque_fall_slew=1000.0),
        ]
    )
    grade = np.repeat([10.0, 0.0], 25)
    ran = run(bind(content, ROUND), rows(50, grade=grade))
    t = 0.02 * np.arange(1, 26)
    want = np.concatenate([np.minimum(400 * t, 100.0), np.maximum(100.0 - 1000 * t, 0.0)])
    np.testing.assert_allclose(ran.output("torque"), want, atol=1e-9)


def test_brake_control_opens_fast_and_to_what_is_left() -> None:
    # 500 N.m/s without brake control, 5000 N.m/s with it: 100 N.m fall to 20 in one tick.
    fall = table("torque_fall_slew", [500.0, 5000.0], ("brake_state", [0.0, 1.0]))
    content = CalibrationSet([*flat_set(hill_torque=100.0, brake_control_torque=20.0), fall])
    ran = run(bind(content, ROUND), rows(6, brake_state=[0, 0, 1, 1, 0, 0]))
    np.testing.assert_allclose(ran.output("torque"), [100, 100, 20, 20, 100, 100])
    assert _names(ran.governing[2:4]) == ["brake_control_torque"] * 2
    assert np.isinf(ran.output("limit_brake_control")[[0, 1, 4, 5]]).all()


def test_yaw_term_adds_and_opens_but_never_pulls_below_zero() -> None:
    yaw = table("yaw_error_torque", [-200.0, 0.0, 200.0], ("yaw_rate_error", [-20.0, 0.0, 20.0]))
    content = CalibrationSet([*flat_set(hill_torque=50.0, yaw_dead_band=2.0), yaw])
    errors = np.array([0.0, 2.0, 4.0, -4.0, -20.0, 20.0])
    ran = run(bind(content, ROUND), rows(6, yaw_rate_error=errors))
    np.testing.assert_allclose(ran.output("yaw_term"), [0, 0, 40, -40, -200, 200])
    np.testing.assert_allclose(ran.output("torque"), [50, 50, 90, 10, 0, 250])
    assert _names(ran.governing) == ["hill_torque"] * 4 + ["yaw_error_torque"] * 2
    assert ran.decided("yaw_error_torque").tolist() == [False, False, True, True, True, True]
    assert ran.decided("hill_torque").tolist() == [True] * 6


def test_inside_brake_acts_on_request_and_limits_the_clutch() -> None:
    brake = table(
        "inside_rear_brake",
        [[0.0, 0.0], [240.0, 0.0]],
        ("steering_angle_abs", [270.0, 540.0]),
        ("vehicle_speed", [5.0, 20.0]),
    )
    content = CalibrationSet([*flat_set(hill_torque=100.0, clutch_during_inside_brake=40.0), brake])
    given = rows(
        5,
        steering_angle=[-540.0, 540.0, 405.0, 540.0, 540.0],
        vehicle_speed=[5.0, 5.0, 5.0, 20.0, 5.0],
        inside_brake_request=[1, 1, 1, 1, 0],
    )
    ran = run(bind(content, ROUND), given)
    np.testing.assert_allclose(ran.output("inside_brake"), [240, 240, 120, 0, 0])
    np.testing.assert_allclose(ran.output("torque"), [40, 40, 40, 100, 100])
    assert ran.decided("inside_rear_brake").tolist() == [True, True, True, True, False]
    assert _names(ran.governing[:1]) == ["clutch_during_inside_brake"]


def test_low_grip_likelihood_falls_linearly_over_the_tables_seconds() -> None:
    content = CalibrationSet(
        [
            *_slip_set(low_grip_memory=2.0),
            *flat_set(disconnect_speed=80.0, reconnect_speed=70.0, disconnect_allowed=1.0),
        ]
    )
    slip = np.zeros(130)
    slip[4:10] = 3.0
    ran = run(bind(content, ROUND), rows(130, front_slip=slip, vehicle_speed=50.0))
    want = np.zeros(130)
    want[4:10] = 1.0
    want[10:] = np.maximum(1.0 - 0.02 / 2.0 * np.arange(1, 121), 0.0)
    np.testing.assert_allclose(ran.output("low_grip_likelihood"), want, atol=1e-9)
    assert ran.output("low_grip_likelihood")[-1] == 0.0


def test_estimated_plate_temperature_follows_the_linear_solution() -> None:
    # One heat capacity with linear cooling to the oil: T = oil + P/k (1 - exp(-k t/C)); standard
    # solution of a first-order linear equation. Euler's step of 20 ms against a time constant of
    # 45 s errs by less than 0.03 % of the rise.
    content = flat_set(plate_heat_capacity=450.0, plate_cooling=10.0, hill_torque=100.0)
    content = CalibrationSet([*content, *flat_set(clamp_limit_plate=12000.0)])
    plate = table("clamp_limit_plate", [12000.0, 0.0], ("plate_temperature", [-40.0, 1000.0]))
    content = content.with_table(plate)
    count = 6000
    given = rows(count, oil_temperature=30.0, axle_speed_difference=20.0)
    ran = run(bind(content, ROUND), given)
    t = 0.02 * np.arange(count)
    # The first tick's torque heats from the second tick on.
    want = 30.0 + 100.0 * 20.0 / 10.0 * (1.0 - np.exp(-10.0 * t / 450.0))
    np.testing.assert_allclose(ran.output("plate_temperature"), want, atol=0.0003 * 200.0)
    assert ran.output("plate_temperature")[-1] > 200.0
    assert not ran.decided("plate_heat_capacity").any()  # nothing hot enough to limit


def test_settled_points_have_no_past() -> None:
    content = flat_set(hill_torque=100.0, torque_rise_slew=10.0, torque_fall_slew=10.0)
    slip = table("slip_gain", [20.0, 40.0], ("vehicle_speed", [0.0, 100.0]))
    content = CalibrationSet([*content, slip, *flat_set(slip_target=1.0, slip_integral_gain=50.0)])
    points = rows(3, vehicle_speed=[0.0, 100.0, 50.0], front_slip=[9.0, 9.0, 0.0])
    ran = settled(bind(content, ROUND), points)
    np.testing.assert_allclose(ran.output("torque"), [160.0, 320.0, 100.0])
    assert _names(ran.governing) == ["slip_gain", "slip_gain", "hill_torque"]
