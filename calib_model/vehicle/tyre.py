# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""Tyres: deflection with relaxation, and the force along combined slip.

Friction follows M. Burckhardt's curve, which has a peak and a fall-off; its slip is the sliding
speed over the larger of ground and circumferential speed, so between -1 and 1.  Import late.
"""

from __future__ import annotations

import math

from calib_model.lookup.portable import inner
from calib_model.vehicle.kernel_reading import clip


@inner()
def friction(c1, c2, c3, slip):
    """Return the friction coefficient at a slip, not negative; beyond 1 that of sliding."""
    s = min(slip, 1.0)
    return c1 * (1.0 - math.exp(-c2 * s)) - c3 * s


@inner()
def relaxed(deflection, sliding, rolling, length, most, step):
    """Return the deflection (as slip) after a step.

    Backward Euler along d(k)/dt = -(sliding + rolling k)/length: no stiffness at any speed,
    and at standstill an elastic tyre.  Where the sliding turns round, only `most` of the
    deflection is elastic; the rest was sliding and leaves nothing to spring back.
    """
    new = (deflection - step * sliding / length) / (1.0 + step * rolling / length)
    if new * sliding > 0.0:
        new = clip(new, -most, most)
    return clip(new, -1.0, 1.0)


@inner()
def forces(p, w, side_factor, step):
    """Step a wheel's tyre deflection and set its forces in the wheel's directions.

    Reads `speed`, `vx`, `vy`, `load` and the friction curve of wheel `w`.
    """
    around = w.speed * p.wheel_radius
    sliding = w.vx - around
    rolling = max(abs(w.vx), abs(around))
    steep = w.c2 * p.slip_stiffness
    elastic = 3.0 / steep  # there 95 % of the friction is used
    w.along = relaxed(w.along, sliding, rolling, p.relaxation_along, elastic, step)
    w.across = relaxed(w.across, w.vy, rolling, p.relaxation_across, elastic / side_factor, step)
    # The rubber's own damping: without it a standing vehicle would swing on its tyres.
    fade = max(1.0 - rolling / p.low_speed, 0.0)
    damping = p.low_speed_damping * fade * fade
    slip_x = w.along - damping * sliding
    slip_y = side_factor * (w.across - damping * w.vy)
    slip = math.hypot(slip_x, slip_y)
    if slip > 1e-12:
        share = w.load * friction(w.c1, steep, w.c3, slip) / slip
    else:
        share = w.load * (w.c1 * steep - w.c3)
    w.fx = share * slip_x
    w.fy = share * slip_y
