# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""Speed over ground as a controller estimates it: it cannot know the true one.  Import late.

Common practice, no source: the measured acceleration, less the slope's part, carries the estimate
on; the wheels correct it.  While the engine drives, no wheel but a braked one is slower than the
vehicle, and while it is braked none but a spinning one is faster: of four the second slowest, or
the second fastest, is the best witness; while it coasts, the two in the middle are.  It is
believed while it is near, or where it says what wheels cannot say wrongly (coasting: all four
agree); otherwise it slips, and only the allowance for the sensor's error goes its way.  A vehicle
that slides sideways while all its wheels slip is estimated too fast or too slow by some km/h.
"""

from __future__ import annotations

import math

from calib_model.lookup.portable import inner
from calib_model.vehicle.body import GRAVITY

FOLLOWS = 0.3
"""s, within which the estimate follows a wheel that rolls."""
NEAR = 1.0
"""km/h, within which a wheel counts as rolling..."""
NEAR_SHARE = 0.02
"""...or this share of the speed."""
DRIFT = 0.05
"""m/s2, how wrong the measured acceleration is held to be while no wheel rolls."""


@inner()
def estimate_speed(p, s, n, seen):
    """Carry `s.speed_estimate` (km/h, falls below zero while rolling back) on by a tick."""
    # What each wheel says of the speed at the middle of the rear axle.
    cosine = 1.0 / math.hypot(1.0, math.tan(math.radians(seen[6]) / p.steering_ratio))
    yaw = math.radians(seen[4])
    turn = 3.6 * yaw * p.track / 2.0
    front_left, front_right = seen[0] * cosine + turn, seen[1] * cosine - turn
    rear_left, rear_right = seen[2] + turn, seen[3] - turn
    # The two in the middle of four.
    one = max(min(front_left, front_right), min(rear_left, rear_right))
    other = min(max(front_left, front_right), max(rear_left, rear_right))
    braked = s.brake_pedal > 0.0 or s.brake_active > 0.5
    driven = not braked and s.pedal > 0.0
    witness = 0.5 * (one + other)
    if braked:
        witness = max(one, other)
    elif driven:
        witness = min(one, other)
    # In a turn the centre of gravity is held inwards; the rear axle's middle does not sidestep.
    forward = seen[7] + yaw * yaw * p.to_rear
    forward -= GRAVITY * s.grade / math.hypot(100.0, s.grade)
    carried = s.speed_estimate + 3.6 * forward * n.tick
    gap = witness - carried
    near = max(NEAR, NEAR_SHARE * abs(carried))
    if braked:
        sure = gap > 0.0
    elif driven:
        sure = gap < 0.0
    else:
        slowest = min(front_left, front_right, rear_left, rear_right)
        fastest = max(front_left, front_right, rear_left, rear_right)
        sure = fastest - slowest <= near
    if sure or abs(gap) <= near:
        carried += gap * min(n.tick / FOLLOWS, 1.0)
    else:
        most = 3.6 * DRIFT * n.tick
        carried += min(max(gap, -most), most)
    s.speed_estimate = carried
