"""Where the torque law keeps what it remembers from tick to tick: places in one float array.

An array of zeros is a fresh start: connected, no torque, nothing remembered.  A simulation that
starts with a disconnected shaft sets `STATE` to `outputs.DISCONNECTED`.
"""

from __future__ import annotations

import numpy as np

from calib_model.controller.inputs import INPUTS
from calib_model.core.arrays import FloatArray

(
    STARTED,  # 1 once a tick has run
    TORQUE,  # N.m, commanded the tick before
    INTEGRAL,  # N.m, of slip control
    LIKELIHOOD,  # 1 to 0, of low grip
    STATE,  # of the driveshaft, a number of STATES
    STATE_TIME,  # s in this state
    WAITED,  # s that the conditions to disconnect have held
    CLAMP_MOVED,  # N, clamp at its last move beyond the hold band
    DIRECTION,  # of that move: 1 up, -1 down, 0 none yet
    HELD_TIME,  # s since that move
    PLATE,  # degC, the controller's own estimate
    USED,  # from here on: the inputs as the law used them this tick, in the order of INPUTS
) = range(12)

STATE_SIZE = USED + len(INPUTS)


def fresh_state() -> FloatArray:
    """Return a state to start with, shape (STATE_SIZE,)."""
    return np.zeros(STATE_SIZE)
