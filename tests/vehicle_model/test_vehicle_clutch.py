"""Clutch, actuator, driveshaft and heat against worked examples and closed forms."""

from __future__ import annotations

from dataclasses import replace

import numba
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from calib_model.controller.binding import Bound, bind
from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import apply, values_change
from calib_model.vehicle.clutch import carried
from calib_model.vehicle.parameters import LARCH, Vehicle
from calib_model.vehicle.scene import Scene, ground, profile
from calib_model.vehicle.simulate import simulate
from tests.vehicle_model.vehicle_making import bare, flat

INCH, POUND = 0.0254, 4.4482216152605


@numba.njit
def _carried(slip, rate, softness, most, step):  # type: ignore[no-untyped-def]
    """Reach what only compiled code may call."""
    return carried(slip, rate, softness, most, step)


def _clutch(vehicle: Vehicle, friction: float) -> Vehicle:
    grid = np.full_like(vehicle.curves["clutch.friction"], friction)
    return vehicle.with_curve("clutch.friction", grid)


def test_capacity_of_a_worked_example(bound: Bound) -> None:
    # Shigley's Mechanical Engineering Design, exercise on a multi-disc clutch with D = 6.5 in,
    # d = 4 in, f = 0.24, p = 120 psi, six planes of sliding, uniform wear: F = 1885 lbf,
    # T = 7125 lbf.in (from memory).
    v = bare(faces=6.0, outer_radius=3.25 * INCH, inner_radius=2.0 * INCH, uniform_wear=1.0)
    v = _clutch(v, 0.24)
    trace = simulate(v, bound, Scene(1.0, ground("dry"), pedal=profile((0, 80))))
    pressed = trace["clamp"] > 100
    per_newton = trace["clutch_capacity"][pressed] / trace["clamp"][pressed]
    force = np.pi * 120 * 4 * (6.5 - 4) / 2  # lbf, uniform wear
    assert force == pytest.approx(1885, abs=0.5)
    torque = per_newton * force * POUND / (POUND * INCH)
    # A column shows the force at the end of the step in which the torque acted.
    assert torque == pytest.approx(np.full(torque.shape, 7125.0), rel=1e-3)


def test_effective_radius_of_uniform_pressure() -> None:
    # Shigley, 2/3 (Ro^3 - Ri^3)/(Ro^2 - Ri^2): by numerical integration of r * r dr / r dr.
    v = LARCH.replaced(uniform_wear=0.0)
    r = np.linspace(v["inner_radius"], v["outer_radius"], 20_001)
    expected = np.trapezoid(r**2, r) / np.trapezoid(r, r)
    assert v.effective_radius == pytest.approx(expected, rel=1e-7)
    assert LARCH.effective_radius == pytest.approx(0.055)
    assert v.constants.effective_radius == v.effective_radius


@pytest.mark.parametrize("slip", [3.0, -3.0, 0.0])
def test_a_clutch_that_can_hold_stops_the_slip_within_the_step(slip: float) -> None:
    # Two inertias with moments of their own (mechanics): the torque that makes their speeds equal
    # at the step's end, T = (dw/dt + M1/J1 - M2/J2) / (1/J1 + 1/J2); what cannot be held slips.
    j1, j2, m1, m2, step = 0.2, 0.5, 40.0, -10.0, 0.001
    lock = (slip / step + m1 / j1 - m2 / j2) / (1 / j1 + 1 / j2)

    def after(torque: float) -> float:
        return slip + step * ((m1 - torque) / j1 - (m2 + torque) / j2)

    for most in (abs(lock) + 1.0, 0.5 * abs(lock)):
        torque = _carried(slip, m1 / j1 - m2 / j2, 1 / j1 + 1 / j2, most, step)
        if most > abs(lock):
            assert torque == pytest.approx(lock, rel=1e-12)
            assert after(torque) == pytest.approx(0.0, abs=1e-12)
        else:
            assert torque == pytest.approx(np.sign(lock) * most)
            assert abs(after(torque)) > 0.0


# A road without friction leaves the rear axle alone with the driveshaft: two inertias.
ICE_RINK = ground((1e-9, 100.0, 0.0))


@pytest.mark.parametrize("torque", [20.0, 60.0])
def test_two_inertias_synchronise(bound: Bound, torque: float) -> None:
    # t = J1 J2/(J1 + J2) dw/T, E = 1/2 J1 J2/(J1 + J2) dw^2.
    v = bare(shaft_inertia=0.3)
    other = (2 * v["wheel_inertia"] + v["rear_inertia"]) / v["rear_ratio"] ** 2
    together = 0.3 * other / (0.3 + other)
    apart = v["rear_ratio"] * 60.0 / 3.6 / v["wheel_radius"]
    scene = Scene(
        4.0,
        ICE_RINK,
        speed=60.0,
        connected=False,
        fixed_clutch_torque=torque,
        fixed_drive_torque=0.0,
    )
    trace = simulate(v, bound, scene, step=0.0005)
    assert trace["clutch_slip"][0] == pytest.approx(-apart)
    slipping = np.abs(trace["clutch_slip"]) > 1e-9
    seconds = together * apart / torque
    assert trace.time[slipping][-1] <= seconds <= trace.time[slipping][-1] + trace.tick
    assert np.abs(trace["clutch_slip"][~slipping]).max() < 1e-9  # exact stick
    assert trace.energy["clutch"] == pytest.approx(0.5 * together * apart**2, rel=1e-3)
    # Momentum: what the shaft has won, the rear axle has lost.
    rear = v["rear_ratio"] * trace["wheel_speed_rl"][-1] / 3.6 / v["wheel_radius"]
    assert 0.3 * trace["shaft_speed"][-1] == pytest.approx(other * (apart - rear), rel=1e-6)


def test_adiabatic_heating(bound: Bound) -> None:
    # dT = E / (m c) while nothing flows away.
    v = bare(plate_capacity=300.0)
    v = v.with_curve("heat.plate_cooling", [0.01] * 5)
    scene = Scene(
        3.0,
        flat(0.2),
        fixed_drive_torque=900.0,
        fixed_clutch_torque=80.0,
        plate_temperature=20.0,
        oil_temperature=20.0,
    )
    trace = simulate(v, bound, scene)
    heat = float(trace["clutch_power"].sum() * trace.tick)
    assert heat > 5000
    risen = trace["plate_temperature"][-1] - 20.0
    assert risen == pytest.approx(heat / 300.0, rel=1e-3)


def test_two_node_heat_against_a_solver(bound: Bound) -> None:
    # The linear equations of plates and oil by scipy.integrate.solve_ivp.
    scene = Scene(
        20.0,
        flat(0.2),
        pedal=profile((0, 100)),
        traction_control=True,
        fixed_clutch_torque=90.0,
        plate_temperature=60.0,
        oil_temperature=20.0,
        ambient_temperature=-15.0,
    )
    v = bare(speed_most=300.0)
    trace = simulate(v, bound, scene)
    assert trace.completed
    c = v.curves
    power = np.append(trace["clutch_power"][1:], 0.0)

    def rate(t: float, x: np.ndarray) -> list[float]:
        speed = np.interp(t, trace.time, trace["speed"])
        into_oil = np.interp(speed, c["heat.speed"], c["heat.plate_cooling"])
        into_oil *= np.interp(x[1], c["heat.oil"], c["heat.oil_factor"]) * (x[0] - x[1])
        into_air = np.interp(speed, c["heat.speed"], c["heat.oil_cooling"]) * (x[1] + 15.0)
        heat = power[min(int(t / trace.tick + 1e-9), power.size - 1)]
        return [(heat - into_oil) / v["plate_capacity"], (into_oil - into_air) / v["oil_capacity"]]

    solved = solve_ivp(
        rate, (0, trace.time[-1]), [60.0, 20.0], t_eval=trace.time, rtol=1e-8, max_step=0.02
    )
    assert np.ptp(trace["plate_temperature"]) > 15
    assert np.ptp(trace["oil_temperature"]) > 0.5
    np.testing.assert_allclose(trace["plate_temperature"], solved.y[0], atol=0.05)
    np.testing.assert_allclose(trace["oil_temperature"], solved.y[1], atol=0.005)


CRUISE = Scene(
    4.0,
    speed=100.0,
    connected=False,
    pedal=profile((0, 10), (1.0, 10), (1.05, 75)),
    oil_temperature=40.0,
)


def test_reconnection_takes_spin_up_lag_and_dog(bound: Bound) -> None:
    # Spin-up J dw/T, the actuator's lag and slew before it, the dog clutch after it.
    trace = simulate(LARCH, bound, CRUISE)
    t = trace.time
    asked = t[np.argmax(trace["controller_state"] == 3)]
    joined = t[np.argmax((t > asked) & (trace["connected"] > 0.5))]
    table = bound.tables["spin_up_torque"]
    target = LARCH["rear_ratio"] * 100 / 3.6 / LARCH["wheel_radius"]
    torque = float(trace["clutch_capacity"][(t > asked) & (t < joined)].max())
    assert torque == pytest.approx(
        np.interp(target, table.axes[0].values, table.values[:, 3]), rel=0.2
    )
    spin = LARCH["shaft_inertia"] * (target - 12) / (torque - LARCH["shaft_drag"])
    ramp = 0.5 * torque / 1400.0 + 0.08 + LARCH["delay"]
    expected = spin + ramp + LARCH["dog_time"]
    assert joined - asked == pytest.approx(expected, abs=0.07)
    assert not trace.remarks
    assert trace.energy["dog"] > 0
    assert abs(trace.energy["residual"]) < 1e-3 * trace.energy["drive"]


def test_a_narrow_window_never_connects(larch_normal: CalibrationSet) -> None:
    # Known mistake of the trade: a window below the slip under traction (common practice).
    table = larch_normal["sync_window"]
    narrow = apply(larch_normal, values_change(table, np.full(table.shape, 0.2), "too narrow"))
    scene = replace(
        CRUISE, ground=ground("snow"), pedal=profile((0, 10), (1.0, 10), (1.05, 100)), duration=6.0
    )
    trace = simulate(LARCH, bind(narrow, LARCH.constants), scene)
    assert trace["connected"].max() == 0.0
    assert len(trace.remarks) == 1
    assert "never completed" in trace.remarks[0]
    assert "synchronising window" in trace.remarks[0]


LAUNCH = Scene(3.0, ground("snow"), pedal=profile((0, 0), (0.3, 60)), ambient_temperature=-10.0)


@pytest.mark.parametrize("motor", [-40.0, 20.0])
def test_clamp_lags_behind_the_current(bound: Bound, motor: float) -> None:
    trace = simulate(LARCH, bound, replace(LAUNCH, motor_temperature=motor))
    lag = np.interp(motor, LARCH.curves["actuator.motor"], LARCH.curves["actuator.lag"])
    c = LARCH.curves
    up = [np.interp(motor, c["actuator.motor"], row) for row in c["actuator.apply"]]
    down = [np.interp(motor, c["actuator.motor"], row) for row in c["actuator.release"]]
    forces = c["actuator.clamp"]

    def force(branch: list[float]) -> np.ndarray:
        # Below the touch point the plates open, as far per ampere as they first close.
        open_by = (trace["current"] - branch[0]) * (forces[1] - forces[0]) / (branch[1] - branch[0])
        pressed = np.interp(trace["current"], branch, forces)
        return np.where(trace["current"] < branch[0], np.maximum(open_by, -LARCH["gap"]), pressed)

    low, high = force(up), force(down)
    # An independent play and lag, fed with the trace's current.
    play = clamp = 0.0
    rate = np.interp(motor, c["actuator.motor"], c["actuator.rate"])
    expected = []
    for a, b in zip(low, high, strict=True):
        expected.append(max(clamp, 0.0))
        play = min(max(play, a), b)
        for _ in range(20):
            change = 0.001 / lag * (play - clamp)
            clamp += min(max(change, -0.001 * rate * LARCH["release_factor"]), 0.001 * rate)
    np.testing.assert_allclose(trace["clamp"], expected, atol=1e-6)
    assert trace["clamp"].max() > 1000


def test_open_plates_have_to_come_together_first(larch_normal: CalibrationSet) -> None:
    # The touch point current alone set too low: the plates stand apart before the launch, and
    # the first clamp comes later.  Common practice, no source.
    def first_clamp(below: float) -> float:
        table, cruise = larch_normal["touch_point_current"], larch_normal["cruise_base_torque"]
        content = apply(larch_normal, values_change(table, table.values - below, "try"))
        # Without torque at a standstill the plates wait at the touch point.
        content = apply(content, values_change(cruise, 0 * cruise.values, "none"))
        waiting = replace(LAUNCH, pedal=profile((0, 0), (1.0, 0), (1.1, 40)), speed=0.0)
        cold = replace(waiting, ambient_temperature=35.0)  # nothing is engaged beforehand
        trace = simulate(LARCH, bind(content, LARCH.constants), cold)
        late = trace.time > 1.0
        return float(trace.time[late][np.argmax(trace["clamp"][late] > 150)])

    right, low = first_clamp(0.0), first_clamp(0.4)
    assert low > right + 0.015
    assert first_clamp(0.8) >= low


def test_the_hardware_keeps_its_own_truth(larch_normal: CalibrationSet, bound: Bound) -> None:
    # What the set believes wrongly shows as a torque that is not the one asked for.
    def off(content: CalibrationSet) -> np.ndarray:
        trace = simulate(LARCH, bind(content, LARCH.constants), LAUNCH)
        late = trace.time > 0.5  # the clamp has come up
        return trace["clutch_capacity"][late] - trace["law_torque"][late]

    def size(difference: np.ndarray) -> float:
        return float(np.sqrt(np.mean(difference**2)))

    def edited(**tables: np.ndarray) -> CalibrationSet:
        content = larch_normal
        for id, values in tables.items():
            content = apply(content, values_change(content[id], values, "try"))
        return content

    up, down = (larch_normal[f"current_for_clamp_{b}"].values for b in ("apply", "release"))
    fine = off(larch_normal)
    exchanged = off(edited(current_for_clamp_apply=down, current_for_clamp_release=up))
    friction = off(edited(plate_friction=larch_normal["plate_friction"].values * 0.8))
    touch = off(edited(current_for_clamp_apply=up - 0.4))
    assert size(fine) < 10
    assert size(exchanged) > 4 * size(fine)
    assert exchanged[0] < -80  # pressing with the current of letting go
    assert np.mean(friction) > 40  # believes in less friction: presses harder
    assert np.mean(touch[:6]) < np.mean(fine[:6]) - 20  # too little current at first


def test_what_is_missing_is_named_and_the_rest_runs(larch_normal: CalibrationSet) -> None:
    table = larch_normal["pre_engage_torque"]
    values = table.values.copy()
    values[0, 0] = np.nan
    content = apply(larch_normal, values_change(table, values, "empty"))
    trace = simulate(LARCH, bind(content, LARCH.constants), LAUNCH)
    assert trace.completed
    assert set(trace.missing) == {"pre_engage_torque"}
    assert "not filled" in trace.missing["pre_engage_torque"]
    assert trace["clutch_torque"].max() > 20  # slip control still works


def test_without_any_table_the_clutch_stays_open() -> None:
    trace = simulate(LARCH, bind(CalibrationSet(), LARCH.constants), LAUNCH)
    assert trace.completed
    assert len(trace.missing) == 42
    assert trace["clamp"].max() == 0.0
    assert trace["speed"][-1] > 5
