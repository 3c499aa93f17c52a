"""Quantise: the values the controller will hold, and what rounding does to a table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short, with_unit
from ..core.rule import Stack, at_cell, between
from ..core.storage import Storage
from ..core.table import Table
from ..errors import EditRefused
from .explain import without_rows
from .problem import RuleSystem, gather
from .proposal import Diagnostics, Proposal
from .repair import before_and_after, broken_parts, not_stated, remarks, saturated, with_values
from .scaling import storage_for
from .storing import to_storage

TILTED = 0.25
"""By which share a slope may change before it counts as tilted."""


@dataclass(frozen=True)
class Bend:
    """What rounding does to the slope between two neighbours.

    Parameters
    ----------
    cells : tuple of two flat cells
    axis : int
    before, after : float
        Rise from the first to the second.
    text : str
    """

    cells: tuple[int, int]
    axis: int
    before: float
    after: float
    text: str


@dataclass(frozen=True, eq=False)
class Rounding:
    """What rounding does to a table.

    Parameters
    ----------
    error : float array of the table's shape
        Stored less given value.
    flattened : tuple of Bend
        Slopes that are lost.
    tilted : tuple of Bend
        Slopes that change by more than a quarter, the most first.
    """

    error: FloatArray
    flattened: tuple[Bend, ...]
    tilted: tuple[Bend, ...]

    @property
    def largest(self) -> float:
        """Largest rounding error; 0 if every cell is empty."""
        return float(np.nanmax(np.abs(self.error), initial=0.0))


def rounding(table: Table, stored: FloatArray) -> Rounding:
    """Return what rounding a table's values to `stored` does to values and slopes."""
    flattened: list[Bend] = []
    tilted: list[Bend] = []
    old, new = table.values.reshape(-1), np.asarray(stored).reshape(-1)
    stack = Stack([table])
    for axis in range(len(table.axes)):
        pairs = stack.runs(axis, 2)
        before, after = np.diff(old[pairs])[:, 0], np.diff(new[pairs])[:, 0]
        noise = 1e-9 * table.span
        lost = (np.abs(before) > noise) & (after == 0)
        with np.errstate(invalid="ignore"):
            off = (np.abs(after - before) > TILTED * np.abs(before) + noise) & ~lost
        for row in np.flatnonzero(lost | off).tolist():
            first, second = (int(c) for c in pairs[row])
            where = f"{between(table, axis, first, second)} {at_cell(table, first, axis)}".strip()
            rise = with_unit(float(before[row]), table.unit, 4)
            if lost[row]:
                text = f"The rise of {rise} {where} is lost."
            else:
                now = with_unit(float(after[row]), table.unit, 4)
                text = f"The rise of {rise} {where} becomes {now}."
            bend = Bend((first, second), axis, float(before[row]), float(after[row]), text)
            (flattened if lost[row] else tilted).append(bend)
    tilted.sort(key=lambda b: -abs(b.after - b.before))
    return Rounding(np.asarray(stored) - table.values, tuple(flattened), tuple(tilted))


def quantise(
    content: CalibrationSet,
    table: str,
    *,
    storage: Storage | None = None,
    step: str | float = "",
    type: str = "",
    range: tuple[float, float] | None = None,
    selection: BoolArray | None = None,
    against: Sequence[CalibrationSet] = (),
    without: Iterable[str] = (),
) -> Proposal:
    """Return the nearest values that storage can hold and that keep the rules.

    Order, strict order, bounds, locks and step limits are kept; any other rule that rounding
    breaks is reported with its cells.  Rules that do not hold before are left out of account.

    Parameters
    ----------
    content : CalibrationSet
    table : str
        Id of the table.
    storage : Storage, optional
        Another storage to move the table to; its own by default.
    step, type, range
        Or: what another storage is to be like; see `calib_model.shaping.scaling.storage_for`.
    selection : bool array of the table's shape, optional
        Cells to round; all by default.
    against, without
        See `calib_model.shaping.problem.gather`.

    Raises
    ------
    EditRefused
        If the storage holds any value as it is, or cannot hold the table's range.
    """
    present = content[table]
    if step != "" and storage is None:
        storage = storage_for(present, step, type, range)
    elif type or range is not None:
        raise EditRefused("A type or range is given without a step.", "Give a step as well.")
    wanted = present if storage is None else replace(present, storage=storage)
    if wanted.storage.type == "float64":
        raise EditRefused(
            f"{present.label} is stored as float64, which holds any value as it is.",
            "Name a storage type with steps.",
        )
    _require_room(wanted)
    left_out = tuple(without)
    moved = content.with_table(wanted)
    system = gather(
        moved,
        [table],
        against=against,
        allowed=None if selection is None else {table: selection},
        without=left_out,
    )
    system.allowed[np.isnan(system.values)] = False
    before_rounding = system.broken(system.values)
    before_rounding = before_rounding[~np.isin(before_rounding, system.reduced.beyond)]
    off = np.zeros(system.bound.size, dtype=bool)
    off[before_rounding] = True
    # What is missed by less than a step (a strict order among values closer than that) can be had
    # by rounding the right way.
    off &= ~_within_a_step(system)
    kept = without_rows(system, off) if off.any() else system
    stored = to_storage(kept, kept.reduced.full(kept.values[kept.reduced.free]))
    _, after = before_and_after(kept, stored.values)
    sets = with_values(kept, stored.values)
    new = after[(0, table)]
    effect = rounding(present, new.values)
    notes = [*saturated(kept, kept.values, stored)]
    notes += remarks(kept, stored, sets, "rounded")
    if off.any():
        count = int(off.sum())
        notes.append(
            f"{count} place{'' if count == 1 else 's'} where a rule did not hold before "
            f"rounding {'was' if count == 1 else 'were'} left out of account."
        )
    for bends, verb in ((effect.flattened, "flattens"), (effect.tilted, "tilts")):
        if bends:
            more = f" and {len(bends) - 1} more" if len(bends) > 1 else ""
            notes.append(f"Rounding {verb} {_slopes(len(bends))}: {bends[0].text[:-1]}{more}.")
    settings: dict[str, Any] = {"storage": str(wanted.storage)}
    if selection is not None:
        settings["cells"] = int(selection.sum())
    if left_out:
        settings["without"] = list(left_out)
    figures: Mapping[str, Any] = {
        "stored": stored.method,
        "largest error": effect.largest,
        "flattened": len(effect.flattened),
        "tilted": len(effect.tilted),
    }
    return Proposal(
        f"Round {present.label} to storage",
        {(0, table): present},
        {(0, table): new},
        settings,
        Diagnostics(
            broken=broken_parts(kept, stored),
            not_stated=not_stated(kept),
            figures=figures,
        ),
        tuple(notes),
    )


def _within_a_step(system: RuleSystem) -> BoolArray:
    """Rows between cells that are missed by at most one storage step of theirs."""
    counts = np.diff(system.matrix.indptr)
    reach = np.zeros(counts.size)
    rows = np.flatnonzero(counts > 1)
    if rows.size:
        each = np.abs(system.matrix.data) * system.step[system.matrix.indices]
        np.maximum.at(reach, np.repeat(np.arange(counts.size), counts), each)
        reach[counts < 2] = 0.0
    with np.errstate(invalid="ignore"):
        return np.asarray(system.excess(system.values) <= reach * (1 + 1e-9))


def _slopes(count: int) -> str:
    return f"{count} slope{'' if count == 1 else 's'}"


def _require_room(table: Table) -> None:
    low, high = table.storage.range
    finite = table.values[np.isfinite(table.values)]
    if finite.size and (finite.min() < low - table.storage.resolution / 2 or
                        finite.max() > high + table.storage.resolution / 2):  # fmt: skip
        raise EditRefused(
            f"{table.storage} holds {short(low)} to {with_unit(high, table.unit)}, but "
            f"{table.label} reaches from {short(float(finite.min()))} to "
            f"{with_unit(float(finite.max()), table.unit)}.",
            "Choose a coarser step, a larger type or an offset.",
        )
