# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The clutch: what it can carry, and the torque that would hold it.  Import late."""

from __future__ import annotations

from calib_model.lookup.portable import inner
from calib_model.vehicle.kernel_reading import between, clip, over_grid


@inner()
def capacity(faces, friction, clamp, radius):
    """Return the torque in N.m that faces carry: T = N mu F Re."""
    return faces * friction * clamp * radius


@inner()
def true_capacity(p, s, curves, slip):
    """Return what the real clutch can carry: its friction at this slip, and the oil's drag."""
    mu = over_grid(curves.slip, curves.temperature, curves.friction, abs(slip), s.plate)
    drag = between(curves.drag_oil, curves.drag, s.oil)
    return capacity(p.faces, mu, s.clamp, p.effective_radius) + drag


@inner()
def lock_torque(slip, slip_rate, softness, step):
    """Return the torque that makes the slip zero at the end of the step.

    `slip_rate` is the rate of the slip without that torque, `softness` the fall of the rate per
    torque: 1/J1 + 1/J2.
    """
    return (slip / step + slip_rate) / softness


@inner()
def carried(slip, slip_rate, softness, most, step):
    """Return the clipped lock torque: exact stick below what the clutch can carry, else slip."""
    return clip(lock_torque(slip, slip_rate, softness, step), -most, most)
