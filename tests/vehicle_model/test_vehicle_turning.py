"""In the plane: turning circle, yaw response, braking one wheel, mirror symmetry."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from calib_model.controller.binding import Bound
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.scene import (
    Brake,
    Patch,
    Scene,
    circle,
    ground,
    mirrored,
    profile,
)
from calib_model.vehicle.simulate import simulate
from tests.vehicle_model.vehicle_making import GRAVITY, WHEELS, bare

ROLLING = {"fixed_drive_torque": 0.0, "fixed_clutch_torque": 0.0}


def test_low_speed_circle_follows_geometry(bound: Bound) -> None:
    # Ackermann geometry: all wheels square to radii from one centre abeam of the rear axle; the
    # centre of gravity runs at hypot(L / tan(delta), b).  With parallel wheels it was 4.58 m.
    steering = 35.0 * LARCH["steering_ratio"]
    scene = Scene(12.0, speed=4.0, steering=profile((0, 0), (1, steering)), **ROLLING)
    trace = simulate(bare(), bound, scene)
    expected = math.hypot(LARCH.wheelbase / math.tan(math.radians(35)), LARCH["rear_to_centre"])
    assert expected == pytest.approx(4.16, abs=0.005)
    velocity = math.hypot(trace["speed"][-1] / 3.6, trace["lateral_speed"][-1])
    assert velocity > 0.5  # still rolling
    assert velocity / math.radians(trace["yaw_rate"][-1]) == pytest.approx(expected, abs=0.015)


@pytest.mark.parametrize("speed", [30.0, 60.0, 90.0])
def test_steady_state_yaw_gain(bound: Bound, speed: float) -> None:
    # r/delta = v / (L + K v^2), K = (Wf/Cf - Wr/Cr)/g: Gillespie, Fundamentals of Vehicle
    # Dynamics (from memory); terms ISO 8855, steady-state circular test ISO 4138.
    v = bare()
    front, rear = v.static_loads()
    front_c, rear_c = v.side_stiffness("dry")
    gradient = (front / front_c - rear / rear_c) / GRAVITY
    assert gradient == pytest.approx(v.understeer_gradient, rel=1e-12)
    wheel = 0.5  # deg at the steering wheel: small, since the friction curve bends
    trace = simulate(v, bound, Scene(3.0, speed=speed, steering=profile((0, wheel)), **ROLLING))
    m_s = trace["speed"][-1] / 3.6
    delta = math.radians(wheel / v["steering_ratio"])
    gain = math.radians(trace["yaw_rate"][-1]) / delta
    assert gain == pytest.approx(m_s / (v.wheelbase + gradient * m_s**2), rel=0.006)


def test_neutral_and_understeering_vehicles_differ(bound: Bound) -> None:
    scene = Scene(3.0, speed=90.0, steering=profile((0, 3.0)), **ROLLING)
    neutral = bare(front_side_factor=0.5, rear_side_factor=0.5)
    under = bare()
    assert neutral.understeer_gradient == pytest.approx(0.0, abs=1e-12)
    trace = simulate(neutral, bound, scene)
    gain = math.radians(trace["yaw_rate"][-1]) / math.radians(3.0 / 15.0)
    assert gain == pytest.approx(trace["speed"][-1] / 3.6 / neutral.wheelbase, rel=0.006)
    assert simulate(under, bound, scene)["yaw_rate"][-1] < 0.8 * trace["yaw_rate"][-1]


@pytest.mark.parametrize("speed", [15.0, 25.0])
def test_step_steer_against_a_published_single_track_model(bound: Bound, speed: float) -> None:
    # commonroad-vehicle-models 3.0.2, its linear single-track model (`vehicle_dynamics_st`),
    # given this vehicle's numbers; step steer as in ISO 7401.  Stated tolerance: 1.5 % of the
    # steady yaw rate at every time.
    from vehiclemodels.vehicle_dynamics_st import vehicle_dynamics_st

    side = 0.5
    v = bare(
        front_side_factor=side,
        rear_side_factor=side,
        relaxation_across=0.02,
        centre_height=0.0,
    )
    front_load, _ = v.static_loads()
    per_load = v.side_stiffness("dry")[0] / front_load
    other = SimpleNamespace(
        tire=SimpleNamespace(p_dy1=1.0, p_ky1=-per_load),
        a=v["front_to_centre"],
        b=v["rear_to_centre"],
        h_s=0.0,
        m=v["mass"],
        I_z=v["yaw_inertia"],
        steering=SimpleNamespace(min=-1.0, max=1.0, v_min=-1.0, v_max=1.0),
        longitudinal=SimpleNamespace(v_min=0.0, v_max=80.0, v_switch=80.0, a_max=10.0),
    )
    delta = math.radians(0.3)
    scene = Scene(1.5, speed=speed * 3.6, steering=profile((0, 0.3 * 15.0)), **ROLLING)
    trace = simulate(v, bound, scene, step=0.0005)
    solved = solve_ivp(
        lambda _, x: vehicle_dynamics_st(x, [0.0, 0.0], other),
        (0.0, 1.5),
        [0.0, 0.0, delta, speed, 0.0, 0.0, 0.0],
        t_eval=trace.time,
        rtol=1e-9,
        atol=1e-12,
    )
    published = np.degrees(solved.y[5])
    steady = math.degrees(speed * delta / v.wheelbase)
    assert published[-1] == pytest.approx(steady, rel=0.01)
    assert published[10] < 0.99 * steady  # the response is seen on its way
    assert np.abs(trace["yaw_rate"] - published).max() < 0.015 * steady
    assert np.abs(trace["sideslip"] - np.degrees(solved.y[6])).max() < 0.04 * steady


def test_braking_one_rear_wheel_tightens_the_turn(bound: Bound) -> None:
    # Yaw moment F t/2 against the axles' side forces: curvature changes by
    # (F t/2)/L^2 (1/Cf + 1/Cr) at creeping speed, and 1/(1 + K v^2/L) of it at a speed; small
    # angles (single-track model, own derivation).
    v = bare()
    torque = 20.0  # small, since the friction curve bends
    brake = Brake(0.0, 9.0, "rl", torque, active=False)
    scene = Scene(1.5, speed=30.0, slip_braking=False, brakes=(brake,), **ROLLING)
    trace = simulate(v, bound, scene)
    curvature = math.radians(trace["yaw_rate"][-1]) / (trace["speed"][-1] / 3.6)
    force = -trace["force_x_rl"][-1]
    assert force == pytest.approx(torque / v["wheel_radius"], rel=0.01)
    front_c, rear_c = v.side_stiffness("dry")
    moment = force * v["track"] / 2
    expected = moment / v.wheelbase**2 * (1 / front_c + 1 / rear_c)
    expected /= 1 + v.understeer_gradient * (trace["speed"][-1] / 3.6) ** 2 / v.wheelbase
    assert curvature == pytest.approx(expected, rel=0.02)


def test_turning_aid_brakes_the_inner_wheel_only(bound: Bound) -> None:
    steering = profile((0, 0), (1.0, -540))
    base = Scene(
        6.0,
        ground("snow"),
        speed=6.0,
        speed_target=profile((0, 6)),
        speed_control=profile((0, 1)),
        steering=steering,
    )
    plain = simulate(LARCH, bound, base)
    aided = simulate(LARCH, bound, replace(base, inside_brake_request=profile((0, 1))))
    assert aided["inside_brake_torque"].max() > 100
    assert aided["brake_torque_rr"].max() > 100  # a right turn
    assert np.abs(aided["brake_torque_rl"]).max() < 1e-9
    assert plain["inside_brake_torque"].max() == 0.0
    half = len(plain.time) // 2
    tighter = np.abs(aided["yaw_rate"] / aided["speed"])[half:].mean()
    assert tighter > 1.01 * np.abs(plain["yaw_rate"] / plain["speed"])[half:].mean()


def test_wheel_loads_follow_the_moments(bound: Bound) -> None:
    # Sum of loads is the weight; left to right moves m ay h, by the axles' shares.
    v = bare()
    trace = simulate(v, bound, Scene(4.0, speed=60.0, steering=profile((0, 60)), **ROLLING))
    load = {w: trace[f"load_{w}"][-1] for w in WHEELS}
    assert sum(load.values()) == pytest.approx(v["mass"] * GRAVITY, rel=1e-9)
    roll = v["mass"] * trace["lateral_acceleration"][-1] * v["centre_height"] / v["track"]
    moved = (load["fr"] - load["fl"] + load["rr"] - load["rl"]) / 2
    assert moved == pytest.approx(roll, rel=0.01)
    assert (load["fr"] - load["fl"]) / 2 / moved == pytest.approx(v["front_roll_share"], rel=1e-6)


SIGNED = ("y", "heading", "lateral_speed", "yaw_rate", "sideslip", "steering_angle")


def test_mirrored_scene_gives_the_mirrored_drive(bound: Bound) -> None:
    # Symmetry: an outside check that needs no other model.
    v = LARCH.replaced(wheel_speed_noise=0.0)
    scene = Scene(
        6.0,
        ground(Patch(0.0, "snow", "wet"), Patch(25.0, "dry")),
        speed=25.0,
        pedal=profile((0, 30), (2, 80), (3, 0)),
        brake_pedal=profile((3.5, 0), (4, 50), (5.5, 50)),
        steering=profile((0, 0), (1, 90), (2, -150), (3, 20)),
        brakes=(Brake(1.0, 1.5, "fl", 400.0),),
        inside_brake_request=profile((0, 1)),
        ambient_temperature=-10.0,
    )
    left = simulate(v, bound, scene)
    right = simulate(v, bound, mirrored(scene))
    assert left.completed
    assert np.abs(left["yaw_rate"]).max() > 10
    assert left["speed"][-1] < 2  # braked to a stand, wheels held
    for name, values in left.columns.items():
        stem, _, wheel = name.rpartition("_")
        if wheel in WHEELS:
            other = right[f"{stem}_{wheel[0]}{'r' if wheel[1] == 'l' else 'l'}"]
            sign = -1.0 if stem == "force_y" else 1.0
        else:
            other = right[name]
            sign = -1.0 if name in SIGNED or name == "lateral_acceleration" else 1.0
        np.testing.assert_allclose(values, sign * other, rtol=1e-9, atol=1e-9, err_msg=name)


def test_the_driver_keeps_to_a_circle(bound: Bound) -> None:
    radius = 30.0
    scene = Scene(
        18.0,
        speed=36.0,
        speed_target=profile((0, 36)),
        speed_control=profile((0, 1)),
        path=circle(radius, 2.0),
    )
    trace = simulate(LARCH, bound, scene)
    late = trace.time > 6.0
    off = np.hypot(trace["x"], trace["y"] - radius)[late] - radius
    assert np.abs(off).max() < 0.6
    assert np.abs(trace["speed"][late] - 36).max() < 0.5


def test_energy_closes_in_a_turn(bound: Bound) -> None:
    scene = Scene(
        8.0,
        ground("wet", grade=4.0),
        speed=40.0,
        pedal=profile((0, 60)),
        steering=profile((0, 0), (1, 120), (3, -120), (6, 60)),
        brake_pedal=profile((6, 0), (6.2, 40)),
    )
    trace = simulate(LARCH, bound, scene)
    assert trace.completed
    assert abs(trace.energy["residual"]) < 1e-3 * trace.energy["drive"]
    assert trace.energy["brakes"] > 1000
    height = 9.81 * LARCH["mass"] * trace["way"][-1] * 0.04 / math.hypot(1, 0.04)
    assert trace.energy["potential"] == pytest.approx(height, rel=1e-6)
