"""What is to be said about single cells: findings, locks, off-raster and changed values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calib_model.core.arrays import BoolArray
from calib_model.core.table import Table

from .plane import Cell

SEVERITIES = ("error", "warning", "note")
Findings = Mapping[Cell, Sequence[tuple[str, str]]]
"""Per cell: (severity, sentence) of each finding there."""


@dataclass(frozen=True)
class Look:
    """How one cell is drawn."""

    text: str
    heat: int
    """Colour number, -1 for none."""
    severity: str = ""
    locked: bool = False
    off_raster: bool = False
    changed: bool = False
    beyond: bool = False
    """Outside the table's limits."""
    proposed: bool = False
    """Whether the text is a proposed value, not the present one."""
    to_change: bool = False
    """Whether another value is proposed for it."""
    level: int = 0
    """Size of the cell's mark (how long it was driven, say), 0 for none to 4."""
    full: bool = False
    """Whether that mark is the full one: the table decided there."""
    past_end: bool = False
    """Whether it was driven beyond the axis's end."""
    off_scale: bool = False
    """Whether the value lies so far from the others that the colours leave it out."""


def worst(findings: Sequence[tuple[str, str]]) -> str:
    """Return the weightiest severity among findings, empty if there are none."""
    here = {str(severity) for severity, _ in findings}
    return next((s for s in SEVERITIES if s in here), "")


def off_raster_cells(table: Table) -> BoolArray:
    """Return which filled cells the controller cannot hold exactly."""
    if table.storage.type == "float64":
        return np.zeros(table.shape, dtype=bool)
    return np.asarray(~table.storage.representable(table.values) & np.isfinite(table.values))


def beyond_limits(table: Table) -> BoolArray:
    """Return which cells lie outside the table's limits."""
    with np.errstate(invalid="ignore"):
        return np.asarray((table.values < table.lower) | (table.values > table.upper))


def changed_cells(table: Table, saved: Table | None) -> BoolArray:
    """Return which cells differ from the saved table at the same breakpoints.

    A cell whose breakpoints the saved table does not have counts as changed.
    """
    if saved is None or saved is table:
        return np.zeros(table.shape, dtype=bool)
    if len(saved.shape) != len(table.shape):
        return np.ones(table.shape, dtype=bool)
    known = np.ones(table.shape, dtype=bool)
    picks = []
    for number, (new, old) in enumerate(zip(table.axes, saved.axes, strict=True)):
        place = {value: i for i, value in enumerate(old.values.tolist())}
        found = np.array([place.get(value, -1) for value in new.values.tolist()])
        along = [-1 if a == number else 1 for a in range(len(table.shape))]
        known &= (found >= 0).reshape(along)
        picks.append(np.maximum(found, 0))
    before = saved.values[np.ix_(*picks)] if picks else saved.values
    same = (before == table.values) | (np.isnan(before) & np.isnan(table.values))
    return np.asarray(~(known & same))
