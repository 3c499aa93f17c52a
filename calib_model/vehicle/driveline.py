# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""Open differentials, driveshaft, clutch and held wheels: speeds after a step.  Import late.

When connected the driveshaft turns at the ratio times the mean front wheel speed, and its
inertia sits on the front.  Clutch and brakes stick exactly: each torque is what would hold its
two sides together at the end of the step, or what it can carry if that is less.
"""

from __future__ import annotations

from calib_model.lookup.portable import inner
from calib_model.vehicle.clutch import carried, lock_torque
from calib_model.vehicle.kernel_reading import clip

SWEEPS = 60


@inner()
def shaft_drag(p, s):
    """Return the bearings' torque at the driveshaft; it fades out below half a radian per s."""
    return p.shaft_drag * clip(s.shaft / 0.5, -1.0, 1.0)


@inner()
def rates(p, s, w, clutch, rate):
    """Set the wheels' accelerations in `rate` for a clutch torque and the brakes' `held`.

    Returns the acceleration of the driveshaft.
    """
    joined = s.connected > 0.5
    radius = p.wheel_radius
    own = 2.0 * p.wheel_inertia
    drag = shaft_drag(p, s)
    into, carrier = s.drive_torque, p.drive_inertia
    if joined:
        into -= p.rear_ratio * (clutch + drag)
        carrier += p.shaft_inertia * p.rear_ratio * p.rear_ratio
    left, right = -radius * w[0].fx - w[0].held, -radius * w[1].fx - w[1].held
    mean = (into + (left + right)) / (own + carrier)
    apart = (left - right) / own
    rate[0], rate[1] = mean + apart, mean - apart
    shaft = p.rear_ratio * mean if joined else (-clutch - drag) / p.shaft_inertia
    left, right = -radius * w[2].fx - w[2].held, -radius * w[3].fx - w[3].held
    mean = (p.rear_ratio * clutch + (left + right)) / (own + p.rear_inertia)
    apart = (left - right) / own
    rate[2], rate[3] = mean + apart, mean - apart
    return shaft


@inner()
def softness(p, joined):
    """Return 1/J1 + 1/J2 of the clutch's two sides, at the driveshaft."""
    square = p.rear_ratio * p.rear_ratio
    rear = square / (2.0 * p.wheel_inertia + p.rear_inertia)
    if joined:
        inertia = 2.0 * p.wheel_inertia + p.drive_inertia + p.shaft_inertia * square
        return square / inertia + rear
    return 1.0 / p.shaft_inertia + rear


@inner()
def clutch_for(p, s, w, soft, rate, step):
    """Return the clutch torque for the brakes as they are `held`."""
    shaft_rate = rates(p, s, w, 0.0, rate)
    slip = s.shaft - p.rear_ratio * 0.5 * (w[2].speed + w[3].speed)
    slip_rate = shaft_rate - p.rear_ratio * 0.5 * (rate[2] + rate[3])
    return carried(slip, slip_rate, soft, s.clutch_capacity, step)


@inner()
def turn(p, s, w, step, rate, other):
    """Set the wheels' `new` speeds and `held` torques and the clutch torque.

    Returns the driveshaft's new speed.  `rate` and `other` are scratch, four numbers each.
    """
    joined = s.connected > 0.5
    soft = softness(p, joined)
    before = s.clutch_torque
    for i in range(4):
        w[i].start = w[i].held
        w[i].held = w[i].cap if w[i].speed > 0.0 else (-w[i].cap if w[i].speed < 0.0 else 0.0)
    s.clutch_torque = clutch_for(p, s, w, soft, rate, step)
    shaft_rate = rates(p, s, w, s.clutch_torque, rate)
    stays = True
    for i in range(4):
        w[i].new = w[i].speed + step * rate[i]
        if w[i].cap > 0.0 and not w[i].new * w[i].speed > 0.0:
            stays = False
    if not stays:
        shaft_rate = _with_held_wheels(p, s, w, step, rate, other, soft, before)
        for i in range(4):
            w[i].new = w[i].speed + step * rate[i]
            if abs(w[i].held) < w[i].cap and abs(w[i].new) < 1e-9:
                w[i].new = 0.0
    new_shaft = s.shaft + step * shaft_rate
    if joined:
        new_shaft = p.rear_ratio * 0.5 * (w[0].new + w[1].new)
    return new_shaft


@inner()
def _with_held_wheels(p, s, w, step, rate, other, soft, before):
    """Solve for clutch and brakes together, one after the other until none moves.

    Left before right and right before left, and the mean of both: so a mirrored drive is
    mirrored to the bit.  It begins with what held in the step before.
    """
    clutch = 0.0
    for turn_round in range(2):
        for i in range(4):
            w[i].held = clip(w[i].start, -w[i].cap, w[i].cap)
        clutch += 0.5 * _sweeps(p, s, w, step, rate, soft, turn_round, before)
        for i in range(4):
            if turn_round == 0:
                other[i] = w[i].held
            else:
                w[i].held = 0.5 * (w[i].held + other[i])
    s.clutch_torque = clutch
    return rates(p, s, w, clutch, rate)


@inner()
def _sweeps(p, s, w, step, rate, soft, flipped, clutch):
    joined = s.connected > 0.5
    ratio = p.rear_ratio
    own = 1.0 / (2.0 * p.wheel_inertia)
    rear = 1.0 / (2.0 * p.wheel_inertia + p.rear_inertia)
    front = 2.0 * p.wheel_inertia + p.drive_inertia
    if joined:
        front += p.shaft_inertia * ratio * ratio
    front = 1.0 / front
    clutch = clip(clutch, -s.clutch_capacity, s.clutch_capacity)
    shaft = rates(p, s, w, clutch, rate)
    slip = s.shaft - ratio * 0.5 * (w[2].speed + w[3].speed)
    for _ in range(SWEEPS):
        if joined:
            shaft = ratio * 0.5 * (rate[0] + rate[1])
        more = lock_torque(slip, shaft - ratio * 0.5 * (rate[2] + rate[3]), soft, step)
        torque = clip(clutch + more, -s.clutch_capacity, s.clutch_capacity)
        change = torque - clutch
        clutch = torque
        moved = abs(change)
        if joined:
            rate[0] -= ratio * front * change
            rate[1] -= ratio * front * change
        else:
            shaft -= change / p.shaft_inertia
        rate[2] += ratio * rear * change
        rate[3] += ratio * rear * change
        for k in range(4):
            i = k ^ 1 if flipped == 1 else k
            if w[i].cap <= 0.0:
                continue
            shared = front if i < 2 else rear
            held = w[i].held + (w[i].speed / step + rate[i]) / (shared + own)
            held = clip(held, -w[i].cap, w[i].cap)
            change = held - w[i].held
            w[i].held = held
            # What this wheel is held by, its partner feels through the differential.
            rate[i] -= (shared + own) * change
            rate[i ^ 1] -= (shared - own) * change
            moved = max(moved, abs(change))
        if moved < 1e-7:
            break
    return clutch


@inner()
def dog(p, s, w, work, wanted, step):
    """Engage or let go the dog clutch between front drive and driveshaft.

    It engages some time after it is told to, if the speeds are near enough for its teeth; two
    speeds become one, and what is lost is booked.  It lets go as soon as it is told to.
    """
    if wanted < 0.5:
        s.connected = 0.0
        s.dog_wait = 0.0
        return
    if s.connected > 0.5:
        return
    s.dog_wait += step
    front = 0.5 * (w[0].speed + w[1].speed)
    apart = s.shaft - p.rear_ratio * front
    if s.dog_wait < p.dog_time - 0.5 * step or abs(apart) > p.dog_window:
        return
    square = p.rear_ratio * p.rear_ratio
    inertia = (2.0 * p.wheel_inertia + p.drive_inertia) / square
    together = (p.shaft_inertia * s.shaft + inertia * p.rear_ratio * front) / (
        p.shaft_inertia + inertia
    )
    change = together / p.rear_ratio - front
    work.dog += 0.5 * p.shaft_inertia * inertia / (p.shaft_inertia + inertia) * apart * apart
    for i in range(2):
        w[i].speed += change
    s.shaft = together
    s.connected = 1.0


@inner()
def book(p, s, w, work, new_shaft, step):
    """Book what engine, clutch, brakes and bearings did in the step, and take the new speeds."""
    front = 0.25 * (w[0].speed + w[1].speed) + 0.25 * (w[0].new + w[1].new)
    rear = 0.25 * (w[2].speed + w[3].speed) + 0.25 * (w[2].new + w[3].new)
    shaft = 0.5 * (s.shaft + new_shaft)
    work.drive += step * s.drive_torque * front
    heat = step * s.clutch_torque * (shaft - p.rear_ratio * rear)
    work.clutch += heat
    s.clutch_heat += heat
    work.shaft += step * shaft_drag(p, s) * shaft
    for i in range(4):
        mean = 0.5 * (w[i].speed + w[i].new)
        loss = step * w[i].held * mean
        if w[i].cap > 0.0:
            rolling = w[i].rolling / w[i].cap
            work.rolling += rolling * loss
            work.brakes += (1.0 - rolling) * loss
        w[i].speed = w[i].new
    s.shaft = new_shaft
    return heat
