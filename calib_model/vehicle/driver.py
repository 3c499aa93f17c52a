# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The driver: follows a speed with accelerator and brake, a path with the steering wheel.

Or does what profiles over time say.  Import late.
"""

from __future__ import annotations

import math

from calib_model.lookup.portable import inner
from calib_model.vehicle.kernel_reading import between_rows, clip, held_row


@inner()
def act(p, s, course, step):
    """Step pedals and steering wheel."""
    s.brake_pedal = clip(between_rows(course.brake_pedal, s.time), 0.0, 100.0)
    if held_row(course.speed_control, s.time) > 0.5:
        _follow_speed(p, s, course, step)
    else:
        s.pedal = clip(between_rows(course.pedal, s.time), 0.0, 100.0)
        s.pedal_integral = s.pedal  # so that following a speed begins without a jump
    if course.path.shape[0] > 1:
        _follow_path(p, s, course.path, step)
    else:
        s.steering = clip(between_rows(course.steering, s.time), -p.steering_most, p.steering_most)


@inner()
def _follow_speed(p, s, course, step):
    error = between_rows(course.speed_target, s.time) - s.vx * 3.6
    wanted = p.pedal_gain * error + s.pedal_integral
    # The integral stops where the pedals have no more to give.
    if (wanted < 100.0 or error < 0.0) and (wanted > -100.0 or error > 0.0):
        s.pedal_integral += step * p.pedal_integral * error
    most = step * p.pedal_rate_most
    s.pedal += clip(clip(wanted, 0.0, 100.0) - s.pedal, -most, most)
    s.brake_pedal = max(s.brake_pedal, clip(-p.brake_share * (wanted + 5.0), 0.0, 100.0))


@inner()
def _follow_path(p, s, path, step):
    """Aim at a point ahead on the path by the circle that leads there (pure pursuit).

    R. C. Coulter, Implementation of the pure pursuit path tracking algorithm, 1992 (from memory).
    """
    last = path.shape[0] - 1
    cos, sin = math.cos(s.heading), math.sin(s.heading)
    # The circle is that of the rear axle's centre.
    rear_x, rear_y = s.x - p.to_rear * cos, s.y - p.to_rear * sin
    ahead = max(p.preview * abs(s.vx), p.preview_least)
    row = int(s.path_row)
    while row < last:
        dx, dy = path[row, 0] - rear_x, path[row, 1] - rear_y
        if dx * dx + dy * dy >= ahead * ahead and dx * cos + dy * sin > 0.0:
            break
        row += 1
    s.path_row = row
    dx, dy = path[row, 0] - rear_x, path[row, 1] - rear_y
    across = dy * cos - dx * sin
    distance = max(dx * dx + dy * dy, 0.25)
    angle = math.atan(2.0 * p.wheelbase * across / distance)
    wanted = clip(math.degrees(angle) * p.steering_ratio, -p.steering_most, p.steering_most)
    most = step * p.steering_rate_most
    s.steering += clip(wanted - s.steering, -most, most)
