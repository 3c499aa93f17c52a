"""Traces of a desk manoeuvre over time, and its path from above, as inline SVG.

The set compared with is dashed and grey, the set itself solid and black, so that nothing hangs on
colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..core.units import shown
from ..vehicle.runs import Result
from ..vehicle.trace import Trace, unit_of
from .frame import Frame, range_of

MOST_POINTS = 600
PLOTS = (
    ("Speed", "speed"),
    ("Clutch torque carried", "clutch_torque"),
    ("Clutch torque commanded", "law_torque"),
    ("Front slip", "front_slip"),
)
_EXTRA: dict[str, tuple[str, str]] = {
    "peak_plate_temperature": ("Plate temperature", "plate_temperature"),
    "yaw_overshoot": ("Yaw rate", "yaw_rate"),
    "reconnect_time": ("Driveshaft speed", "shaft_speed"),
    "roll_back": ("Way", "way"),
    "rear_wheel_lock_time": ("Inside-rear brake torque", "inside_brake_torque"),
}


def plots(result: Result) -> list[str]:
    """Return the plots of a manoeuvre as SVG elements: traces over time, and the path if it turns.

    Parameters
    ----------
    result : Result
    """
    traces = [(result.trace, False)] if result.completed else []
    if result.against is not None and result.against.completed:
        traces.append((result.against.trace, True))
    if not traces:
        return []
    chosen = [*PLOTS, *(_EXTRA[n] for n in result.manoeuvre.metrics if n in _EXTRA)]
    made = [
        _svg(
            [(t.time, t[column], dashed) for t, dashed in traces],
            "Time [s]",
            f"{title} [{shown(unit_of(column))}]",
            title,
        )
        for title, column in dict.fromkeys(chosen)
        if all(column in t for t, _ in traces)
    ]
    if _turns(traces[0][0]):
        made.append(
            _svg(
                [(t["x"], t["y"], dashed) for t, dashed in traces],
                "x [m]",
                "y [m]",
                "Path of the centre of gravity, from above",
                equal=True,
            )
        )
    return made


def _turns(trace: Trace) -> bool:
    return float(np.ptp(trace["y"])) > 0.5


def _svg(
    lines: Sequence[tuple[FloatArray, FloatArray, bool]],
    x_label: str,
    y_label: str,
    title: str,
    *,
    equal: bool = False,
) -> str:
    frame = Frame(
        range_of([x for x, _, _ in lines]), range_of([y for _, y, _ in lines]), height=240
    )
    if equal:  # a metre is as long across as up
        frame = _equal(frame)
    parts = [frame.sheet(title), frame.ruled(x_label, y_label)]
    for x_values, y_values, dashed in sorted(lines, key=lambda one: not one[2]):
        look = (
            'stroke="#777" stroke-width="2" stroke-dasharray="6 4"'
            if dashed
            else 'stroke="#000" stroke-width="1.6"'
        )
        path = _path(x_values, y_values, frame)
        parts.append(f'<path d="{path}" fill="none" {look}/>')
    parts.append("</svg>")
    return "".join(parts)


def _equal(frame: Frame) -> Frame:
    """Return the frame with as many dots to the metre across as up, about the same middle."""
    (x0, x1), (y0, y1) = frame.x, frame.y
    scale = min(frame.wide / (x1 - x0), frame.high / (y1 - y0))
    more_x = (frame.wide / scale - (x1 - x0)) / 2
    more_y = (frame.high / scale - (y1 - y0)) / 2
    return replace(frame, x=(x0 - more_x, x1 + more_x), y=(y0 - more_y, y1 + more_y))


def _path(x: FloatArray, y: FloatArray, frame: Frame) -> str:
    pieces: list[str] = []
    pen_down = False
    for k in thinned(y).tolist():
        if not (np.isfinite(x[k]) and np.isfinite(y[k])):
            pen_down = False
            continue
        across, down = frame.place(float(x[k]), float(y[k]))
        pieces.append(f"{'L' if pen_down else 'M'}{across:.1f} {down:.1f}")
        pen_down = True
    return "".join(pieces) or "M0 0"


def thinned(values: FloatArray, most: int = MOST_POINTS) -> IntArray:
    """Return places of at most about `most` values that keep every peak of a trace.

    Parameters
    ----------
    values : (n,) float array
    most : int
    """
    if values.size <= most:
        return np.arange(values.size, dtype=np.int64)
    per = -(-values.size // (most // 2))  # lowest and highest of each piece
    kept = {0, values.size - 1}
    for begin in range(0, values.size, per):
        piece = values[begin : begin + per]
        if np.isfinite(piece).any():
            kept |= {begin + int(np.nanargmin(piece)), begin + int(np.nanargmax(piece))}
        else:
            kept.add(begin)
    return np.array(sorted(kept), dtype=np.int64)
