"""Derived inputs against handbook formulas and an independent vehicle model; signs of ISO 8855."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.controller.binding import bind
from calib_model.controller.constants import LARCH, Constants
from calib_model.controller.derived import DERIVED, RAW_SIGNALS, derive
from calib_model.controller.inputs import INPUT_INDEX, INPUTS
from calib_model.controller.law import run
from calib_model.core import units
from calib_model.core.roles import QUANTITIES
from tests.controller.law_parts import flat_set, rows


def test_inputs_begin_with_the_published_quantities() -> None:
    assert [(one.name, one.unit) for one in INPUTS[: len(QUANTITIES)]] == list(QUANTITIES.items())
    assert len(INPUT_INDEX) == len(INPUTS)


def test_derived_signals_have_units_and_come_after_what_they_need() -> None:
    known = set(RAW_SIGNALS) | {one.name for one in INPUTS} | {"expected_axle_difference"}
    named: set[str] = set()
    for one in DERIVED:
        assert one.name not in named
        assert set(one.needs) <= known | named
        assert units.known(one.unit)
        if one.name in INPUT_INDEX:
            assert INPUTS[INPUT_INDEX[one.name]].unit == one.unit
        named.add(one.name)


def test_axle_speed_difference_worked_by_hand() -> None:
    # Front 36 and 38, rear 36 and 36 km/h: 1 km/h of mean difference; 2.6/(3.6 x 0.335) = 2.1559.
    got = derive(
        {"wheel_speed_fl": 36.0, "wheel_speed_fr": 38.0, "wheel_speed_rl": 36.0,
         "wheel_speed_rr": 36.0, "expected_axle_difference": 1.0},
        LARCH,
    )  # fmt: skip
    assert got["vehicle_speed"] == 36.0
    assert got["axle_speed_difference"] == pytest.approx(2.15589, abs=1e-5)
    assert got["front_slip"] == pytest.approx((2.15589 - 1.0) / 2.15589, abs=1e-5)
    # The front axle: 37 km/h are 10.2778 m/s, 30.680 rad/s at the wheel, 79.768 at the shaft.
    assert got["shaft_speed_target"] == pytest.approx(79.768, abs=1e-3)


def test_reference_yaw_rate_worked_by_hand() -> None:
    # v/(L + K v^2) delta: Gillespie, Fundamentals of Vehicle Dynamics, from memory; terms as in
    # ISO 8855 and ISO 4138. 20 m/s, L 2.7 m, K 0.0025: 20/3.7 = 5.405 1/s; 30 deg at the steering
    # wheel are 2 deg at the road wheels: 10.81 deg/s.
    got = derive({"vehicle_speed": 72.0, "steering_angle": 30.0}, LARCH)
    assert got["reference_yaw_rate"] == pytest.approx(10.8108, abs=1e-4)
    # Without understeer it is geometry: v delta / L.
    neutral = Constants(understeer_gradient=1e-12)
    got = derive({"vehicle_speed": 72.0, "steering_angle": 30.0}, neutral)
    assert got["reference_yaw_rate"] == pytest.approx(20.0 * 2.0 / 2.7)


def test_yaw_gain_peaks_at_the_characteristic_speed() -> None:
    # Gillespie, from memory: the gain of an understeering vehicle is largest at sqrt(L/K) and
    # half of the neutral vehicle's there. sqrt(2.7/0.0025) = 32.86 m/s.
    speed = np.linspace(1.0, 60.0, 5901)
    gain = derive({"vehicle_speed": 3.6 * speed, "steering_angle": 15.0}, LARCH)[
        "reference_yaw_rate"
    ]
    peak = int(np.argmax(gain))
    assert speed[peak] == pytest.approx(math.sqrt(2.7 / 0.0025), abs=0.02)
    assert gain[peak] == pytest.approx(0.5 * math.sqrt(2.7 / 0.0025) / 2.7, rel=1e-6)


def test_reference_yaw_rate_is_the_steady_state_of_an_independent_single_track_model() -> None:
    # commonroad-vehicle-models 3.0.2, single-track model, vehicle 2: equal cornering stiffness
    # coefficients per load make it neutral (K = 0). Integrated with SciPy until it is steady.
    from scipy.integrate import solve_ivp

    models = pytest.importorskip("vehiclemodels.vehicle_dynamics_st")
    parameters = pytest.importorskip("vehiclemodels.parameters_vehicle2").parameters_vehicle2()
    speed, delta = 15.0, 0.01
    start = [0.0, 0.0, delta, speed, 0.0, 0.0, 0.0]
    done = solve_ivp(
        lambda t, x: models.vehicle_dynamics_st(list(x), [0.0, 0.0], parameters),
        (0.0, 8.0),
        start,
        rtol=1e-9,
        atol=1e-10,
    )
    yaw_rate = math.degrees(done.y[5, -1])
    ours = derive(
        {"vehicle_speed": 3.6 * speed, "steering_angle": math.degrees(delta) * 16.0},
        Constants(
            wheelbase=parameters.a + parameters.b, steering_ratio=16.0, understeer_gradient=1e-12
        ),
    )["reference_yaw_rate"]
    assert float(ours) == pytest.approx(yaw_rate, rel=1e-4)


def test_reference_yaw_rate_solves_the_linear_single_track_equations() -> None:
    # Balance of lateral force and yaw moment with linear tyres; understeer gradient
    # K = m/L (b/Cf - a/Cr), ISO 4138's term, Gillespie from memory.
    mass, a, b, front, rear, v, delta = 1700.0, 1.134, 1.566, 90e3, 120e3, 22.0, 0.02
    system = np.array(
        [
            [front + rear, mass * v * v + a * front - b * rear],
            [a * front - b * rear, a * a * front + b * b * rear],
        ]
    )  # unknowns: side slip, yaw rate / v
    _, curvature = np.linalg.solve(system, [front * delta, a * front * delta])
    gradient = mass / (a + b) * (b / front - a / rear)
    ours = derive(
        {"vehicle_speed": 3.6 * v, "steering_angle": math.degrees(delta) * 15.0},
        Constants(wheelbase=a + b, steering_ratio=15.0, understeer_gradient=gradient),
    )["reference_yaw_rate"]
    assert float(ours) == pytest.approx(math.degrees(curvature * v), rel=1e-12)


@pytest.mark.parametrize(
    ("steering", "yaw_rate", "sign"),
    [
        (30.0, 5.0, +1),  # left turn, turns less than asked: understeer
        (-30.0, -5.0, +1),  # the same to the right
        (30.0, 16.0, -1),  # turns more than asked: oversteer
        (-30.0, -16.0, -1),
        (-30.0, 16.0, -1),  # steering against a skid is oversteer, not understeer
        (30.0, -16.0, -1),
        (30.0, 0.5, +1),  # ploughs straight on, the yaw rate is noise
        (30.0, -0.5, +1),
        (0.0, 10.0, -1),  # turns without being asked
        (0.0, -10.0, -1),
    ],
)
def test_yaw_rate_error_is_positive_for_understeer_whichever_the_turn(
    steering: float, yaw_rate: float, sign: int
) -> None:
    got = derive({"vehicle_speed": 72.0, "steering_angle": steering, "yaw_rate": yaw_rate}, LARCH)
    assert np.sign(got["yaw_rate_error"]) == sign


@given(st.floats(-540, 540), st.floats(-60, 60), st.floats(0, 200))
def test_yaw_rate_error_is_the_same_in_the_mirror(steering: float, yaw: float, v: float) -> None:
    def error(side: float) -> float:
        signals = {"vehicle_speed": v, "steering_angle": side * steering, "yaw_rate": side * yaw}
        return float(derive(signals, LARCH)["yaw_rate_error"])

    assert error(1.0) == error(-1.0)


def test_lateral_estimate_is_speed_times_yaw_rate() -> None:
    # a = v r in a steady turn: 20 m/s and 0.2 rad/s give 4 m/s2. A measured one comes first.
    signals = {"vehicle_speed": 72.0, "yaw_rate": -math.degrees(0.2)}
    got = derive(signals, LARCH)
    assert got["lateral_acceleration"] == pytest.approx(-4.0)
    assert got["lateral_acceleration_abs"] == pytest.approx(4.0)
    assert derive({**signals, "lateral_acceleration": 1.0}, LARCH)["lateral_acceleration"] == 1.0


def test_the_law_derives_the_same_bits_as_numpy() -> None:
    rng = np.random.default_rng(3)
    signals = {
        "steering_angle": rng.uniform(-540, 540, 300),
        "yaw_rate": rng.uniform(-20, 20, 300),
        "vehicle_speed": rng.uniform(0, 160, 300),
        "lateral_acceleration": rng.uniform(-9, 9, 300),
        "axle_speed_difference": rng.uniform(-5, 20, 300),
    }
    ran = run(bind(flat_set(hill_torque=10.0), LARCH), rows(300, **signals))
    want = derive({**signals, "expected_axle_difference": np.zeros(300)}, LARCH)
    for name in (
        "steering_angle_abs",
        "yaw_rate_error",
        "lateral_acceleration_abs",
        "front_slip",
        "shaft_speed_target",
        "plate_slip_speed",
    ):
        np.testing.assert_array_equal(ran.input(name), want[name], err_msg=name)
