"""Plots of tables before and after as inline SVG, legible in black and white.

The state before is dashed with hollow circles, the state after solid with filled squares, so that
nothing hangs on colour.  All text is escaped; there are no scripts, links or styles from outside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis, Interpolation
from ..core.table import Table
from ..core.units import shown
from ..errors import LookupProblem
from ..lookup.reference import lookup
from .frame import Frame, axis_words, range_of

MOST_SLICES = 6
_INK, _GREY = "#000", "#777"


@dataclass(frozen=True)
class SvgLine:
    """One line of a plot.

    Parameters
    ----------
    x, y : float arrays, shape (n,)
        NaN leaves a gap.
    before : bool
        How it is drawn.
    step : bool
        Whether the lower breakpoint holds until the next.
    """

    x: FloatArray
    y: FloatArray
    before: bool
    step: bool = False


def table_plots(before: Table | None, after: Table | None) -> list[str]:
    """Return the plots that show a table's change: one for a curve, slices for a map.

    Parameters
    ----------
    before, after : Table or None
        None for a table that was added or removed.

    Returns
    -------
    list of str
        SVG elements; none for scalars and for tables of three and more axes.
    """
    shape_of = after if after is not None else before
    if shape_of is None or len(shape_of.axes) not in (1, 2):
        return []
    if len(shape_of.axes) == 1:
        lines = [
            SvgLine(t.axes[0].values, t.values, is_before, _steps(t.axes[0]))
            for t, is_before in ((before, True), (after, False))
            if t is not None and len(t.axes) == 1
        ]
        return [plot(lines, axis_words(shape_of.axes[0]), shown(shape_of.unit), shape_of.label)]
    return _slices(before, after, shape_of)


def _slices(before: Table | None, after: Table | None, shape_of: Table) -> list[str]:
    rows_axis, columns = shape_of.axes
    states = [(t, b) for t, b in ((before, True), (after, False)) if t is not None]
    states = [(t, b) for t, b in states if len(t.axes) == 2]
    differing = []
    for row, value in enumerate(rows_axis.values.tolist()):
        found = [_row_at(t, value) for t, _ in states]
        same = (
            len(found) == 2
            and found[0] is not None
            and found[1] is not None
            and len(found[0]) == len(found[1])
            and np.array_equal(found[0], found[1], equal_nan=True)
        )
        if not same or _axes_differ(states):
            differing.append(row)
    plots = []
    for row in _chosen(differing):
        value = float(rows_axis.values[row])
        lines = []
        for table, is_before in states:
            y = _row_at(table, value)
            if y is not None:
                axis = table.axes[1]
                lines.append(SvgLine(axis.values, y, is_before, _steps(axis)))
        title = f"{shape_of.label} at {rows_axis.said(value)}"
        plots.append(plot(lines, axis_words(columns), shown(shape_of.unit), title))
    return plots


def _axes_differ(states: Sequence[tuple[Table, bool]]) -> bool:
    if len(states) < 2:
        return True
    a, b = (t.axes[1].values for t, _ in states)
    return not np.array_equal(a, b)


def _row_at(table: Table, value: float) -> FloatArray | None:
    places = np.flatnonzero(table.axes[0].values == value)
    if places.size:
        return np.asarray(table.values[int(places[0])])
    try:  # between its breakpoints, as the controller reads it
        return lookup(table, (value, table.axes[1].values))
    except LookupProblem:
        return None


def _chosen(rows: list[int]) -> list[int]:
    if len(rows) <= MOST_SLICES:
        return rows
    picks = np.linspace(0, len(rows) - 1, MOST_SLICES).round().astype(int)
    return [rows[i] for i in dict.fromkeys(picks.tolist())]


def _steps(axis: Axis) -> bool:
    return axis.interpolation is Interpolation.STEP


def plot(lines: Sequence[SvgLine], x_label: str, y_label: str, title: str) -> str:
    """Return one plot as an SVG element.

    Parameters
    ----------
    lines : sequence of SvgLine
    x_label, y_label, title : str
    """
    frame = Frame(range_of([line.x for line in lines]), range_of([line.y for line in lines]))
    parts = [frame.sheet(title), frame.ruled(x_label, y_label)]
    for line in sorted(lines, key=lambda one: not one.before):
        points = [
            (frame.place(float(x), float(y)) if math.isfinite(y) else None)
            for x, y in zip(line.x, line.y, strict=True)
        ]
        parts.append(_drawn(points, line))
    parts.append("</svg>")
    return "".join(parts)


def _drawn(points: Sequence[tuple[float, float] | None], line: SvgLine) -> str:
    look = (
        f'stroke="{_GREY}" stroke-width="2" stroke-dasharray="6 4"'
        if line.before
        else f'stroke="{_INK}" stroke-width="2"'
    )
    path: list[str] = []
    last: tuple[float, float] | None = None
    marks = []
    for point in points:
        if point is not None:
            x, y = point
            if last is None:
                path.append(f"M{x} {y}")
            elif line.step:
                path.append(f"H{x}V{y}")
            else:
                path.append(f"L{x} {y}")
            marks.append(
                f'<circle cx="{x}" cy="{y}" r="4" fill="#fff" stroke="{_GREY}" stroke-width="1.5"/>'
                if line.before
                else f'<rect x="{x - 2.5:.2f}" y="{y - 2.5:.2f}" width="5" height="5" '
                f'fill="{_INK}"/>'
            )
        last = point
    return f'<path d="{"".join(path) or "M0 0"}" fill="none" {look}/>{"".join(marks)}'


def legend(before_words: str = "before", after_words: str = "after") -> str:
    """Return the key to the lines, as an SVG element."""
    before = SvgLine(np.array([0.0]), np.array([0.0]), True)
    after = SvgLine(np.array([0.0]), np.array([0.0]), False)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 240 22" width="240" height="22" '
        'role="img" font-family="sans-serif" font-size="12"><title>Key</title>'
        f"{_drawn([(6, 11), (46, 11)], before)}"
        f'<text x="54" y="15">{escape(before_words)}</text>'
        f"{_drawn([(126, 11), (166, 11)], after)}"
        f'<text x="174" y="15">{escape(after_words)}</text></svg>'
    )
