"""Straight ahead: what forces, inertias and the clutch must add up to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib_model.controller.binding import Bound
from calib_model.vehicle.parameters import LARCH, Vehicle
from calib_model.vehicle.scene import Patch, Scene, ground, profile
from calib_model.vehicle.simulate import simulate
from calib_model.vehicle.trace import LEDGER, Trace
from tests.vehicle_model.vehicle_making import GRAVITY, WHEELS, bare, flat


def _undriven(vehicle: Vehicle) -> float:
    """Mass that the rear axle's inertia acts like."""
    return (2 * vehicle["wheel_inertia"] + vehicle["rear_inertia"]) / vehicle["wheel_radius"] ** 2


def _acceleration(trace: Trace, begin: float, end: float) -> float:
    t, v = trace.time, trace["speed"] / 3.6
    i, j = np.searchsorted(t, [begin - 1e-9, end - 1e-9])
    return float((v[j] - v[i]) / (t[j] - t[i]))


SPINNING = Scene(1.2, flat(0.3), fixed_drive_torque=1300.0, fixed_clutch_torque=0.0)


def test_front_drive_traction_limit(bound: Bound) -> None:
    # Gillespie, Fundamentals of Vehicle Dynamics, traction-limited acceleration (from memory),
    # with the undriven wheels' inertia: m a = mu Fzf - m' a, Fzf = (m g b - m a h)/L.
    v = bare()
    m, base, h = v["mass"], v.wheelbase, v["centre_height"]
    mu = 0.3
    expected = mu * m * GRAVITY * v["rear_to_centre"] / base
    expected /= m + _undriven(v) + mu * m * h / base
    trace = simulate(v, bound, SPINNING)
    assert trace["front_slip"][-1] > 20
    assert _acceleration(trace, 0.6, 1.2) == pytest.approx(expected, rel=1e-3)


def test_a_slipping_clutch_adds_its_thrust(bound: Bound) -> None:
    # The same balance with the clutch's torque at the rear (own derivation).
    v, torque, mu = bare(), 60.0, 0.3
    m, base, h = v["mass"], v.wheelbase, v["centre_height"]
    front = mu * m * GRAVITY * v["rear_to_centre"] / base
    thrust = torque * v["rear_ratio"] / v["wheel_radius"]
    expected = (front + thrust) / (m + _undriven(v) + mu * m * h / base)
    trace = simulate(v, bound, replace(SPINNING, fixed_clutch_torque=torque))
    assert trace["clutch_torque"][-1] == torque
    assert _acceleration(trace, 0.6, 1.2) == pytest.approx(expected, rel=1e-3)


def test_locked_clutch_with_all_wheels_at_the_limit(bound: Bound) -> None:
    # a = mu g, whatever the loads and inertias (simulation design, closed forms).
    scene = replace(SPINNING, fixed_clutch_torque=1e5, fixed_drive_torque=2200.0)
    trace = simulate(bare(), bound, scene)
    assert np.abs(trace["clutch_slip"]).max() < 1e-9
    assert _acceleration(trace, 0.6, 1.2) == pytest.approx(0.3 * GRAVITY, rel=1e-3)


def test_coast_down_with_quadratic_drag(bound: Bound) -> None:
    # v = v0 / (1 + k v0 t / m), the solution of m dv/dt = -k v^2.
    v = bare(drag_area=2.0)
    radius = v["wheel_radius"]
    turning = 4 * v["wheel_inertia"] + v["drive_inertia"] + v["rear_inertia"]
    turning += v["shaft_inertia"] * v["rear_ratio"] ** 2
    mass = v["mass"] + turning / radius**2
    k = 0.5 * v["air_density"] * 2.0
    scene = Scene(10.0, speed=120.0, fixed_drive_torque=0.0, fixed_clutch_torque=0.0)
    trace = simulate(v, bound, scene)
    start = 120.0 / 3.6
    expected = start / (1 + k * start * trace.time / mass)
    # Which mass acts is worth 0.8 km/h here.
    np.testing.assert_allclose(trace["speed"], 3.6 * expected, atol=0.05)


def test_pulling_force_over_mass(bound: Bound) -> None:
    # Newton's second law; wheels' and drive's inertia count as m' = J/R^2.
    v = bare()
    turning = 4 * v["wheel_inertia"] + v["drive_inertia"] + v["rear_inertia"]
    turning += v["shaft_inertia"] * v["rear_ratio"] ** 2
    mass = v["mass"] + turning / v["wheel_radius"] ** 2
    scene = Scene(3.0, fixed_drive_torque=400.0, fixed_clutch_torque=1e5)
    trace = simulate(v, bound, scene)
    expected = 400.0 / v["wheel_radius"] / mass
    assert _acceleration(trace, 1.0, 3.0) == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("variant", ["laden", "trailer"])
def test_a_load_is_pulled(bound: Bound, variant: str) -> None:
    plain = bare()
    v = bare(**LARCH.variants[variant], trailer_rolling=0.0).replaced(trailer_drag_area=0.0)
    heavier = v.body_mass + v["trailer_mass"]
    assert heavier > plain["mass"] + 500
    turning = 4 * v["wheel_inertia"] + v["drive_inertia"] + v["rear_inertia"]
    turning += v["shaft_inertia"] * v["rear_ratio"] ** 2
    mass = heavier + turning / v["wheel_radius"] ** 2
    trace = simulate(v, bound, Scene(3.0, fixed_drive_torque=400.0, fixed_clutch_torque=1e5))
    expected = 400.0 / v["wheel_radius"] / mass
    assert _acceleration(trace, 1.0, 3.0) == pytest.approx(expected, rel=2e-3)


def test_hitch_forces_move_load_to_the_rear(bound: Bound) -> None:
    # Balance of moments about the rear contact: hitch load and pull, weights, inertia.
    v = bare(trailer_mass=900.0, hitch_load=700.0, trailer_rolling=0.0)
    trace = simulate(v, bound, Scene(3.0, fixed_drive_torque=900.0, fixed_clutch_torque=0.0))
    a = _acceleration(trace, 2.0, 3.0)
    front = trace["load_fl"][-1] + trace["load_fr"][-1]
    rear = trace["load_rl"][-1] + trace["load_rr"][-1]
    m, base = v["mass"], v.wheelbase
    moment = m * GRAVITY * v["rear_to_centre"] - m * a * v["centre_height"]
    moment -= 700.0 * v["hitch_behind"] + 900.0 * a * v["hitch_height"]
    assert front == pytest.approx(moment / base, rel=1e-4)
    assert front + rear == pytest.approx(m * GRAVITY + 700.0, rel=1e-9)


def _climbs(vehicle: Vehicle, bound: Bound, grade: float, clutch: float) -> bool:
    road = ground(Patch(-100.0, (0.1, 200.0, 0.0), (0.7, 60.0, 0.0)), grade=grade)
    scene = Scene(
        5.0,
        road,
        pedal=profile((0, 0), (0.3, 60)),
        brake_pedal=profile((0, 60), (0.9, 60), (1.0, 0)),
        brake_traction=False,
        fixed_clutch_torque=clutch,
    )
    trace = simulate(vehicle, bound, scene)
    return bool(trace["speed"][-1] > trace["speed"][len(trace.time) // 2])


@pytest.mark.parametrize("clutch", [0.0, 70.0])
def test_steepest_split_friction_hill(bound: Bound, clutch: float) -> None:
    # An open differential gives both wheels what the slippery side holds, so the front pulls
    # with the lower friction on its whole load; the rear adds the clutch's torque:
    # mu Fzf + Tc i/R = m g sin(theta).  (Balance of forces, own derivation.)
    v = bare()
    m, base, h = v["mass"], v.wheelbase, v["centre_height"]

    def spare(grade: float) -> float:
        slope = np.arctan(grade / 100)
        front = m * GRAVITY * (np.cos(slope) * v["rear_to_centre"] - np.sin(slope) * h) / base
        thrust = clutch * v["rear_ratio"] / v["wheel_radius"]
        return float(0.1 * front + thrust - m * GRAVITY * np.sin(slope))

    low, high = 0.0, 30.0
    assert spare(low) > 0 > spare(high)
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if spare(middle) > 0 else (low, middle)
    expected = low
    low, high = 0.0, 30.0
    for _ in range(8):
        middle = (low + high) / 2
        low, high = (middle, high) if _climbs(v, bound, middle, clutch) else (low, middle)
    assert low == pytest.approx(expected, abs=0.25)


def test_standing_on_a_hill_with_the_brake_holds(bound: Bound) -> None:
    scene = Scene(
        4.0, ground("dry", grade=20.0), brake_pedal=profile((0, 100)), fixed_clutch_torque=0.0
    )
    trace = simulate(LARCH, bound, scene)
    # The tyres give a few centimetres, then nothing moves.
    assert abs(trace["way"][-1]) < 0.1
    assert np.abs(trace["speed"][-50:]).max() < 0.01
    assert np.abs(trace["wheel_speed_rl"][-50:]).max() == 0.0


SNOW = Scene(
    15.0,
    ground("snow"),
    pedal=profile((0.2, 0), (0.5, 60)),
    ambient_temperature=-10.0,
    oil_temperature=0.0,
    plate_temperature=0.0,
    stop_speed=30.0,
)


def test_trend_over_clutch_torque_on_snow(bound: Bound) -> None:
    # The trend that must hold (simulation design; common practice, no source).
    torques = [0.0, 50.0, 100.0, 150.0, 180.0, 230.0, 280.0, 330.0]
    traces = [simulate(LARCH, bound, replace(SNOW, fixed_clutch_torque=t)) for t in torques]
    assert all(t.completed for t in traces)
    seconds = np.array([t.time[-1] for t in traces])
    slips = np.array([t["front_slip"].max() for t in traces])
    hot = np.array([t["plate_temperature"].max() for t in traces])
    gains = -np.diff(seconds) / np.diff(torques)
    assert np.all(gains[:4] > 0.005)  # s per N.m: faster with torque,
    assert np.all(np.diff(gains[:4]) < 0)  # each newton metre gains less,
    assert np.all(gains[-2:] < 0.001)  # and nothing once the clutch is locked
    assert np.all(np.diff(slips[:6]) < -0.5)
    peak = int(np.argmax(hot))
    assert 3 <= peak <= 4
    assert np.all(np.diff(hot[: peak + 1]) > 1)
    assert hot[peak] > 20
    assert np.all(hot[-2:] < 2)  # locked within the launch: a floor


@pytest.mark.parametrize("torque", [0.0, 120.0, 300.0])
def test_energy_closes(bound: Bound, torque: float) -> None:
    # Conservation of energy, to a tenth of a per cent of the drive's work.
    trace = simulate(LARCH, bound, replace(SNOW, fixed_clutch_torque=torque))
    entries = trace.energy
    assert entries["drive"] > 50_000
    assert abs(entries["residual"]) < 1e-3 * entries["drive"]
    for name, _ in LEDGER:
        if name not in ("kinetic", "potential"):
            assert entries[name] >= 0.0, name
    # The entries are what the trace says, not only what the ledger does.
    v = trace["speed"][-1] / 3.6
    body = 0.5 * LARCH["mass"] * v**2
    wheels = [trace[f"wheel_speed_{w}"][-1] / 3.6 / LARCH["wheel_radius"] for w in WHEELS]
    turning = sum(0.5 * LARCH["wheel_inertia"] * w**2 for w in wheels)
    turning += 0.5 * LARCH["drive_inertia"] * ((wheels[0] + wheels[1]) / 2) ** 2
    turning += 0.5 * LARCH["rear_inertia"] * ((wheels[2] + wheels[3]) / 2) ** 2
    turning += 0.5 * LARCH["shaft_inertia"] * trace["shaft_speed"][-1] ** 2
    assert entries["kinetic"] == pytest.approx(body + turning, rel=1e-9)
    drag = 0.5 * LARCH["air_density"] * LARCH["drag_area"] * (trace["speed"] / 3.6) ** 3
    assert entries["drag"] == pytest.approx(np.trapezoid(drag, trace.time), rel=0.01)
    heat = trace["clutch_power"].sum() * trace.tick
    assert entries["clutch"] == pytest.approx(heat, rel=1e-9, abs=1e-6)
    front = (trace["wheel_speed_fl"] + trace["wheel_speed_fr"]) / 7.2 / LARCH["wheel_radius"]
    work = np.trapezoid(trace["drive_torque"] * front, trace.time)
    assert entries["drive"] == pytest.approx(work, rel=0.01)
