"""Vehicle and scene as the compiled model takes them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from calib_model.core.arrays import FloatArray
from calib_model.vehicle.kernel_layout import (
    SCENE,
    STATE,
    VEHICLE,
    WHEEL,
    Course,
    Curves,
    Records,
)
from calib_model.vehicle.parameters import GRAVITY, PARAMETERS, Vehicle
from calib_model.vehicle.scene import WHEELS, Scene


def packed_vehicle(vehicle: Vehicle) -> Records:
    """Return a vehicle's numbers as one record."""
    front, rear, height = vehicle.centre
    derived = (
        vehicle.body_mass,
        front,
        rear,
        height,
        vehicle.body_inertia,
        vehicle.effective_radius,
        vehicle.wheelbase,
    )
    row = tuple(vehicle[name] for name in PARAMETERS) + derived
    return np.array([row], dtype=VEHICLE)


def packed_curves(vehicle: Vehicle, scene: Scene) -> Curves:
    """Return a vehicle's lists of numbers, the actuator's at the scene's motor temperature."""
    c = vehicle.curves
    motor, at = c["actuator.motor"], scene.motor_temperature

    def branch(key: str) -> FloatArray:
        return np.array([np.interp(at, motor, row) for row in c[key]])

    return Curves(
        *(
            np.array(a, dtype=np.float64)
            for a in (
                c["clutch.slip"],
                c["clutch.temperature"],
                c["clutch.friction"],
                c["clutch.oil"],
                c["clutch.drag"],
                c["actuator.clamp"],
                branch("actuator.apply"),
                branch("actuator.release"),
                c["engine.pedal"],
                c["engine.share"],
                c["heat.speed"],
                c["heat.plate_cooling"],
                c["heat.oil_cooling"],
                c["heat.oil"],
                c["heat.oil_factor"],
            )
        )
    )


def packed_course(scene: Scene) -> Course:
    """Return a scene's arrays."""
    brakes = [
        (b.start, b.end, float(WHEELS.index(b.wheel)), b.torque, float(b.active))
        for b in scene.brakes
    ]
    ground = scene.ground
    return Course(
        *(
            np.array(a, dtype=np.float64)
            for a in (
                ground.start,
                ground.friction,
                ground.rolling,
                ground.grade,
                scene.pedal,
                scene.speed_target,
                scene.speed_control,
                scene.brake_pedal,
                scene.steering,
                scene.path,
                scene.inside_brake_request,
                np.array(brakes, dtype=np.float64).reshape(-1, 5),
            )
        )
    )


def packed_scene(vehicle: Vehicle, scene: Scene, step: float, tick: float) -> Records:
    """Return a scene's single numbers as one record."""
    made = np.zeros(1, dtype=SCENE)
    n: Any = made[0]
    motor, at = vehicle.curves["actuator.motor"], scene.motor_temperature
    given = {
        "step": step,
        "tick": tick,
        "over_time": scene.ground.over_time,
        "actuator_lag": np.interp(at, motor, vehicle.curves["actuator.lag"]),
        "actuator_rate": np.interp(at, motor, vehicle.curves["actuator.rate"]),
        # The generator's states go from 1 to 2^31 - 2.
        "seed": 1 + (scene.seed * 7919 + 12345) % 2147483646,
    }
    for name in SCENE.names or ():
        n[name] = float(given.get(name, getattr(scene, name, 0.0)))
    return made


def first_state(vehicle: Vehicle, scene: Scene) -> tuple[Records, Records]:
    """Return the state at the start, rolling with the speed, and the four wheels."""
    made, wheels = np.zeros(1, dtype=STATE), np.zeros(4, dtype=WHEEL)
    s: Any = made[0]
    speed = scene.speed / 3.6
    turning = speed / vehicle["wheel_radius"]
    s["vx"], s["heading"] = speed, math.radians(scene.heading)
    s["connected"] = float(scene.connected)
    s["shaft"] = turning * vehicle["rear_ratio"] if scene.connected else 0.0
    s["plate"], s["oil"] = scene.plate_temperature, scene.oil_temperature
    s["traction"] = 1.0
    s["random"] = 1 + (scene.seed * 7919 + 12345) % 2147483646
    if len(scene.steering):
        s["steering"] = scene.steering[0, 1]
    wheels["speed"] = turning
    wheels["seen"] = scene.speed
    wheels["let_go"] = 1.0
    # At rest on a slope the wheel loads are those of the slope.
    grade = scene.ground.grade
    slope = math.atan((float(np.interp(0.0, *grade.T)) if len(grade) else 0.0) / 100.0)
    s["slope_sin"], s["slope_cos"] = math.sin(slope), math.cos(slope)
    s["load_x"] = s["seen_forward"] = GRAVITY * math.sin(slope)
    s["speed_estimate"] = scene.speed  # the controller has been on for a while
    if len(scene.speed_control) and scene.speed_control[0] @ (0.0, 1.0) > 0.5 and speed > 0:
        _start_steadily(vehicle, s, speed, slope)
    elif len(scene.pedal):
        s["pedal"] = scene.pedal[0, 1]
    return made, wheels


def _start_steadily(vehicle: Vehicle, s: Any, speed: float, slope: float) -> None:
    """Set pedal and drive torque to what keeps the speed, so that the drive begins settled."""
    mass = vehicle.body_mass + vehicle["trailer_mass"]
    air = vehicle["drag_area"] + vehicle["trailer_drag_area"]
    rolling = vehicle["rolling_resistance"] * vehicle.body_mass
    rolling += vehicle["trailer_rolling"] * vehicle["trailer_mass"]
    force = 0.5 * vehicle["air_density"] * air * speed**2 + rolling * GRAVITY
    force += mass * GRAVITY * math.sin(slope)
    share = vehicle.curves["engine.share"]
    at = np.linspace(0.0, 1.0, 401)
    overrun = vehicle["overrun_torque"] * min(speed / vehicle["wheel_radius"] / 8.0, 1.0)
    forces = at * vehicle["drive_force_most"] - overrun * (1 - at) ** 4 / vehicle["wheel_radius"]
    wanted = float(np.interp(force, forces, at))
    s["pedal"] = s["pedal_integral"] = float(
        np.interp(wanted, share, vehicle.curves["engine.pedal"])
    )
    s["drive_torque"] = force * vehicle["wheel_radius"]
