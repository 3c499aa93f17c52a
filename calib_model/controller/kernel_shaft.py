# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The driveshaft: when it is disconnected, and how it comes back."""

from __future__ import annotations

from calib_model.controller.constants import DOG_TIME
from calib_model.controller.inputs import INPUT_INDEX, SYNC_JUDGED, SYNC_NO
from calib_model.controller.outputs import (
    CONNECTED,
    DISCONNECTED,
    DOG,
    OPENING,
    OUTPUT_INDEX,
    ROLE_INDEX,
    SPIN_UP,
)
from calib_model.controller.state import LIKELIHOOD, STATE, STATE_TIME, TORQUE, WAITED
from calib_model.lookup.bank_kernel import bank_type, present, read
from calib_model.lookup.portable import flag, floats, jit, number, output, whole

_AWAY, _BACK = ROLE_INDEX["disconnect_speed"], ROLE_INDEX["reconnect_speed"]
_PEDAL, _DELAY = ROLE_INDEX["reconnect_pedal"], ROLE_INDEX["disconnect_delay"]
_ALLOWED, _MEMORY = ROLE_INDEX["disconnect_allowed"], ROLE_INDEX["low_grip_memory"]
_WINDOW, _LEAD = ROLE_INDEX["sync_window"], ROLE_INDEX["reconnect_lead_time"]
_SLIP = ROLE_INDEX["slip_target"]
_I_SPEED, _I_PEDAL = INPUT_INDEX["vehicle_speed"], INPUT_INDEX["pedal"]
_I_SYNC, _I_SHAFT = INPUT_INDEX["shaft_synchronised"], INPUT_INDEX["shaft_speed"]
_I_TARGET = INPUT_INDEX["shaft_speed_target"]
_O_BY = OUTPUT_INDEX["shaft_by"]
_CLOSE = 1e-9  # s; sums of ticks are not exact


@jit(bank_type, number, output, floats, number, flag, flag, output, returns=whole)
def while_connected(bank, tick_s, state, x, slip_demand, allowed, pressed, out):
    """Return the state after a tick of the connected one, with who keeps it or opens it."""
    ready = False
    if not allowed:
        by = _ALLOWED
    elif not x[_I_SPEED] > read(bank, _AWAY, x):
        by = _AWAY
    elif pressed:
        by = _PEDAL
    elif state[LIKELIHOOD] > 0.0:
        by = _MEMORY
    elif slip_demand > 0.0:
        by = _SLIP
    else:
        by = _DELAY
        ready = True
    out[_O_BY] = by
    if not ready:
        state[WAITED] = 0.0
        return CONNECTED
    state[WAITED] += tick_s
    delay = read(bank, _DELAY, x) if present(bank, _DELAY) else 0.0
    return OPENING if state[WAITED] > delay - _CLOSE else CONNECTED


@jit(bank_type, output, floats, number, flag, flag, whole, output, returns=whole)
def while_open(bank, state, x, slip_demand, allowed, pressed, mode, out):
    """Return the state after a tick of opening or disconnected, with who asks for the way back."""
    state[WAITED] = 0.0
    back = True
    by = _BACK
    if slip_demand > 0.0:
        by = _SLIP
    elif pressed:
        by = _PEDAL
    elif not allowed:
        by = _ALLOWED
    else:
        back = x[_I_SPEED] < read(bank, _BACK, x)
    out[_O_BY] = by
    if back:
        # Until the clutch has opened the dog clutch stays closed, so there is no way back.
        return CONNECTED if mode == OPENING else SPIN_UP
    if mode == OPENING and state[TORQUE] == 0.0:
        return DISCONNECTED
    return mode


@jit(bank_type, output, floats, output, returns=whole)
def while_spun_up(bank, state, x, out):
    """Return the state after a tick of spinning up, with who tells when it is done."""
    sync = x[_I_SYNC]
    if sync == SYNC_JUDGED and present(bank, _WINDOW):
        by = _WINDOW
        done = abs(x[_I_TARGET] - x[_I_SHAFT]) <= read(bank, _WINDOW, x)
    elif sync >= SYNC_NO:
        by = _WINDOW
        done = sync > 0.5
    else:
        by = _LEAD
        lead = read(bank, _LEAD, x) / 1000.0 if present(bank, _LEAD) else 0.0
        done = state[STATE_TIME] > lead - _CLOSE
    out[_O_BY] = by
    return DOG if done else SPIN_UP


@jit(bank_type, floats, number, output, floats, number, output, returns=whole)
def driveshaft(bank, constants, tick_s, state, x, slip_demand, out):
    """Move the driveshaft's state on by a tick and return it; without its tables: connected."""
    before = int(state[STATE])
    out[_O_BY] = -1
    if not (present(bank, _AWAY) and present(bank, _BACK) and present(bank, _ALLOWED)):
        if before == CONNECTED:
            return before
        allowed = False
    else:
        allowed = read(bank, _ALLOWED, x) >= 0.5
    state[STATE_TIME] += tick_s
    pressed = present(bank, _PEDAL) and x[_I_PEDAL] > read(bank, _PEDAL, x)
    if before == CONNECTED:
        mode = while_connected(bank, tick_s, state, x, slip_demand, allowed, pressed, out)
    elif before in (OPENING, DISCONNECTED):
        mode = while_open(bank, state, x, slip_demand, allowed, pressed, before, out)
    elif before == SPIN_UP:
        mode = while_spun_up(bank, state, x, out)
    else:
        out[_O_BY] = _LEAD
        mode = CONNECTED if state[STATE_TIME] > constants[DOG_TIME] - _CLOSE else before
    if mode != before:
        state[STATE_TIME] = 0.0
        state[WAITED] = 0.0
    state[STATE] = mode
    return mode
