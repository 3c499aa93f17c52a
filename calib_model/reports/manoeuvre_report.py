"""The manoeuvre report: one HTML file that stands alone, with metrics, traces and paths.

No scripts, nothing fetched, all text escaped.  The set compared with is dashed and grey, the set
itself solid and black, so that nothing hangs on colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from ..core.arrays import FloatArray
from ..core.numbers import short
from ..core.units import shown
from ..vehicle.metrics import BETTER_WORDS, Reading
from ..vehicle.runs import CAUTION, LEFT_OUT, Result
from ..vehicle.trace import Trace, unit_of
from .svg import ticks

MOST_POINTS = 600
_W, _H, _L, _R, _T, _B = 430, 240, 62, 12, 26, 44
_STYLE = """
body{font:15px/1.45 sans-serif;color:#000;background:#fff;max-width:60rem;margin:1.5rem auto;
padding:0 1rem}
h1{font-size:1.6rem;margin-bottom:.2rem}h2{font-size:1.2rem;border-bottom:2px solid #000;
margin-top:2rem}
table{border-collapse:collapse;margin:.5rem 0}
th,td{border:1px solid #999;padding:.2rem .45rem;text-align:right;vertical-align:top}
th{background:#eee}td.text,th.text{text-align:left}td.beyond{border:3px solid #000;font-weight:bold}
small{color:#444}
.plots{display:flex;flex-wrap:wrap;gap:.5rem}.plots svg{border:1px solid #ccc;max-width:100%;
height:auto}
@media print{body{margin:0;max-width:none}svg,tr{break-inside:avoid}}
"""

PLOTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Speed", ("speed",)),
    ("Clutch torque carried", ("clutch_torque",)),
    ("Clutch torque commanded", ("law_torque",)),
    ("Front slip", ("front_slip",)),
)
_EXTRA: dict[str, tuple[str, str]] = {
    "peak_plate_temperature": ("Plate temperature", "plate_temperature"),
    "yaw_overshoot": ("Yaw rate", "yaw_rate"),
    "reconnect_time": ("Driveshaft speed", "shaft_speed"),
    "roll_back": ("Way", "way"),
    "rear_wheel_lock_time": ("Inside-rear brake torque", "inside_brake_torque"),
}


@dataclass(frozen=True)
class Names:
    """What the sets are called.

    Parameters
    ----------
    mine : str
    against : str
        Empty if nothing is compared.
    vehicle : str
    """

    mine: str
    against: str = ""
    vehicle: str = ""


def manoeuvre_report(results: Sequence[Result], names: Names, *, made: str = "") -> str:
    """Return the report as HTML.

    Parameters
    ----------
    results : sequence of Result
    names : Names
    made : str
        When and by whom; may be empty.

    Returns
    -------
    str
        A whole page.
    """
    title = "Desk manoeuvres"
    sets = escape(names.mine)
    if names.against:
        sets += f", against {escape(names.against)} (dashed)"
    parts = [f"<h1>{title}</h1>", f"<p>Set: {sets}."]
    parts.append(f" Vehicle: {escape(names.vehicle)}.</p>" if names.vehicle else "</p>")
    if made:
        parts.append(f"<p><small>{escape(made)}</small></p>")
    parts.append(f"<p>{escape(LEFT_OUT)}</p>")
    parts.append(_missing(results, names))
    for result in results:
        parts += _manoeuvre(result, names)
    parts.append(f"<h2>Caution</h2><p>{escape(CAUTION)}</p>")
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{_STYLE}</style></head><body>{''.join(parts)}</body></html>\n"
    )


def _missing(results: Sequence[Result], names: Names) -> str:
    items = []
    for label, chosen in (
        (names.mine, results),
        (names.against, [r.against for r in results if r.against is not None]),
    ):
        found = {role: why for r in chosen for role, why in r.missing.items()}
        items += [f"<li>{escape(f'{label}: {r}: {why}')}</li>" for r, why in found.items()]
    if not items:
        return ""
    return f"<p>Parts of the controller that took no part:</p><ul>{''.join(items)}</ul>"


def _manoeuvre(result: Result, names: Names) -> list[str]:
    one = result.manoeuvre
    ambient = f"ambient {short(one.start.ambient_temperature, 4)} °C"
    about = escape(f"{one.id}, {one.duration:g} s, {ambient}")
    parts = [
        f"<h2>{escape(one.name)}</h2>",
        f"<p>{escape(one.purpose)} <small>{about}</small></p>",
    ]
    for label, found in ((names.mine, result), (names.against, result.against)):
        if found is not None and not found.completed:
            parts.append(f"<p><b>{escape(f'{label}: {found.why}')}</b></p>")
        if found is not None:
            parts += [f"<p>{escape(f'{label}: {r}')}</p>" for r in found.trace.remarks]
    parts.append(_table(result, names))
    if result.completed or result.against is not None:
        parts.append(f'<div class="plots">{"".join(plots(result))}</div>')
    return parts


def _table(result: Result, names: Names) -> str:
    heads = ["Metric (desk estimate)", names.mine]
    if names.against:
        heads += [names.against, "Change", ""]
    heads += ["Limit", "How"]
    rows = []
    for row in result.rows():
        reading, unit = row.reading, row.reading.metric.unit
        cells = [f'<td class="text">{escape(reading.metric.label)}</td>', _value(reading)]
        if names.against:
            change = "" if row.change is None else f"{_signed(row.change)} {shown(unit)}"
            cells += [
                _value(row.against) if row.against else "<td></td>",
                f"<td>{escape(change)}</td>",
                f'<td class="text">{escape(row.verdict)}</td>',
            ]
        limit = "" if reading.limit is None else f"{short(reading.limit, 5)} {shown(unit)}"
        how = f"{reading.metric.how} {BETTER_WORDS[reading.metric.better].capitalize()}."
        cells += [
            f"<td>{escape(limit)}</td>",
            f'<td class="text"><small>{escape(how)}</small></td>',
        ]
        rows.append(f"<tr>{''.join(cells)}</tr>")
    head = "".join(f'<th class="text">{escape(h)}</th>' for h in heads)
    return f"<table><tr>{head}</tr>{''.join(rows)}</table>"


def _value(reading: Reading) -> str:
    if reading.value is None:
        return f'<td class="text"><small>{escape(reading.why)}</small></td>'
    text = f"{short(reading.value, 4)} {shown(reading.metric.unit)}"
    if reading.beyond:
        return f'<td class="beyond">{escape(text)} (beyond the limit)</td>'
    return f"<td>{escape(text)}</td>"


def _signed(value: float) -> str:
    return ("+" if value > 0 else "") + short(value, 3)


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
    chosen = [(title, column) for title, (column,) in PLOTS]
    chosen += [_EXTRA[n] for n in result.manoeuvre.metrics if n in _EXTRA]
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
    x0, x1 = _range([x for x, _, _ in lines])
    y0, y1 = _range([y for _, y, _ in lines])
    wide, high = _W - _L - _R, _H - _T - _B
    if equal:  # a metre is as long across as up
        scale = min(wide / (x1 - x0), high / (y1 - y0))
        more_x, more_y = wide / scale - (x1 - x0), high / scale - (y1 - y0)
        x0, x1, y0, y1 = x0 - more_x / 2, x1 + more_x / 2, y0 - more_y / 2, y1 + more_y / 2

    def across(x: float) -> float:
        return round(_L + (x - x0) / (x1 - x0) * wide, 1)

    def up(y: float) -> float:
        return round(_H - _B - (y - y0) / (y1 - y0) * high, 1)

    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_W} {_H}" width="{_W}" '
        f'height="{_H}" role="img" font-family="sans-serif" font-size="11">'
        f"<title>{escape(title)}</title>"
        f'<rect x="0" y="0" width="{_W}" height="{_H}" fill="#fff"/>'
        f'<text x="{_L}" y="16" font-size="12" font-weight="bold">{escape(title)}</text>'
    )
    parts = [head]
    for tick in ticks(x0, x1):
        x = across(tick)
        parts.append(
            f'<line x1="{x}" y1="{_T}" x2="{x}" y2="{_H - _B}" stroke="#ddd"/>'
            f'<text x="{x}" y="{_H - _B + 15}" text-anchor="middle">{short(tick, 5)}</text>'
        )
    for tick in ticks(y0, y1):
        y = up(tick)
        parts.append(
            f'<line x1="{_L}" y1="{y}" x2="{_W - _R}" y2="{y}" stroke="#ddd"/>'
            f'<text x="{_L - 6}" y="{y + 4}" text-anchor="end">{short(tick, 5)}</text>'
        )
    middle, upright = (_L + _W - _R) / 2, (_T + _H - _B) / 2
    parts.append(
        f'<text x="{middle}" y="{_H - 10}" text-anchor="middle">{escape(x_label)}</text>'
        f'<text x="14" y="{upright}" text-anchor="middle" '
        f'transform="rotate(-90 14 {upright})">{escape(y_label)}</text>'
    )
    for x_values, y_values, dashed in sorted(lines, key=lambda one: not one[2]):
        look = (
            'stroke="#777" stroke-width="2" stroke-dasharray="6 4"'
            if dashed
            else 'stroke="#000" stroke-width="1.6"'
        )
        path = _path(x_values, y_values, across, up)
        parts.append(f'<path d="{path}" fill="none" {look}/>')
    parts.append("</svg>")
    return "".join(parts)


def _path(x: FloatArray, y: FloatArray, across: object, up: object) -> str:
    picks = thinned(y)
    pieces: list[str] = []
    pen_down = False
    for k in picks.tolist():
        if not (np.isfinite(x[k]) and np.isfinite(y[k])):
            pen_down = False
            continue
        place = f"{across(float(x[k]))} {up(float(y[k]))}"  # type: ignore[operator]
        pieces.append(("L" if pen_down else "M") + place)
        pen_down = True
    return "".join(pieces) or "M0 0"


def thinned(
    values: FloatArray, most: int = MOST_POINTS
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
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


def _range(arrays: Sequence[FloatArray]) -> tuple[float, float]:
    every = np.concatenate([a[np.isfinite(a)] for a in arrays])
    if not every.size:
        return 0.0, 1.0
    low, high = float(every.min()), float(every.max())
    room = (high - low) * 0.04 or abs(low) * 0.05 or 1.0
    return low - room, high + room
