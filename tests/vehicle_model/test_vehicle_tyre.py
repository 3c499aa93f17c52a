"""Tyres against published friction curves and the relaxation length's definition."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from calib_model.controller.binding import Bound
from calib_model.errors import ModelError
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.scene import (
    SURFACES,
    Patch,
    Scene,
    ground,
    peak_friction,
    profile,
    surface_at,
)
from calib_model.vehicle.simulate import simulate
from tests.vehicle_model.vehicle_making import WHEELS, bare


@pytest.mark.parametrize(
    ("surface", "peak", "at"),
    # Peaks of M. Burckhardt's curves as quoted in the project's list of outside checks.
    [("dry", 1.17, 0.17), ("wet", 0.80, 0.13), ("snow", 0.19, 0.06), ("ice", 0.05, None)],
)
def test_friction_peaks_where_published(surface: str, peak: float, at: float | None) -> None:
    c1, c2, c3 = SURFACES[surface]
    slip = np.linspace(0, 1, 10_001)
    friction = c1 * (1 - np.exp(-c2 * slip)) - c3 * slip
    assert round(float(friction.max()), 2) == peak
    assert peak_friction(SURFACES[surface]) == pytest.approx(friction.max(), abs=1e-6)
    if at is not None:
        assert slip[friction.argmax()] == pytest.approx(at, abs=0.005)


@pytest.mark.parametrize("surface", ["dry", "snow"])
def test_the_model_drives_along_the_published_curve(bound: Bound, surface: str) -> None:
    # Rear wheels roll, front wheels spin up slowly: force over load, against slip, is the curve.
    v = bare(wheel_inertia=6.0, drive_inertia=40.0, relaxation_along=0.02, wheel_speed_most=600.0)
    torque = {"dry": 4200.0, "snow": 900.0}[surface]
    scene = Scene(4.0, ground(surface), fixed_drive_torque=torque, fixed_clutch_torque=0.0)
    trace = simulate(v, bound, scene)
    moving = trace["speed"] > 6.0
    slip = trace["slip_fl"][moving]
    measured = (trace["force_x_fl"] / trace["load_fl"])[moving]
    c1, c2, c3 = SURFACES[surface]
    assert slip.max() > 0.4
    np.testing.assert_allclose(measured, c1 * (1 - np.exp(-c2 * slip)) - c3 * slip, atol=2e-3)


def test_relaxation_after_a_step(bound: Bound) -> None:
    # By the relaxation length's definition the force grows as 1 - exp(-x / sigma) (Pacejka, Tyre
    # and Vehicle Dynamics, from memory); so fast that the body is still on its course.
    v = bare(yaw_inertia=100000.0, relaxation_across=0.6)
    scene = Scene(
        0.04,
        speed=150.0,
        steering=profile((0, 1.0)),
        fixed_drive_torque=0.0,
        fixed_clutch_torque=0.0,
    )
    trace = simulate(v, replace(bound, tick_s=0.001), scene, step=0.00005)
    stiffness = v.side_stiffness("dry")[0]
    steady = stiffness * math.radians(1.0 / 15.0)
    force = trace["force_y_fl"] + trace["force_y_fr"]
    expected = steady * (1 - np.exp(-trace["way"] / 0.6))
    early = trace["way"] < 0.9
    assert early.sum() > 10
    np.testing.assert_allclose(force[early], expected[early], atol=0.012 * steady)


def test_where_sliding_turns_round_only_the_elastic_part_springs_back(bound: Bound) -> None:
    # A spinning wheel is braked until it turns slower than the road. Of its deflection what uses
    # 95 % of the friction is elastic, by the model's definition: 1 - exp(-c2 s) = 0.95 at
    # s = 3/c2 nearly; the rest was sliding, and is gone at that moment.
    v = bare(relaxation_along=0.6, wheel_inertia=1.0, drive_inertia=1.0)
    scene = Scene(
        0.6,
        ground("snow"),
        speed=40.0,
        fixed_drive_torque=1500.0,
        fixed_clutch_torque=0.0,
        brake_pedal=profile((0, 0), (0.3, 0), (0.31, 100)),
        slip_braking=False,
        traction_control=False,
        brake_traction=False,
    )
    trace = simulate(v, replace(bound, tick_s=0.001), scene, step=0.00005)
    faster = trace["wheel_speed_fl"] - trace["speed"] > 0
    turned = int(np.flatnonzero(faster[:-1] & ~faster[1:])[-1])
    slip = trace["slip_fl"]
    elastic = -math.log(1 - 0.95) / SURFACES["snow"][1]
    assert slip[turned] > 10 * elastic
    # Up to a tick (1 ms) after it turned round; the deflection is on its way down by then.
    assert 0.95 * elastic < slip[turned + 1] < 1.002 * elastic


def test_force_never_leaves_the_friction_circle(bound: Bound) -> None:
    scene = Scene(
        5.0,
        ground(Patch(0, "wet")),
        speed=60.0,
        pedal=profile((0, 100)),
        steering=profile((0, 0), (1, 200), (2, -200)),
    )
    trace = simulate(LARCH, bound, scene)
    most = peak_friction(SURFACES["wet"])
    used = [
        np.hypot(trace[f"force_x_{w}"], trace[f"force_y_{w}"]) / trace[f"load_{w}"] for w in WHEELS
    ]
    assert max(u.max() for u in used) <= most + 1e-9
    assert max(u.max() for u in used) > 0.9 * most  # the limit was met


def test_patches_reach_the_front_wheels_first(bound: Bound) -> None:
    scene = Scene(6.0, ground("ice", Patch(10.0, "dry")), speed=20.0, pedal=profile((0, 60)))
    trace = simulate(LARCH, bound, scene)
    used_front = trace["force_x_fl"] / trace["load_fl"]
    used_rear = np.hypot(trace["force_x_rl"], trace["force_y_rl"]) / trace["load_rl"]
    front_at = trace["way"][np.argmax(used_front > 0.06)]
    rear_at = trace["way"][np.argmax(used_rear > 0.06)]
    assert front_at == pytest.approx(10 - LARCH["front_to_centre"], abs=0.3)
    assert rear_at == pytest.approx(10 + LARCH["rear_to_centre"], abs=0.3)


def test_surfaces_are_named_or_given() -> None:
    assert peak_friction(surface_at(0.35)) == pytest.approx(0.35)
    with pytest.raises(ModelError, match="no surface 'mud'"):
        ground("mud")
    with pytest.raises(ModelError, match="order"):
        ground(Patch(0, "dry"), Patch(0, "ice"))
    with pytest.raises(ModelError, match="times of pedal"):
        Scene(1.0, pedal=profile((1, 0), (0, 5)))
