"""Metrics read off traces whose answers are known in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from calib_model.controller.outputs import CONNECTED, DISCONNECTED, DOG, OUTPUT_INDEX, SPIN_UP
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.vehicle.manoeuvres import MANOEUVRES, Manoeuvre
from calib_model.vehicle.metrics import FLOORS, Reading
from calib_model.vehicle.metrics_all import METRICS, metric
from calib_model.vehicle.metrics_turning import fitted_circle
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.runs import Row
from calib_model.vehicle.scene import Brake, Patch
from calib_model.vehicle.trace import Trace
from tests.vehicle_runs.synthetic_drives import clock, reading, trace_of

PEDAL = 0.5  # s, when the shipped launches press the pedal


def test_every_metric_says_what_it_is_and_none_needs_what_the_model_lacks() -> None:
    for name, one in METRICS.items():
        assert name == one.name
        assert one.unit
        assert one.better in ("lower", "higher", "neither")
        assert one.how.endswith(".")
    said = " ".join(f"{m.name} {m.label} {m.how}" for m in METRICS.values()).lower()
    assert "jolt" not in said
    assert "noise" not in said
    used = {n for m in MANOEUVRES.values() for n in m.metrics}
    assert used <= set(METRICS)


def test_time_to_30_of_a_constant_acceleration() -> None:
    # v = a t (uniform acceleration): 30 km/h after 8.3333 m/s / a.
    t = clock()
    speed = 3.6 * 1.37 * np.clip(t - PEDAL, 0, None)
    found = reading("time_to_30", trace_of(speed=speed))
    assert found.value == pytest.approx(30 / 3.6 / 1.37, abs=1e-9)


def test_a_speed_never_reached_is_said_in_words() -> None:
    found = reading("time_to_30", trace_of(speed=np.minimum(clock(), 7.5)))
    assert found.value is None
    assert "not reached within 10 s" in found.why
    assert "7.5 km/h" in found.why


def test_a_drive_that_did_not_end_as_meant_gives_no_number() -> None:
    found = reading("peak_front_slip", trace_of(completed=False, why="It rolls over."))
    assert found.value is None
    assert "rolls over" in found.why


def test_first_clamp_and_peaks() -> None:
    t = clock()
    trace = trace_of(
        clutch_capacity=np.where(t >= 0.74, 50.0, 49.0),
        front_slip=5 * np.exp(-((t - 3) ** 2)),
        plate_temperature=20 + t,
        clutch_power=np.full(t.size, 250.0),
    )
    assert reading("time_to_first_clamp", trace).value == pytest.approx(0.24)
    assert reading("peak_front_slip", trace).value == pytest.approx(5.0)
    assert reading("peak_plate_temperature", trace).value == pytest.approx(30.0)
    assert reading("clutch_energy", trace).value == pytest.approx(2.5, rel=3e-3)
    assert "never carries 50" in reading("time_to_first_clamp", trace_of()).why


def test_roll_back_is_the_longest_way_back() -> None:
    t = clock()
    way = np.where(t < 1, 0.3 * t, np.where(t < 2, 0.3 - 0.5 * (t - 1), -0.2 + (t - 2)))
    assert reading("roll_back", trace_of(way=way)).value == pytest.approx(0.5)
    assert reading("roll_back", trace_of(way=t)).value == 0


def test_grade_held_is_found_by_driving_again() -> None:
    t = clock()

    driven: list[float] = []

    def until(most: float) -> Callable[[Manoeuvre], Trace]:
        def again(changed: Manoeuvre) -> Trace:
            driven.append(changed.grade[0][1])
            return trace_of(way=t if driven[-1] <= most else -t)

        return again

    hill, good, bad = MANOEUVRES["hill_start_split"], trace_of(way=t), trace_of(way=-t)
    assert hill.grade == ((0.0, 10.0),)
    assert reading("grade_held", good, hill, again=until(13.3)).value == 13
    assert min(driven) > 10
    assert len(driven) <= 6
    assert reading("grade_held", bad, hill, again=until(4.6)).value == 4.5
    assert "even on the level" in reading("grade_held", bad, hill, again=until(-1)).why
    assert reading("grade_held", good, hill, again=until(50)).value == 39.5


def test_torque_of_the_high_grip_side_follows_the_side() -> None:
    t = clock()
    held = np.where(t < 0.9, 60.0, 0.0)  # standing on the brake, with a force of its own
    trace = trace_of(
        force_x_rl=100.0, force_x_rr=np.where(held > 0, 2000.0, 900.0), brake_pedal=held
    )
    radius = LARCH["wheel_radius"]
    split = MANOEUVRES["hill_start_split"]
    assert reading("torque_high_grip", trace, split).value == pytest.approx(900 * radius)
    other = replace(split, surface=(Patch(0.0, "wet", "ice"),))
    assert reading("torque_high_grip", trace, other).value == pytest.approx(100 * radius)
    assert "same friction" in reading("torque_high_grip", trace, "launch_snow").why


@pytest.mark.parametrize("frequency", [1.7, 3.0, 6.4])
def test_hunting_of_a_sine_on_a_slow_drift(frequency: float) -> None:
    t = clock()
    torque = 80 + 3 * t + 22 * np.sin(2 * np.pi * frequency * t)
    trace = trace_of(clutch_torque=torque)
    # The moving mean lets sin(pi f)/(pi f) of the sine through (a boxcar of a second).
    rest = 1 - abs(math.sin(math.pi * frequency)) / (math.pi * frequency)
    assert reading("hunting_amplitude", trace).value == pytest.approx(22, rel=1.2 - rest)
    assert reading("limit_cycle_frequency", trace).value == pytest.approx(frequency, abs=0.03)


@pytest.mark.parametrize("frequency", [1.5, 2.3, 4.05])
def test_a_limit_cycle_has_the_amplitude_that_was_put_in(frequency: float) -> None:
    """Held against scipy.signal's periodogram of the torque less its drift."""
    time = clock(12.0)
    torque = 120 + 4 * time - 0.2 * time**2 + 18 * np.sin(2 * np.pi * frequency * time)
    trace = trace_of(12.0, clutch_torque=torque)
    settled = time >= 1.5
    flat = signal.detrend(torque[settled]) - np.polyval(
        np.polyfit(time[settled], signal.detrend(torque[settled]), 4), time[settled]
    )
    lines, power = signal.periodogram(flat, 1 / trace.tick, "hann", 2**16, scaling="spectrum")
    peak = int(np.argmax(power))
    assert reading("limit_cycle_frequency", trace).value == pytest.approx(lines[peak], abs=0.02)
    found = reading("limit_cycle_amplitude", trace).value
    assert found == pytest.approx(18.0, rel=0.02)
    assert found == pytest.approx(np.sqrt(2 * power[peak]), rel=0.05)


def test_torque_without_a_rhythm_has_no_limit_cycle() -> None:
    noise = np.random.default_rng(1).normal(0, 12, clock(12.0).size)
    found = reading("limit_cycle_amplitude", trace_of(12.0, clutch_torque=100 + noise))
    assert "no rhythm" in found.why


def test_a_change_below_the_floor_is_the_same() -> None:
    for name, one in METRICS.items():
        floor, origin = FLOORS[one.unit]
        assert origin
        reading_ = Reading(one, 1.0)
        assert Row(reading_, Reading(one, 1.0 + 0.9 * floor)).verdict == "same", name
        beyond = Row(reading_, Reading(one, 1.0 + 1.1 * floor)).verdict
        assert beyond in ("better", "worse", "")
    rolled = metric("roll_back")
    assert Row(Reading(rolled, 1.0 + 1.5e-07), Reading(rolled, 1.0)).verdict == "same"


def test_torque_that_settles_has_no_limit_cycle() -> None:
    found = reading("limit_cycle_frequency", trace_of(clutch_torque=90.0))
    assert found.value is None
    assert "No limit cycle" in found.why
    assert "too short" in reading("hunting_amplitude", trace_of(3.0)).why


def test_wind_up_and_jumps_count_near_full_lock_only() -> None:
    t = clock(14)
    angle = np.minimum(t / 1.5, 1) * 540
    torque = np.where(t < 1.2, 300.0, 60.0) + np.where(t >= 8, 25.0, 0.0)
    trace = trace_of(14, steering_angle=angle, speed=6.0, clutch_torque=torque)
    assert reading("peak_wind_up", trace, "parking_circle").value == 85
    assert reading("torque_jump", trace, "parking_circle").value == 25
    straight = trace_of(14, speed=6.0)
    assert "never moves" in reading("peak_wind_up", straight, "parking_circle").why


def test_a_limit_marks_what_lies_beyond() -> None:
    t = clock(14)
    trace = trace_of(14, steering_angle=540.0, speed=6.0, clutch_torque=170.0 + 0 * t)
    parking = MANOEUVRES["parking_circle"].limited({"peak_wind_up": 160.0, "unknown": 3.0})
    found = reading("peak_wind_up", trace, parking)
    assert found.limit == 160
    assert found.beyond
    assert not reading("peak_wind_up", trace, parking.limited({"peak_wind_up": 171})).beyond


def test_a_circle_is_fitted_exactly_and_near_with_noise() -> None:
    angle = np.linspace(0, 2.2, 60)
    x, y = 3 + 5.5 * np.cos(angle), -2 + 5.5 * np.sin(angle)
    assert fitted_circle(x, y) == pytest.approx((3, -2, 5.5), abs=1e-9)
    rng = np.random.default_rng(0)
    noisy = fitted_circle(x + rng.normal(0, 0.01, 60), y + rng.normal(0, 0.01, 60))
    assert noisy == pytest.approx((3, -2, 5.5), abs=0.05)


def _circle(radius: float, left: bool = True) -> Trace:
    """A centre of gravity on a circle, without sideslip of the rear axle's middle."""
    t = clock(20)
    sign = 1 if left else -1
    heading = sign * 0.25 * t
    rear = LARCH.centre[1]
    x = radius * np.sin(sign * heading) + rear * np.cos(heading)
    y = sign * radius * (1 - np.cos(heading)) + rear * np.sin(heading)
    return trace_of(20, x=x, y=y, heading=np.degrees(heading), speed=6.0)


@pytest.mark.parametrize("left", [True, False])
def test_turning_circle_of_the_outer_front_wheel(left: bool) -> None:
    # Geometry: the outer front wheel runs at sqrt((R + t/2)^2 + L^2) about the same centre, R
    # being the radius of the rear axle's middle.
    radius = 4.2
    expected = 2 * math.hypot(radius + LARCH["track"] / 2, LARCH.wheelbase)
    found = reading("turning_circle", _circle(radius, left), "circle_inside_brake")
    assert found.value == pytest.approx(expected, abs=1e-6)


def test_change_of_turning_circle_is_against_the_drive_without() -> None:
    found = reading(
        "turning_circle_change", _circle(4.0), "circle_inside_brake", counterpart=_circle(4.3)
    )
    assert found.value is not None
    assert found.value < -0.4
    missing = reading("turning_circle_change", _circle(4.0), "circle_inside_brake")
    assert "no drive without" in missing.why
    ahead = trace_of(20, speed=6.0, x=clock(20))
    assert "turns by 0°" in reading("turning_circle", ahead, "circle_inside_brake").why


def test_lock_time_of_a_rear_wheel() -> None:
    t = clock()
    inner = np.where((t >= 2) & (t < 3.5 - 1e-9), 0.1, 5.0)
    trace = trace_of(speed=6.0, wheel_speed_rl=inner, wheel_speed_rr=6.0)
    assert reading("rear_wheel_lock_time", trace).value == pytest.approx(1.5, abs=0.021)


def test_understeer_gradient_of_a_steady_turn() -> None:
    # Steady turn with understeer gradient K: r = v delta / (L + K v^2) (ISO 4138 and Gillespie,
    # from memory). Put in K, read off its change.
    one = MANOEUVRES["steady_circle"]
    t = clock(18)
    speed = np.where(t < 9, 22.0, 28.0) / 3.6
    gradient = np.where(t < 9, 0.003, 0.011)  # rad/(m/s2)
    wheel = math.radians(90 / LARCH["steering_ratio"])
    yaw = speed * wheel / (LARCH.wheelbase + gradient * speed**2)
    trace = trace_of(18, speed=speed * 3.6, yaw_rate=np.degrees(yaw), steering_angle=90.0)
    expected = math.degrees(0.008)
    assert reading("understeer_gradient_change", trace, one).value == pytest.approx(expected)
    mirrored = trace_of(18, speed=speed * 3.6, yaw_rate=-np.degrees(yaw), steering_angle=-90.0)
    assert reading("understeer_gradient_change", mirrored, one).value == pytest.approx(expected)


def test_yaw_overshoot_after_lifting_off() -> None:
    t = clock(18)
    yaw = -10 - np.where(t > 12, 3 * np.exp(-((t - 12.6) ** 2) / 0.1), 0)
    found = reading("yaw_overshoot", trace_of(18, yaw_rate=yaw), "steady_circle")
    assert found.value == pytest.approx(30, abs=0.5)
    assert "does not turn" in reading("yaw_overshoot", trace_of(18), "steady_circle").why
    assert "lift off" in reading("yaw_overshoot", trace_of(18), "launch_snow").why


def _shaft(*spans: tuple[float, float, int]) -> Trace:
    """Driveshaft states from spans of (start, end, state)."""
    t = clock(60)
    state = np.zeros(t.size)
    for start, end, number in spans:
        state[(t >= start - 1e-9) & (t < end - 1e-9)] = number
    opened = np.isin(state, (DISCONNECTED, SPIN_UP, DOG))
    return trace_of(60, controller_state=state, connected=np.where(opened, 0.0, 1.0))


def test_disconnection_of_known_length() -> None:
    trace = _shaft(
        (10, 30, DISCONNECTED), (30, 30.2, SPIN_UP), (30.2, 30.3, DOG),
        (40, 50, DISCONNECTED), (50, 50.3, SPIN_UP), (50.3, 50.4, DOG),
    )  # fmt: skip
    share = reading("share_disconnected", trace, "kick_down").value
    assert share == pytest.approx(30.7 / 60.02 * 100, abs=0.05)
    assert reading("reconnects_per_hour", trace, "kick_down").value == pytest.approx(120, rel=1e-3)
    assert reading("reconnect_time", trace, "kick_down").value == pytest.approx(0.4)


def test_reconnection_that_never_completes_is_said_in_words() -> None:
    trace = _shaft((10, 50, DISCONNECTED), (50, 61, SPIN_UP))
    trace.columns["wheel_speed_fl"][:] = 120.0
    trace.columns["wheel_speed_fr"][:] = 120.0
    ratio, radius = LARCH["rear_ratio"], LARCH["wheel_radius"]
    trace.columns["shaft_speed"][:] = 120 / 3.6 / radius * ratio - 7.5
    axis = Axis([0.0, 300.0], "Shaft speed", "rad/s", quantity="shaft_speed")
    window = Table("narrow", [3.0, 3.0], (axis,), unit="rad/s", role="sync_window")
    found = reading("reconnect_time", trace, "kick_down", content=CalibrationSet([window]))
    assert found.value is None
    assert "asked for at 50.00 s and never completed" in found.why
    assert "7.5 to 7.5 rad/s from the front axle" in found.why
    assert "(narrow) there is 3.0 rad/s" in found.why


def test_why_there_is_no_reconnect_time() -> None:
    assert "never disconnected" in reading("reconnect_time", _shaft(), "kick_down").why
    still = _shaft((10, 61, DISCONNECTED))
    assert "Nothing asked" in reading("reconnect_time", still, "kick_down").why
    # Given up again before it completed.
    given_up = _shaft((10, 20, DISCONNECTED), (20, 25, SPIN_UP), (25, 30, DISCONNECTED),
                      (30, 30.4, SPIN_UP), (30.4, 61, CONNECTED))  # fmt: skip
    assert "never completed" in reading("reconnect_time", given_up, "kick_down").why


def _braked() -> Manoeuvre:
    one = MANOEUVRES["lane_change_brake"]
    brakes = (Brake(2.0, 4.0, "fl", 300.0), Brake(6.0, 7.0, "fr", 300.0))
    return replace(one, driver=replace(one.driver, brakes=brakes))


def test_opening_and_residual_torque_of_an_exponential() -> None:
    # 200 exp(-t/0.1) falls below 30 after 0.1 ln(200/30) s.
    t = clock(8)
    since = np.where(t < 6, t - 2, t - 6)
    torque = np.where(since >= 0, 200 * np.exp(-since / 0.1), 200.0)
    trace = trace_of(8, clutch_capacity=torque)
    expected = 0.1 * math.log(200 / 30)
    assert reading("clutch_opening_time", trace, _braked()).value == pytest.approx(
        expected, abs=0.02
    )
    left = reading("residual_torque", trace, _braked()).value
    assert left == pytest.approx(200 * math.exp(-3), abs=0.01)
    stuck = reading("clutch_opening_time", trace_of(8, clutch_capacity=120.0), _braked())
    assert "can still carry 120" in stuck.why
    assert "no brake intervention" in reading("residual_torque", trace, "launch_snow").why


def test_overshoot_and_release_after_a_patch() -> None:
    one = MANOEUVRES["low_to_high_patch"]
    t = clock()
    way = 2 * t
    cross = (5.2 - LARCH.centre[0]) / 2
    after = np.clip(t - cross, 0, None)
    forward = 80 - 5 * t
    trace = trace_of(way=way, clutch_capacity=forward + 3 + 150 * np.exp(-after / 0.2))
    trace.outputs[:, OUTPUT_INDEX["feed_forward"]] = forward
    first = float(after[t >= cross][0])
    over = reading("torque_overshoot", trace, one).value
    assert over == pytest.approx(150 * math.exp(-first / 0.2), abs=0.01)
    # A tenth of an exponential is left after tau ln 10.
    released = reading("release_time", trace, one).value
    assert released == pytest.approx(0.2 * math.log(10), abs=0.021)
    assert "no torque to release" in reading("release_time", trace_of(way=way), one).why
    assert "does not reach" in reading("release_time", trace_of(), one).why


def test_heat_that_holds_torque_back() -> None:
    t = clock()
    trace = trace_of(plate_temperature=100 + 50 * np.exp(-((t - 4) ** 2)))
    limit = np.where(t < 2, 900.0, np.where(t < 7 - 1e-9, 500.0, 890.0))
    trace.outputs[:, OUTPUT_INDEX["limit_clamp"]] = limit
    assert reading("time_derated", trace).value == pytest.approx(5.0, abs=0.021)
    assert reading("recovery_time", trace).value == pytest.approx(3.0, abs=0.021)
    trace.outputs[:, OUTPUT_INDEX["limit_clamp"]] = np.where(t < 2, 900.0, 500.0)
    assert "does not come back to 95%" in reading("recovery_time", trace).why
    trace.outputs[:, OUTPUT_INDEX["limit_clamp"]] = 900.0
    assert "never lowers" in reading("recovery_time", trace).why
    trace.outputs[:, OUTPUT_INDEX["limit_clamp"]] = np.inf
    assert "no clamp limit" in reading("time_derated", trace).why
