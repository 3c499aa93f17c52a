# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The real actuator: clamp force over current with hysteresis, lag and a limited rate.

Its curves are the hardware's own, from the vehicle file; the controller has other ones, from the
calibration set.  Import late.
"""

from __future__ import annotations

from calib_model.lookup.portable import inner
from calib_model.vehicle.kernel_reading import between, clip


@inner()
def play(held, current, curves):
    """Return the clamp force of play-type hysteresis at a current.

    Between the branches the force stays; the applying branch pushes it up, the releasing one
    down.
    """
    low = _force(current, curves.apply, curves.clamp)
    high = _force(current, curves.release, curves.clamp)
    return clip(held, low, max(low, high))


@inner()
def _force(current, branch, clamp):
    if current < branch[0]:
        return 0.0
    return between(branch, clamp, current)


@inner()
def press(p, s, n, curves, step):
    """Step the clamp force behind the current."""
    s.play = play(s.play, clip(s.current, 0.0, p.current_most), curves)
    change = (s.play - s.clamp) * step / n.actuator_lag
    rate = n.actuator_rate * step
    s.clamp = max(s.clamp + clip(change, -rate * p.release_factor, rate), 0.0)
