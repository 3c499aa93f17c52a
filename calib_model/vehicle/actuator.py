# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The real actuator: clamp force over current with hysteresis, gap, lag and a limited rate.

Its curves are the hardware's own, from the vehicle file; the controller has other ones, from the
calibration set.  Import late.
"""

from __future__ import annotations

from calib_model.lookup.portable import inner
from calib_model.vehicle.kernel_reading import between, clip


@inner()
def play(held, current, curves, gap):
    """Return the clamp force of play-type hysteresis at a current; below zero the plates are open.

    Between the branches the force stays; the applying branch pushes it up, the releasing one
    down.
    """
    low = _force(current, curves.apply, curves.clamp, gap)
    high = _force(current, curves.release, curves.clamp, gap)
    return clip(held, low, max(low, high))


@inner()
def _force(current, branch, clamp, gap):
    if current < branch[0]:
        # Open plates: as much travel per current as where they first touch, up to the stop.
        stiffness = (clamp[1] - clamp[0]) / (branch[1] - branch[0])
        return max((current - branch[0]) * stiffness, -gap)
    return between(branch, clamp, current)


@inner()
def press(p, s, n, curves, step):
    """Step the clamp force behind the current; open plates have to come together first."""
    s.play = play(s.play, clip(s.current, 0.0, p.current_most), curves, p.gap)
    change = (s.play - s.travel) * step / n.actuator_lag
    rate = n.actuator_rate * step
    s.travel = s.travel + clip(change, -rate * p.release_factor, rate)
    s.clamp = max(s.travel, 0.0)
