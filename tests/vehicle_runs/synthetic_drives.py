"""Traces made from formulas, to see whether metrics read off what was put in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from calib_model.controller.binding import bind
from calib_model.controller.inputs import INPUTS
from calib_model.controller.outputs import OUTPUTS
from calib_model.core.arrays import FloatArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.vehicle.manoeuvres import MANOEUVRES, Manoeuvre
from calib_model.vehicle.metrics import DrivenRun, Reading, read
from calib_model.vehicle.metrics_all import metric
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.trace import COLUMNS, Trace

TICK = 0.02


def trace_of(seconds: float = 10.0, **columns: Any) -> Trace:
    """A trace whose columns are zero but for those given (numbers or arrays)."""
    time = np.arange(round(seconds / TICK) + 1) * TICK
    made: dict[str, FloatArray] = {name: np.zeros(time.size) for name, _, _ in COLUMNS}
    for name, values in columns.items():
        if name in made:
            made[name] = np.broadcast_to(np.asarray(values, dtype=np.float64), time.shape).copy()
    made["time"] = time
    return Trace(
        columns=made,
        inputs=np.zeros((time.size, len(INPUTS))),
        outputs=np.zeros((time.size, len(OUTPUTS))),
        governing=columns.get("governing", np.full(time.size, -1)),
        tick=TICK,
        completed=columns.get("completed", True),
        why=columns.get("why", ""),
    )


def clock(seconds: float = 10.0) -> FloatArray:
    """The times of a trace."""
    return np.arange(round(seconds / TICK) + 1) * TICK


def reading(
    name: str,
    trace: Trace,
    manoeuvre: Manoeuvre | str = "launch_snow",
    *,
    counterpart: Trace | None = None,
    again: Callable[[Manoeuvre], Trace] | None = None,
    content: CalibrationSet | None = None,
) -> Reading:
    """Read one metric off a trace."""
    one = MANOEUVRES[manoeuvre] if isinstance(manoeuvre, str) else manoeuvre

    def never(_: Manoeuvre) -> Trace:
        raise AssertionError("this metric drives nothing again")

    bound = bind(content or CalibrationSet(), LARCH.constants)
    return read(metric(name), DrivenRun(trace, one, LARCH, bound, again or never, counterpart))
