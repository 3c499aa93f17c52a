# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""What the controller sees: filtered, delayed by the bus, on a raster, with noise.  Import late."""

from __future__ import annotations

import math

from calib_model.lookup.portable import inner
from calib_model.vehicle.body import GRAVITY
from calib_model.vehicle.kernel_reading import stepped

SEEN = 8
"""Signals through the delay: four wheel speeds, yaw rate, lateral, steering wheel, forward."""


@inner()
def sense(p, s, w, delayed, place, step):
    """Filter the signals and put them into the ring `delayed` (rows of `SEEN`) at `place`."""
    share = step / p.wheel_speed_filter
    for i in range(4):
        true = w[i].speed * p.wheel_radius * 3.6
        w[i].seen += min(share, 1.0) * (true - w[i].seen)
        delayed[place, i] = w[i].seen
    share = min(step / p.acceleration_filter, 1.0)
    s.seen_yaw += share * (math.degrees(s.yaw_rate) - s.seen_yaw)
    s.seen_lateral += share * (s.rate_y - s.seen_lateral)
    # What the sensor feels forward holds the slope's part.
    forward = s.rate_x - s.vy * s.yaw_rate + GRAVITY * s.slope_sin
    s.seen_forward += share * (forward - s.seen_forward)
    delayed[place, 4] = s.seen_yaw
    delayed[place, 5] = s.seen_lateral
    delayed[place, 6] = s.steering
    delayed[place, 7] = s.seen_forward


@inner()
def read(p, s, delayed, place, seen):
    """Read the oldest signals from the ring as the controller gets them, into `seen`."""
    for i in range(4):
        value = delayed[place, i] + p.wheel_speed_noise * noise(s)
        seen[i] = stepped(value, p.wheel_speed_step)
    seen[4] = stepped(delayed[place, 4], p.yaw_rate_step)
    seen[5] = stepped(delayed[place, 5], p.acceleration_step)
    seen[6] = stepped(delayed[place, 6], p.steering_step)
    seen[7] = stepped(delayed[place, 7], p.acceleration_step)


@inner()
def noise(s):
    """Return a number of mean 0 and deviation 1, near enough to normal: the sum of four uniform.

    From D. H. Lehmer's generator modulo 2^31 - 1 with the multiplier 48271 (as in ISO C++'s
    minstd_rand), which whole numbers in floats hold exactly: the same on every machine.
    """
    total = 0.0
    for _ in range(4):
        s.random = float(int(s.random) * 48271 % 2147483647)
        total += s.random / 2147483647.0
    return (total - 2.0) * 1.7320508075688772
