"""The series of a replay as CSV: a row per controller tick, for other programs to plot."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from calib_model.controller.outputs import OUTPUT_INDEX, OUTPUTS, STATES
from calib_model.core.roles import ROLES
from calib_model.exchange.csv_tables import text_field

if TYPE_CHECKING:
    from calib_model.evidence.replay import Replay

NUMBERS = (
    "feed_forward", "slip", "slip_error", "slip_demand", "yaw_term", "demand", "limited", "torque",
    "clamp", "current", "inside_brake", "plate_temperature",
)  # fmt: skip
"""Outputs of the law that are written."""


def series_csv(sets: Sequence[tuple[str, Replay]]) -> str:
    """Return the outputs along a drive as CSV (RFC 4180); an empty field is not known.

    Parameters
    ----------
    sets : sequence of (label, Replay)
        Along one drive.
    """
    first = sets[0][1]
    head, columns = ["time [s]"], [_numbers(first.ticks.time)]
    for name, values in first.ticks.signals.items():
        head.append(f"{name} recorded [{OUTPUTS[OUTPUT_INDEX[name]].unit}]")
        columns.append(_numbers(values))
    for label, one in sets:
        for name in NUMBERS:
            head.append(f"{name} {label} [{OUTPUTS[OUTPUT_INDEX[name]].unit}]")
            columns.append(_numbers(one.output(name)))
        state = one.output("state")
        head += [f"state {label}", f"decided {label}"]
        columns.append([STATES[int(s)] if np.isfinite(s) else "" for s in state.tolist()])
        columns.append([ROLES[r] if r >= 0 else "" for r in one.run.governing.tolist()])
    text = io.StringIO()
    text.write(",".join(text_field(name) for name in head) + "\r\n")
    for row in zip(*columns, strict=True):
        text.write(",".join(row) + "\r\n")
    return text.getvalue()


def _numbers(values: object) -> list[str]:
    array = np.asarray(values, dtype=np.float64)
    return ["" if x != x else f"{x:.7g}" for x in array.tolist()]
