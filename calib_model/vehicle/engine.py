# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The engine at the front wheels: torque over pedal, power limit, lag, traction control.

No gearbox: the torque over the pedal is that of a gear that always fits, up to the power.
Import late.
"""

from __future__ import annotations

from calib_model.lookup.portable import inner
from calib_model.vehicle.kernel_reading import between, clip


@inner()
def asked(p, curves, pedal, front_speed):
    """Return the torque in N.m that a pedal asks for at a front wheel speed in rad/s."""
    share = between(curves.engine_pedal, curves.engine_share, pedal)
    drive = share * p.drive_force_most * p.wheel_radius
    # Overrun fades out towards standstill, where a clutch opens.
    overrun = p.overrun_torque * (1.0 - share) ** 4 * clip(front_speed / 8.0, 0.0, 1.0)
    power = p.power_most * 1000.0 / max(front_speed, 1.0)
    return min(drive, power) - overrun


@inner()
def traction(p, s, w, step):
    """Step traction control; return the share of the torque that it leaves.

    It knows the true speed, as brake units estimate it well.
    """
    fastest = max(w[0].speed, w[1].speed) * p.wheel_radius
    allowed = p.traction_slip / 3.6 + p.traction_share * max(s.vx, 0.0)
    beyond = fastest - max(s.vx, 0.0) - allowed
    s.traction = clip(s.traction - step * p.traction_integral * beyond, 0.0, 1.0)
    return clip(s.traction - p.traction_gain * beyond, 0.0, 1.0)


@inner()
def drive(p, s, w, n, curves, step):
    """Step the torque at the front axle."""
    if n.fixed_drive_torque == n.fixed_drive_torque:
        s.drive_torque = n.fixed_drive_torque
        return
    wanted = asked(p, curves, s.pedal, 0.5 * (w[0].speed + w[1].speed))
    share = 1.0
    if n.traction_control > 0.5:
        share = traction(p, s, w, step)
    if wanted > 0.0:
        wanted *= share
    # Traction control works through the ignition: as fast back up as down.
    lag = p.rise_lag if wanted > s.drive_torque and share > 0.999 else p.fall_lag
    s.drive_torque += step * (wanted - s.drive_torque) / lag
