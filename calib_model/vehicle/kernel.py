# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The compiled loop: the plant every millisecond, the controller every tick.  Import late.

Semi-implicit Euler: tyre deflections from the speeds, forces from the deflections, speeds from
the forces, places from the speeds.
"""

from __future__ import annotations

import math

import numpy as np

from calib_model.controller import kernel as law
from calib_model.controller.inputs import INPUT_INDEX, SYNC_JUDGED
from calib_model.controller.outputs import DISCONNECTED, OUTPUT_INDEX, SPIN_UP
from calib_model.controller.state import STATE, USED
from calib_model.lookup.portable import inner, jit
from calib_model.vehicle.actuator import press
from calib_model.vehicle.body import (
    kinetic,
    move,
    place_wheels,
    roll_wheels,
    set_loads,
    stand_on,
    steer,
)
from calib_model.vehicle.brakes import brake, requested
from calib_model.vehicle.clutch import true_capacity
from calib_model.vehicle.driveline import book, dog, turn
from calib_model.vehicle.driver import act
from calib_model.vehicle.engine import drive
from calib_model.vehicle.heat import warm
from calib_model.vehicle.kernel_layout import (
    FINE,
    NOT_FINITE,
    STOPPED,
    TOO_FAST,
    WHEEL_LIFTS,
    WHEEL_TOO_FAST,
)
from calib_model.vehicle.kernel_reading import stepped
from calib_model.vehicle.sensors import SEEN, read, sense
from calib_model.vehicle.speed_estimate import estimate_speed
from calib_model.vehicle.tyre import forces

_AMBIENT, _PEDAL = INPUT_INDEX["ambient_temperature"], INPUT_INDEX["pedal"]
_SPEED, _WIPER = INPUT_INDEX["vehicle_speed"], INPUT_INDEX["wiper_state"]
_BRAKE, _STEERING = INPUT_INDEX["brake_state"], INPUT_INDEX["steering_angle"]
_PLATE, _OIL = INPUT_INDEX["plate_temperature"], INPUT_INDEX["oil_temperature"]
_MOTOR, _SHAFT = INPUT_INDEX["motor_temperature"], INPUT_INDEX["shaft_speed"]
_GRADE, _AXLES = INPUT_INDEX["grade"], INPUT_INDEX["axle_speed_difference"]
_INSIDE, _SYNC = INPUT_INDEX["inside_brake_request"], INPUT_INDEX["shaft_synchronised"]
_YAW, _LATERAL = INPUT_INDEX["yaw_rate"], INPUT_INDEX["lateral_acceleration"]
_PLATE_SLIP = INPUT_INDEX["plate_slip_speed"]
_SHAFT_TARGET = INPUT_INDEX["shaft_speed_target"]
_O_CURRENT, _O_CLAMP = OUTPUT_INDEX["current"], OUTPUT_INDEX["clamp"]
_O_INSIDE, _O_STATE = OUTPUT_INDEX["inside_brake"], OUTPUT_INDEX["state"]
_O_PLATE = OUTPUT_INDEX["plate_temperature"]


@inner()
def see(p, s, n, course, seen, estimates, x):
    """Fill in the controller's inputs from the signals as seen; NaN for what it works out."""
    for i in range(x.size):
        x[i] = math.nan
    front, rear = 0.5 * (seen[0] + seen[1]), 0.5 * (seen[2] + seen[3])
    shaft_per_kmh = p.rear_ratio / (3.6 * p.wheel_radius)
    x[_AMBIENT] = n.ambient_temperature
    x[_PEDAL] = stepped(s.pedal, p.pedal_step)
    x[_SPEED] = abs(s.speed_estimate)
    x[_WIPER] = n.wiper_state
    x[_BRAKE] = s.brake_active
    x[_STEERING] = seen[6]
    x[_OIL] = s.oil
    x[_MOTOR] = n.motor_temperature
    x[_SHAFT] = s.shaft
    # From the front wheels themselves: the speed over ground is not that of the rear wheels.
    x[_SHAFT_TARGET] = shaft_per_kmh * front
    x[_GRADE] = s.grade
    x[_AXLES] = shaft_per_kmh * (front - rear)
    x[_INSIDE] = requested(course, s.time)
    x[_SYNC] = SYNC_JUDGED
    x[_YAW] = seen[4]
    x[_LATERAL] = seen[5]
    if s.connected < 0.5:
        x[_PLATE_SLIP] = abs(s.shaft - shaft_per_kmh * rear)
    if not estimates:
        x[_PLATE] = n.plate_temperature


@inner()
def note(p, s, w, n, current, believed, clamp_asked, mode, o):
    """Write one row of the trace."""
    radius = p.wheel_radius * 3.6
    o.time, o.x, o.y, o.way = s.time, s.x, s.y, s.way
    o.heading, o.yaw_rate = math.degrees(s.heading), math.degrees(s.yaw_rate)
    o.speed, o.speed_estimate, o.lateral_speed = s.vx * 3.6, s.speed_estimate, s.vy
    o.sideslip = math.degrees(math.atan2(s.vy, abs(s.vx))) if abs(s.vx) > 0.5 else 0.0
    o.longitudinal_acceleration, o.lateral_acceleration = s.rate_x, s.rate_y
    o.wheel_speed_fl, o.wheel_speed_fr = w[0].speed * radius, w[1].speed * radius
    o.wheel_speed_rl, o.wheel_speed_rr = w[2].speed * radius, w[3].speed * radius
    o.slip_fl, o.slip_fr, o.slip_rl, o.slip_rr = w[0].along, w[1].along, w[2].along, w[3].along
    o.load_fl, o.load_fr, o.load_rl, o.load_rr = w[0].load, w[1].load, w[2].load, w[3].load
    o.force_x_fl, o.force_x_fr, o.force_x_rl, o.force_x_rr = w[0].fx, w[1].fx, w[2].fx, w[3].fx
    o.force_y_fl, o.force_y_fr, o.force_y_rl, o.force_y_rr = w[0].fy, w[1].fy, w[2].fy, w[3].fy
    o.brake_torque_fl, o.brake_torque_fr = w[0].cap - w[0].rolling, w[1].cap - w[1].rolling
    o.brake_torque_rl, o.brake_torque_rr = w[2].cap - w[2].rolling, w[3].cap - w[3].rolling
    o.front_slip = max(w[0].speed * radius - w[0].vx * 3.6, w[1].speed * radius - w[1].vx * 3.6)
    o.rear_slip = max(w[2].speed * radius - w[2].vx * 3.6, w[3].speed * radius - w[3].vx * 3.6)
    o.pedal, o.brake_pedal, o.steering_angle, o.grade = s.pedal, s.brake_pedal, s.steering, s.grade
    o.drive_torque, o.traction_share = s.drive_torque, s.traction
    o.shaft_speed, o.connected = s.shaft, s.connected
    o.clutch_slip = s.shaft - p.rear_ratio * 0.5 * (w[2].speed + w[3].speed)
    o.clutch_torque, o.clutch_capacity = s.clutch_torque, s.clutch_capacity
    o.clutch_power = s.clutch_heat / n.tick
    s.clutch_heat = 0.0
    o.clamp, o.clamp_asked, o.current = s.clamp, clamp_asked, current
    o.plate_temperature, o.plate_temperature_believed = s.plate, believed
    o.oil_temperature = s.oil
    o.inside_brake_torque, o.brake_active, o.controller_state = s.inside_brake, s.brake_active, mode


@inner()
def out_of_range(p, s, w, least_load):
    """Return why the model's range is left, or FINE."""
    total = s.vx + s.vy + s.yaw_rate + s.shaft + s.clamp + s.plate
    for i in range(4):
        total += w[i].speed
    if not math.isfinite(total):
        return NOT_FINITE
    if least_load <= 0.0:
        return WHEEL_LIFTS
    if max(abs(s.vx), abs(s.vy)) * 3.6 > p.speed_most:
        return TOO_FAST
    for i in range(4):
        if abs(w[i].speed) * p.wheel_radius * 3.6 > p.wheel_speed_most:
            return WHEEL_TOO_FAST
    return FINE


@inner()
def plant(p, s, w, n, curves, course, work, fixed, rate, other, step):
    """Run one step of the plant; return the smallest wheel load."""
    act(p, s, course, step)
    steer(p, s, w)
    least = set_loads(p, s, w)
    stand_on(p, s, w, n, course)
    roll_wheels(s, w)
    for i in range(4):
        forces(p, w[i], p.front_side_factor if i < 2 else p.rear_side_factor, step)
    drive(p, s, w, n, curves, step)
    brake(p, s, w, n, course, step)
    if fixed:
        s.clutch_capacity = n.fixed_clutch_torque
    else:
        press(p, s, n, curves, step)
        slip = s.shaft - p.rear_ratio * 0.5 * (w[2].speed + w[3].speed)
        s.clutch_capacity = true_capacity(p, s, curves, slip)
    new_shaft = turn(p, s, w, step, rate, other)
    move(p, s, w, work, step)
    heat = book(p, s, w, work, new_shaft, step)
    warm(p, s, n, curves, heat / step, step)
    s.time += step
    return least


@jit()
def run(
    bank, constants, law_state, params, state, wheels, scene, curves, course, columns, inputs,
    outputs, works, steps, per_tick, delay, estimates,
):  # fmt: skip
    """Drive.

    Parameters
    ----------
    bank, constants, law_state : tuple and float arrays
        As the torque law takes them.
    params, state : records, one each
    wheels : records, four
    scene : record
    curves, course : `Curves` and `Course`
    columns, inputs, outputs : arrays with a row per tick
        Filled.
    works : record
        What the energy ledger adds to.
    steps, per_tick, delay : int
        Steps of the whole drive, per tick, and of the bus delay.
    estimates : bool
        Whether the controller estimates the plates' temperature itself.

    Returns
    -------
    (int, int)
        Why it ended, and how many rows are filled.
    """
    p, s, n, w, work = params[0], state[0], scene[0], wheels, works[0]
    rate, other, seen = np.zeros(4), np.zeros(4), np.zeros(SEEN)
    delayed = np.zeros((delay + 1, SEEN))
    fixed = n.fixed_clutch_torque == n.fixed_clutch_torque
    mode, current, believed, clamp_asked = law_state[STATE], 0.0, s.plate, 0.0
    started_below = s.vx * 3.6 < n.stop_speed
    place_wheels(p, s, w)
    steer(p, s, w)
    least = set_loads(p, s, w)
    stand_on(p, s, w, n, course)
    roll_wheels(s, w)
    for i in range(4):
        w[i].cap = w[i].rolling
    for place in range(delay + 1):
        sense(p, s, w, delayed, place, 0.0)
    rows = 0
    for k in range(steps + 1):
        if k % per_tick == 0:
            read(p, s, delayed, k % (delay + 1), seen)
            x = inputs[rows]
            estimate_speed(p, s, n, seen)
            see(p, s, n, course, seen, estimates, x)
            if not fixed:
                out = outputs[rows]
                law.step(bank, constants, n.tick, x, law_state, out)
                for i in range(x.size):  # as the law used them, what it works out included
                    x[i] = law_state[USED + i]
                current, clamp_asked = out[_O_CURRENT], out[_O_CLAMP]
                mode, believed = out[_O_STATE], out[_O_PLATE]
                s.current = current if current > 0.0 else 0.0
                s.inside_wanted = out[_O_INSIDE] if out[_O_INSIDE] > 0.0 else 0.0
            note(p, s, w, n, current, believed, clamp_asked, mode, columns[rows])
            rows += 1
            why = out_of_range(p, s, w, least)
            if why != FINE:
                return why, rows
            if started_below and s.vx * 3.6 >= n.stop_speed:
                return STOPPED, rows
        if k == steps:
            break
        least = plant(p, s, w, n, curves, course, work, fixed, rate, other, n.step)
        if not fixed:
            dog(p, s, w, work, 0.0 if mode in (DISCONNECTED, SPIN_UP) else 1.0, n.step)
        sense(p, s, w, delayed, k % (delay + 1), n.step)
    return FINE, rows


@jit()
def kinetic_of(params, state, wheels):
    """Return the kinetic energy in J."""
    return kinetic(params[0], state[0], wheels)
