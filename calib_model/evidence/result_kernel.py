# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""Holding the torque law at constant inputs until nothing moves; compiled where numba works.

Import late: it brings numba where there is one.
"""

from __future__ import annotations

from calib_model.controller.kernel import step
from calib_model.controller.outputs import (
    CONNECTED,
    DISCONNECTED,
    OUTPUT_INDEX,
)
from calib_model.controller.state import USED
from calib_model.lookup.bank_kernel import bank_type
from calib_model.lookup.portable import (
    float_grid,
    float_rows,
    floats,
    jit,
    nothing,
    number,
    output,
    whole,
)

CLOSE = 1e-9
"""N.m; an integral held by a limit goes on to and fro in its last bits."""

_TORQUE, _LIMITED = OUTPUT_INDEX["torque"], OUTPUT_INDEX["limited"]
_INTEGRAL, _WAIT = OUTPUT_INDEX["integral"], OUTPUT_INDEX["disconnect_wait"]
_STATE, _GOVERNING = OUTPUT_INDEX["state"], OUTPUT_INDEX["governing"]


@jit(
    bank_type,
    floats,
    number,
    whole,
    float_rows,
    output,
    float_grid,
    float_grid,
    output,
    returns=nothing,
)
def settle(bank, constants, tick_s, most, inputs, state, out, used, settled):
    """Run the law at each point from a fresh start until two ticks give the same.

    Parameters
    ----------
    tick_s : float
        Long against every time in the tables: a slew, a delay and a memory are over within one.
    most : int
        Ticks after which a point counts as never settling.
    inputs : float array, shape (points, len(INPUTS))
    state : float array, shape (STATE_SIZE,)
        Scratch.
    out, used : float arrays, shapes (points, len(OUTPUTS)) and (points, len(INPUTS))
        Filled: outputs of the last tick, and inputs as the law used them.
    settled : float array, shape (points,)
        Filled with 1 where it settled, else 0.
    """
    for k in range(inputs.shape[0]):
        for i in range(state.size):
            state[i] = 0.0
        settled[k] = 0.0
        torque = integral = wait = mode = governing = -1.0
        for _ in range(most):
            step(bank, constants, tick_s, inputs[k], state, out[k])
            row = out[k]
            still = (
                abs(row[_TORQUE] - torque) <= CLOSE
                and abs(row[_LIMITED] - row[_TORQUE]) <= CLOSE
                and abs(row[_INTEGRAL] - integral) <= CLOSE
                and row[_WAIT] == wait
                and row[_STATE] == mode
                and row[_GOVERNING] == governing
                and mode in (CONNECTED, DISCONNECTED)
            )
            if still:
                settled[k] = 1.0
                break
            torque, integral, wait = row[_TORQUE], row[_INTEGRAL], row[_WAIT]
            mode, governing = row[_STATE], row[_GOVERNING]
        for i in range(used.shape[1]):
            used[k, i] = state[USED + i]
