"""The torque law: what the controller commands, tick by tick.

Written once, in `calib_model.controller.kernel`, for replay and for simulation.  Here are its
names and the call that runs it over a recording.
"""

from __future__ import annotations

from calib_model.controller.outputs import (
    BESIDE,
    OUTPUT_INDEX,
    OUTPUTS,
    PARTNERS,
    ROLE_INDEX,
    STATES,
    Output,
)

__all__ = [
    "BESIDE",
    "OUTPUTS",
    "OUTPUT_INDEX",
    "PARTNERS",
    "ROLE_INDEX",
    "STATES",
    "Output",
]
