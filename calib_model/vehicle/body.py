# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The body: wheel positions and steering, wheel loads, motion in the plane.  Import late.

Axes and signs follow ISO 8855.  A trailer is a mass that is pulled; it does not swing.
"""

from __future__ import annotations

import math

from calib_model.lookup.portable import inner
from calib_model.vehicle.kernel_reading import between_rows

GRAVITY = 9.81


@inner()
def place_wheels(p, s, w):
    """Set where the wheels are, from the centre of gravity; they point ahead."""
    half = p.track / 2.0
    for i in range(4):
        w[i].place_x = p.to_front if i < 2 else -p.to_rear
        w[i].place_y = half if i % 2 == 0 else -half
        w[i].cos = 1.0
        w[i].sin = 0.0
    s.steered = 0.0


@inner()
def steer(p, s, w):
    """Turn the front wheels by true Ackermann angles, for the steering wheel angle in deg."""
    if s.steering == s.steered:
        return
    s.steered = s.steering
    tangent = math.tan(math.radians(s.steering) / p.steering_ratio)
    for i in range(2):
        # The turning centre lies abeam of the rear axle; each wheel is square to its radius.
        left = 1.0 if i == 0 else -1.0
        side = p.wheelbase - left * tangent * p.track / 2.0
        along, across = side, p.wheelbase * tangent
        length = math.hypot(along, across)
        w[i].cos = along / length
        w[i].sin = across / length


@inner()
def roll_wheels(s, w):
    """Set the speed of the road under each wheel, in the wheel's directions."""
    for i in range(4):
        vx = s.vx - s.yaw_rate * w[i].place_y
        vy = s.vy + s.yaw_rate * w[i].place_x
        w[i].vx = w[i].cos * vx + w[i].sin * vy
        w[i].vy = w[i].cos * vy - w[i].sin * vx


@inner()
def stand_on(p, s, w, n, course):
    """Set friction and rolling resistance under each wheel, and the slope."""
    last = course.start.size - 1
    for i in range(4):
        at = s.time if n.over_time > 0.5 else s.way + w[i].place_x
        row = 0
        while row < last and course.start[row + 1] <= at:
            row += 1
        side = i % 2
        w[i].c1 = course.friction[row, side, 0]
        w[i].c2 = course.friction[row, side, 1]
        w[i].c3 = course.friction[row, side, 2]
        share = p.rolling_resistance + course.rolling[row]
        w[i].rolling = share * w[i].load * p.wheel_radius
    s.grade = between_rows(course.grade, s.way)
    length = math.hypot(100.0, s.grade)
    s.slope_sin = s.grade / length
    s.slope_cos = 100.0 / length


@inner()
def set_loads(p, s, w):
    """Set the wheel loads from the lagged accelerations; return the smallest."""
    weight = p.body_mass * GRAVITY * s.slope_cos
    pulled = p.trailer_mass * s.load_x  # what the trailer holds back, its slope included
    base = p.wheelbase
    front = (
        weight * p.to_rear
        - p.body_mass * s.load_x * p.height
        - pulled * p.hitch_height
        - p.hitch_load * p.hitch_behind
    ) / base
    rear = weight + p.hitch_load - front
    roll = p.body_mass * s.load_y * p.height / p.track
    front_roll = p.front_roll_share * roll
    rear_roll = roll - front_roll
    w[0].load = front / 2.0 - front_roll
    w[1].load = front / 2.0 + front_roll
    w[2].load = rear / 2.0 - rear_roll
    w[3].load = rear / 2.0 + rear_roll
    return min(w[0].load, w[1].load, w[2].load, w[3].load)


@inner()
def move(p, s, w, work, step):
    """Step the body by the tyre forces, slope and air; book what they do."""
    fx, fy, moment, turned = 0.0, 0.0, 0.0, 0.0
    for axle in range(0, 4, 2):
        # Left and right are added first, so that a mirrored drive has the same sums to the bit.
        left, right = w[axle], w[axle + 1]
        left_x = left.cos * left.fx - left.sin * left.fy
        left_y = left.sin * left.fx + left.cos * left.fy
        right_x = right.cos * right.fx - right.sin * right.fy
        right_y = right.sin * right.fx + right.cos * right.fy
        fx += left_x + right_x
        fy += left_y + right_y
        moment += (left.place_x * left_y - left.place_y * left_x) + (
            right.place_x * right_y - right.place_y * right_x
        )
        turned += p.wheel_radius * (
            left.fx * 0.5 * (left.speed + left.new) + right.fx * 0.5 * (right.speed + right.new)
        )
    mass = p.body_mass + p.trailer_mass
    slope = mass * GRAVITY * s.slope_sin
    air = 0.5 * p.air_density * (p.drag_area + p.trailer_drag_area) * s.vx * abs(s.vx)
    trailer_weight = max(p.trailer_mass * GRAVITY * s.slope_cos - p.hitch_load, 0.0)
    # Of a standing trailer this resistance would push; it comes in with the first centimetres.
    trailer = p.trailer_rolling * trailer_weight * max(min(s.vx / 0.1, 1.0), -1.0)

    # The vehicle's axes turn: the velocity stays in space, so it is turned back by the angle,
    # exactly, since dt * vy * r would slowly add energy.  A trailer has mass forward only: then
    # it is the velocity with its forward part stretched that turns and keeps its energy.
    stretch = math.sqrt(mass / p.body_mass)
    angle = s.yaw_rate * step / stretch
    cos, sin = math.cos(angle), math.sin(angle)
    vx = s.vx * cos + s.vy * sin / stretch
    vy = s.vy * cos - stretch * s.vx * sin
    rate_x = (fx - slope - air - trailer) / mass
    rate_y = fy / p.body_mass
    new_x = vx + step * rate_x
    new_y = vy + step * rate_y
    new_yaw = s.yaw_rate + step * moment / p.body_inertia
    mean_x, mean_y = 0.5 * (vx + new_x), 0.5 * (vy + new_y)
    mean_yaw = 0.5 * (s.yaw_rate + new_yaw)

    work.potential += step * slope * mean_x
    work.drag += step * air * mean_x
    work.rolling += step * trailer * mean_x
    work.tyre += step * (turned - fx * mean_x - fy * mean_y - moment * mean_yaw)

    s.rate_x = (new_x - s.vx) / step
    s.rate_y = rate_y
    lag = step / p.load_lag
    s.load_x += lag * (rate_x + GRAVITY * s.slope_sin - s.load_x)
    s.load_y += lag * (rate_y - s.load_y)
    cos, sin = math.cos(s.heading), math.sin(s.heading)
    s.x += step * (mean_x * cos - mean_y * sin)
    s.y += step * (mean_x * sin + mean_y * cos)
    s.way += step * mean_x
    s.heading += step * mean_yaw
    s.vx, s.vy, s.yaw_rate = new_x, new_y, new_yaw


@inner()
def kinetic(p, s, w):
    """Return the kinetic energy of body, wheels, drives and driveshaft in J."""
    total = 0.5 * p.body_mass * (s.vx * s.vx + s.vy * s.vy)
    total += 0.5 * p.trailer_mass * s.vx * s.vx
    total += 0.5 * p.body_inertia * s.yaw_rate * s.yaw_rate
    for i in range(4):
        total += 0.5 * p.wheel_inertia * w[i].speed * w[i].speed
    front = 0.5 * (w[0].speed + w[1].speed)
    rear = 0.5 * (w[2].speed + w[3].speed)
    total += 0.5 * p.drive_inertia * front * front + 0.5 * p.rear_inertia * rear * rear
    return total + 0.5 * p.shaft_inertia * s.shaft * s.shaft
