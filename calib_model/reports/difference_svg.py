"""Differences of two tables as inline SVG, legible in black and white.

A cell's size of difference is its grey, its sign a plus or a minus in it, a breach of the relation
between modes a triangle: nothing hangs on colour.
"""

from __future__ import annotations

from html import escape

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.axis import Axis
from ..core.numbers import short, with_unit
from ..core.table import Table
from ..core.units import shown
from .frame import axis_words, sheet, upright
from .svg import SvgLine, plot

_WIDTH, _HEIGHT = 430, 300
_LEFT, _RIGHT, _TOP, _BOTTOM = 62, 12, 40, 44
_DARKEST = 0.55
"""How black the largest difference is: signs and marks must still be read on it."""
_SIGN_ROOM = 9.0


def difference_curve(difference: Table) -> str:
    """Return B less A of a curve as one line."""
    axis = difference.axes[0]
    line = SvgLine(_places(axis), difference.values, False)
    zero = SvgLine(_places(axis)[[0, -1]], np.zeros(2), True)
    unit = shown(difference.unit)
    return plot([zero, line], axis_words(axis), unit, "B less A (dashed: no difference)")


def difference_map(difference: Table, breaches: BoolArray) -> str:
    """Return B less A of a map as cells over its breakpoints, first row on top.

    Parameters
    ----------
    difference : Table
        A map.
    breaches : bool array, shape of the map
        Cells that breach the relation between the modes.
    """
    rows, columns = difference.axes
    values = difference.values
    finite = np.abs(values[np.isfinite(values)])
    most = float(finite.max(initial=0.0))
    x = _edges(_places(columns), _LEFT, _WIDTH - _RIGHT)
    y = _edges(_places(rows), _TOP, _HEIGHT - _BOTTOM)
    title = f"B less A, largest {with_unit(most, difference.unit)}"
    parts = [sheet(_WIDTH, _HEIGHT, title, _LEFT)]
    for (row, column), value in np.ndenumerate(values):
        box = tuple(map(float, (x[column], y[row], x[column + 1], y[row + 1])))
        parts.append(_cell(box, float(value), most, bool(breaches[row, column])))
    parts += _ticks(columns, x, across=True) + _ticks(rows, y, across=False)
    middle = (_LEFT + _WIDTH - _RIGHT) / 2
    parts.append(
        f'<text x="{middle}" y="{_HEIGHT - 8}" text-anchor="middle">'
        f"{escape(axis_words(columns))}</text>"
    )
    parts.append(upright(axis_words(rows), (_TOP + _HEIGHT - _BOTTOM) / 2))
    parts.append("</svg>")
    return "".join(parts)


def _cell(box: tuple[float, ...], value: float, most: float, breach: bool) -> str:
    left, top, right, bottom = box
    width, height = right - left, bottom - top
    share = abs(value) / most if most and np.isfinite(value) else 0.0
    grey = round(255 * (1 - _DARKEST * share))
    drawn = (
        f'<rect x="{left:.1f}" y="{top:.1f}" width="{width:.1f}" height="{height:.1f}" '
        f'fill="rgb({grey},{grey},{grey})" stroke="#aaa" stroke-width="0.5"/>'
    )
    x, y = (left + right) / 2, (top + bottom) / 2
    if min(width, height) >= _SIGN_ROOM and value:
        if np.isnan(value):
            drawn += f'<text x="{x:.1f}" y="{y + 4:.1f}" text-anchor="middle">?</text>'
        else:
            path = f"M{x - 4:.1f} {y:.1f}h8"
            if value > 0:
                path += f"M{x:.1f} {y - 4:.1f}v8"
            drawn += f'<path d="{path}" stroke="#000" stroke-width="1.6"/>'
    if breach:
        drawn += (
            f'<path d="M{x + 8:.1f} {y - 7:.1f}l5 9h-10z" fill="#fff" stroke="#000" '
            'stroke-width="1.4"/>'
        )
    return drawn


def _ticks(axis: Axis, edges: FloatArray, *, across: bool) -> list[str]:
    places = _places(axis)
    low, high = _outer(places)
    start, end = float(edges[0]), float(edges[-1])
    found, last = [], -1e9
    for place, value in zip(places.tolist(), axis.values.tolist(), strict=True):
        at = start + (place - low) / (high - low) * (end - start)
        text = short(value, 5)
        room = 6.5 * len(text) + 6 if across else 12
        if at - last < room:
            continue
        last = at
        if across:
            place = f'x="{at:.1f}" y="{_HEIGHT - _BOTTOM + 14}"'
            found.append(f'<text {place} text-anchor="middle">{text}</text>')
        else:
            found.append(f'<text x="{_LEFT - 6}" y="{at + 4:.1f}" text-anchor="end">{text}</text>')
    return found


def _places(axis: Axis) -> FloatArray:
    return axis.values if axis.ordered else np.arange(len(axis), dtype=float)


def _outer(places: FloatArray) -> tuple[float, float]:
    """Return where the first and last cell end: as far out as they reach in."""
    if places.size == 1:
        return float(places[0]) - 0.5, float(places[0]) + 0.5
    return (
        float(places[0] - (places[1] - places[0]) / 2),
        float(places[-1] + (places[-1] - places[-2]) / 2),
    )


def _edges(places: FloatArray, start: float, end: float) -> FloatArray:
    """Return the borders between cells, half way between breakpoints, in the picture's units."""
    low, high = _outer(places)
    between = (places[1:] + places[:-1]) / 2
    borders = np.concatenate([[low], between, [high]])
    return np.asarray(start + (borders - low) / (high - low) * (end - start))
