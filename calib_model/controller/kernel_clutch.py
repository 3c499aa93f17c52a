# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""Clamp force and motor current: the part of the law that knows the actuator's tables."""

from __future__ import annotations

import math

from calib_model.controller.constants import HOLD_BAND, HOLD_DELAY, MAX_CURRENT
from calib_model.controller.inputs import INPUT_INDEX
from calib_model.controller.outputs import CONNECTED, ROLE_INDEX
from calib_model.controller.state import CLAMP_MOVED, DIRECTION, HELD_TIME
from calib_model.lookup.bank import (
    AXES,
    AXIS_COUNT,
    BREAKPOINTS,
    COUNT,
    INPUT,
    PER_AXIS,
    PER_SLOT,
)
from calib_model.lookup.bank_kernel import bank_type, present, read, step_of
from calib_model.lookup.portable import floats, jit, number, output, tuple_of, whole

_PLATE, _OIL = ROLE_INDEX["clamp_limit_plate"], ROLE_INDEX["clamp_limit_oil"]
_DERATE = ROLE_INDEX["slip_power_derate"]
_APPLY = ROLE_INDEX["current_for_clamp_apply"]
_RELEASE = ROLE_INDEX["current_for_clamp_release"]
_TOUCH, _HOLDING = ROLE_INDEX["touch_point_current"], ROLE_INDEX["holding_factor"]
_I_CLAMP, _I_BRAKE = INPUT_INDEX["clamp"], INPUT_INDEX["brake_state"]


@jit(bank_type, floats, returns=tuple_of(number, whole))
def clamp_limit(bank, x):
    """Return the most clamp force that plates, oil and derate leave, and whose role that is."""
    most, by = math.inf, -1
    if present(bank, _PLATE):
        most, by = read(bank, _PLATE, x), _PLATE
    if present(bank, _OIL):
        oil = read(bank, _OIL, x)
        if oil < most:
            most, by = oil, _OIL
    if present(bank, _DERATE) and most < math.inf:
        derate = read(bank, _DERATE, x)
        if derate < 1.0:
            most, by = most * derate, _DERATE
    if most < 0.0:
        most = 0.0
    return most, by


@jit(bank_type, floats, output, number, returns=number)
def current_limit(bank, constants, x, clamp):
    """Return the clamp force at which the applying branch first passes the largest current.

    Infinite where the clamp force asked for needs no more than that; `x` gets another clamp on
    the way.
    """
    most = constants[MAX_CURRENT]
    if not present(bank, _APPLY):
        return math.inf
    x[_I_CLAMP] = clamp
    if not read(bank, _APPLY, x) > most:
        return math.inf
    numbers, layout = bank
    head = _APPLY * PER_SLOT
    for a in range(layout[head + AXIS_COUNT]):
        place = head + AXES + a * PER_AXIS
        if layout[place + INPUT] == _I_CLAMP:
            first = layout[place + BREAKPOINTS]
            before, current_before = 0.0, 0.0
            for i in range(layout[place + COUNT]):
                x[_I_CLAMP] = numbers[first + i]
                current = read(bank, _APPLY, x)
                if current > most:
                    if i == 0:
                        return 0.0
                    share = (most - current_before) / (current - current_before)
                    return before + share * (numbers[first + i] - before)
                before, current_before = numbers[first + i], current
    return math.inf


@jit(bank_type, floats, number, output, output, number, whole, returns=tuple_of(number, whole))
def current_for(bank, constants, tick_s, state, x, clamp, mode):
    """Return the motor current for a clamp force, and whose role it is.

    A rising clamp takes the applying branch, a falling one the releasing branch.  Once it has
    kept within the hold band for the hold delay, the holding factor lowers the applying current.
    Without torque the plates stand at the touch point, ready; while the driveshaft is not
    connected, or brake control acts, they stand open.
    """
    x[_I_CLAMP] = clamp
    if not present(bank, _APPLY):
        return math.nan, -1
    if clamp > 0.0:
        change = clamp - state[CLAMP_MOVED]
        if abs(change) > constants[HOLD_BAND]:
            state[DIRECTION] = 1.0 if change > 0.0 else -1.0
            state[CLAMP_MOVED] = clamp
            state[HELD_TIME] = 0.0
        else:
            state[HELD_TIME] += tick_s
        if present(bank, _HOLDING) and state[HELD_TIME] > constants[HOLD_DELAY] - 1e-9:
            current, by = read(bank, _HOLDING, x) * read(bank, _APPLY, x), _HOLDING
        elif state[DIRECTION] < 0.0 and present(bank, _RELEASE):
            current, by = read(bank, _RELEASE, x), _RELEASE
        else:
            current, by = read(bank, _APPLY, x), _APPLY
    else:
        state[CLAMP_MOVED] = 0.0
        state[DIRECTION] = 0.0
        state[HELD_TIME] = 0.0
        if mode != CONNECTED or x[_I_BRAKE] >= 0.5:
            return 0.0, -1
        if present(bank, _TOUCH):
            current, by = read(bank, _TOUCH, x), _TOUCH
        else:
            current, by = read(bank, _APPLY, x), _APPLY
    raster = step_of(bank, _APPLY)
    if raster > 0.0:
        # Half steps go up; `round` would be another function with numba than without.
        current = math.floor(current / raster + 0.5) * raster
    if current > constants[MAX_CURRENT]:
        current = constants[MAX_CURRENT]
    if current < 0.0:
        current = 0.0
    return current, by
