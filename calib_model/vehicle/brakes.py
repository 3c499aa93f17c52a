# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""Brakes: the driver's, those of brake control, and the drag on the inner rear wheel.

Import late.
"""

from __future__ import annotations

from calib_model.lookup.portable import inner
from calib_model.vehicle.kernel_reading import clip, held_row


@inner()
def brake(p, s, w, n, course, step):
    """Step what each brake can hold, and whether brake control tells the controller to open.

    Sets `cap` of every wheel: brake and rolling resistance together.
    """
    active = 0.0
    for i in range(4):
        most = p.front_torque_most if i < 2 else p.rear_torque_most
        wanted = most * s.brake_pedal / 100.0
        for k in range(course.brakes.shape[0]):
            if course.brakes[k, 0] <= s.time < course.brakes[k, 1] and course.brakes[k, 2] == i:
                wanted += course.brakes[k, 3]
                active = max(active, course.brakes[k, 4])
        if n.slip_braking > 0.5:
            wanted *= _let_go(p, w[i], step)
            if wanted > 0.0 and w[i].let_go < 0.999:
                active = 1.0
        if n.brake_traction > 0.5 and s.brake_active < 0.5 and i < 2:
            wanted += _on_spin(p, s, w[i], w[1 - i])
        w[i].brake += step * (wanted - w[i].brake) / p.brake_lag
        w[i].cap = max(w[i].brake, 0.0) + w[i].rolling
    s.brake_active = active
    _inside(p, s, w, step)


@inner()
def _let_go(p, w, step):
    """Return what lock prevention leaves of a brake: it lets go of a wheel that slips."""
    around = w.speed * p.wheel_radius
    locking = w.vx > 1.5 and w.vx - around > p.slip_most * w.vx
    change = -p.slip_let_go if locking else p.slip_build_up
    w.let_go = clip(w.let_go + step * change, 0.0, 1.0)
    return w.let_go


@inner()
def _on_spin(p, s, w, other):
    """Return the brake torque on a driven wheel that spins while the other does not."""
    if s.pedal < 5.0 or abs(s.vx) * 3.6 > p.spin_speed_most:
        return 0.0
    beyond = (w.speed - other.speed) * p.wheel_radius * 3.6 - p.spin_threshold
    return clip(p.spin_gain * beyond, 0.0, p.spin_torque_most)


@inner()
def _inside(p, s, w, step):
    """Add the turning aid's torque to the inner rear wheel."""
    s.inside_brake += step * (s.inside_wanted - s.inside_brake) / p.inside_brake_lag
    if s.inside_brake > 0.01 and s.steering != 0.0:
        w[2 if s.steering > 0.0 else 3].cap += s.inside_brake


@inner()
def requested(course, time):
    """Return whether the turning aid is wanted."""
    return held_row(course.inside_request, time)
