"""Brakes, engine and random drives: limits that must hold whatever is done."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model import open_set
from calib_model.controller.binding import Bound, bind
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.scene import Brake, Patch, Scene, ground, profile
from calib_model.vehicle.simulate import simulate
from tests.vehicle_model.vehicle_making import GRAVITY, WHEELS, bare, flat

SET = Path(__file__).resolve().parents[2] / "sample_sets" / "larch_normal.h5"

STOP = Scene(
    5.0,
    flat(0.3),
    speed=40.0,
    brake_pedal=profile((0, 100)),
    slip_braking=False,
    fixed_clutch_torque=0.0,
    fixed_drive_torque=0.0,
)


def test_locked_wheels_stop_with_mu_g(bound: Bound) -> None:
    # Locked, every wheel gives mu Fz: a = mu g; distance v^2 / (2 mu g).
    trace = simulate(bare(), bound, STOP)
    sliding = (trace.time > 0.4) & (trace["speed"] > 5)
    for w in WHEELS:
        assert np.abs(trace[f"wheel_speed_{w}"][sliding]).max() == 0.0
    v = trace["speed"][sliding] / 3.6
    t = trace.time[sliding]
    assert (v[0] - v[-1]) / (t[-1] - t[0]) == pytest.approx(0.3 * GRAVITY, rel=1e-3)
    assert abs(trace["speed"][-1]) < 0.05  # it stands, and does not creep back
    entries = trace.energy
    assert abs(entries["residual"]) < 1e-3 * abs(entries["kinetic"])


def test_slip_braking_keeps_the_wheels_turning(bound: Bound) -> None:
    scene = replace(STOP, ground=ground("snow"), slip_braking=True, duration=3.0)
    locked = simulate(bare(), bound, replace(scene, slip_braking=False))
    trace = simulate(bare(), bound, scene)
    late = (trace.time > 0.6) & (trace["speed"] > 10)
    assert max(-trace[f"slip_{w}"][late].min() for w in WHEELS) < 0.5
    assert trace["brake_active"][late].max() == 1.0
    # On a curve that falls off, slipping less stops sooner.
    assert trace["speed"][-1] < locked["speed"][-1] - 0.5


def test_brake_control_opens_the_clutch(bound: Bound) -> None:
    window = Brake(1.0, 2.0, "fl", 300.0)
    scene = Scene(
        3.0, ground("snow"), speed=30.0, pedal=profile((0, 50)), brakes=(window,),
        ambient_temperature=-10.0,
    )  # fmt: skip
    trace = simulate(LARCH, bound, scene)
    t = trace.time
    before = trace["clutch_capacity"][(t > 0.8) & (t < 1.0)].mean()
    during = trace["clutch_capacity"][(t > 1.6) & (t < 2.0)].mean()
    assert trace["brake_active"][(t > 1.05) & (t < 1.95)].min() == 1.0
    assert during < 0.3 * before
    assert trace["brake_torque_fl"].max() > 100
    assert trace["brake_torque_fr"].max() < trace["brake_torque_fl"].max()


def test_power_and_force_of_the_engine_are_limited(bound: Bound) -> None:
    trace = simulate(LARCH, bound, Scene(12.0, pedal=profile((0, 100))))
    radius = LARCH["wheel_radius"]
    front = (trace["wheel_speed_fl"] + trace["wheel_speed_fr"]) / 7.2 / radius
    power = trace["drive_torque"] * front
    assert trace["drive_torque"].max() <= LARCH["drive_force_most"] * radius + 1e-9
    # The lag lets the torque stand a moment above the falling limit.
    assert power.max() < 1000 * LARCH["power_most"] * 1.06
    assert power[-1] == pytest.approx(1000 * LARCH["power_most"], rel=0.05)


def test_traction_control_holds_the_slip(bound: Bound) -> None:
    scene = Scene(6.0, ground("snow"), pedal=profile((0, 0), (0.3, 100)), fixed_clutch_torque=0.0)
    held = simulate(LARCH, bound, scene)
    free = simulate(LARCH, bound, replace(scene, traction_control=False))
    late = held.time > 3.0
    allowed = LARCH["traction_slip"] + LARCH["traction_share"] * held["speed"][late]
    assert np.abs(held["front_slip"][late] - allowed).max() < 2.0
    assert free["front_slip"].max() > 5 * held["front_slip"][late].max()


@cache
def _bound() -> Bound:
    # No fixture: Hypothesis would write it out with a failing example.
    return bind(open_set(SET), LARCH.constants)


_times = st.lists(st.floats(0.05, 2.5), min_size=1, max_size=4, unique_by=lambda t: round(t, 2))


@st.composite
def _profiles(draw: st.DrawFn, low: float, high: float) -> np.ndarray:
    times = sorted(draw(_times))
    return profile(*((t, draw(st.floats(low, high))) for t in times))


@given(
    surface=st.sampled_from(["dry", "wet", "snow", "ice"]),
    right=st.sampled_from(["dry", "wet", "snow", "ice"]),
    grade=st.floats(-25, 25),
    speed=st.floats(0, 120),
    pedal=_profiles(0, 100),
    brake=_profiles(0, 100),
    steering=_profiles(-540, 540),
    cold=st.floats(-40, 50),
    connected=st.booleans(),
    payload=st.floats(0, 900),
    trailer=st.floats(0, 1200),
)
def test_any_drive_is_finite_or_says_why_and_keeps_its_energy(
    surface: str,
    right: str,
    grade: float,
    speed: float,
    pedal: np.ndarray,
    brake: np.ndarray,
    steering: np.ndarray,
    cold: float,
    connected: bool,
    payload: float,
    trailer: float,
) -> None:
    v = LARCH.replaced(payload=payload, trailer_mass=trailer)
    scene = Scene(
        3.0,
        ground(Patch(0, surface, right), Patch(15, right, surface), grade=grade),
        speed=speed,
        connected=connected,
        pedal=pedal,
        brake_pedal=brake,
        steering=steering,
        ambient_temperature=cold,
        motor_temperature=cold,
        oil_temperature=cold,
        plate_temperature=cold,
        inside_brake_request=profile((0, 1)),
    )
    trace = simulate(v, _bound(), scene)
    assert trace.completed == (trace.why == "")
    assert "no finite" not in trace.why
    for name, values in trace.columns.items():
        assert np.isfinite(values).all(), name
    entries = trace.energy
    moved = sum(abs(value) for name, value in entries.items() if name != "residual")
    assert abs(entries["residual"]) < 1e-3 * moved + 1.0
    for name in ("clutch", "dog", "brakes", "rolling", "shaft"):
        assert entries[name] >= -1e-3, name  # J; the solver of held wheels stops somewhere
    share = np.abs(trace["clutch_torque"]) - trace["clutch_capacity"]
    assert share.max() < 1e-6
