"""Remedies that change breakpoints and keep the values: an axis with wrong numbers."""

from __future__ import annotations

import numpy as np

from ..core.calibration_set import CalibrationSet
from ..core.numbers import exact
from ..core.rule import find_axis
from ..editing.axes import exchange_breakpoints, scale_axis
from ..editing.change import Change
from ..rules.check import Finding
from ..rules.plausibility import AxisOnRaster, AxisOrder, Covers


def scale(content: CalibrationSet, finding: Finding, base: CalibrationSet | None) -> list[Change]:
    """Scale an axis whose both ends fall short by the same factor (a wrong unit or ratio)."""
    rule = finding.source
    if not isinstance(rule, Covers):
        return []
    table = content[finding.table]
    number = find_axis(table, rule.axis)
    x = table.axes[number].values
    factors = [
        need / has for need, has in ((rule.low, x.min()), (rule.high, x.max())) if has and need
    ]
    if not factors or min(factors) <= 1 or max(factors) / min(factors) > 1.01:
        return []
    return [scale_axis(content, table.id, number, float(factors[0]))]


def move(content: CalibrationSet, finding: Finding, base: CalibrationSet | None) -> list[Change]:
    """Move the breakpoint that stands wrong, with its values."""
    rule = finding.source
    table = content[finding.table]
    if isinstance(rule, Covers):
        number = find_axis(table, rule.axis)
        x = table.axes[number].values.copy()
        moved = []
        if x[0] > rule.low:
            moved.append((float(x[0]), rule.low))
            x[0] = rule.low
        if x[-1] < rule.high:
            moved.append((float(x[-1]), rule.high))
            x[-1] = rule.high
        return [_exchange(content, finding.table, number, x, moved)]
    changes = []
    for number, axis in enumerate(table.axes):
        x = axis.values.copy()
        if isinstance(rule, AxisOnRaster):
            new = axis.storage.nearest(x)
        elif isinstance(rule, AxisOrder):
            new = _put_in_order(x)
        else:
            return []
        moved = [(float(a), float(b)) for a, b in zip(x, new, strict=True) if a != b]
        if moved:
            changes.append(_exchange(content, finding.table, number, new, moved))
    return changes


def _put_in_order(x: np.ndarray) -> np.ndarray:
    """Move each breakpoint that does not fit its neighbours to half way between them.

    The longest rising run of breakpoints is taken as right.
    """
    lengths = np.ones(len(x), dtype=int)
    previous = np.full(len(x), -1)
    for i in range(len(x)):
        for j in range(i):
            if x[j] < x[i] and lengths[j] + 1 > lengths[i]:
                lengths[i], previous[i] = lengths[j] + 1, j
    keep = []
    i = int(lengths.argmax())
    while i >= 0:
        keep.append(i)
        i = int(previous[i])
    keep.reverse()
    places = np.arange(len(x))
    new = np.interp(places, keep, x[keep])
    step = (x[keep[-1]] - x[keep[0]]) / max(keep[-1] - keep[0], 1) or 1.0
    new[places < keep[0]] = x[keep[0]] - step * (keep[0] - places[places < keep[0]])
    new[places > keep[-1]] = x[keep[-1]] + step * (places[places > keep[-1]] - keep[-1])
    return np.asarray(new)


def _exchange(
    content: CalibrationSet,
    table_id: str,
    number: int,
    new: np.ndarray,
    moved: list[tuple[float, float]],
) -> Change:
    table = content[table_id]
    axis = table.axes[number]
    words = ", ".join(f"{exact(a)} to {axis.said(b)}" for a, b in moved)
    title = f"Move breakpoint of {table.label}, {axis.label.lower()}, from {words}"
    return exchange_breakpoints(content, table_id, number, new, title=title, keep_values=True)
