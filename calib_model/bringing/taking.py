"""What was understood, against a set that is there: what comes, and the one change that takes it.

A set's own table keeps its id, name, rules, role, storage and limits; values and breakpoints come
from the file, in the set's units.  A table that the set does not have comes with all it says.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from ..core.arrays import FloatArray, same_values
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.numbers import with_unit
from ..core.table import Table
from ..core.units import convert, same_kind
from ..editing.change import Change
from ..editing.difference import change_between
from ..editing.locks import locked_cells
from ..errors import BitepointError, UnitProblem
from .draft import Draft
from .found import Doubt
from .understanding import NotTaken, Understood

LAST_DIGITS = 1e-12
"""Of the largest value: what a conversion there and back loses of a float64."""


class Coming(StrEnum):
    """What a table of the files is to the set."""

    NEW = "new"
    SAME = "same"
    CHANGED = "changed"
    RESIZED = "resized"
    RENAMED = "renamed"
    VANISHED = "vanished"


@dataclass(frozen=True, eq=False)
class Arrival:
    """A table of the files, or of the set, and what becomes of it.

    Parameters
    ----------
    coming : Coming
    id : str
    draft : Draft or None
        None if it vanished.
    before, after : Table or None
        In the set: as it is, and as it would be.
    words : str
        What changes, for reading.
    doubts : tuple of Doubt
        Those of the draft, and what the set makes doubtful.
    """

    coming: Coming
    id: str
    draft: Draft | None
    before: Table | None
    after: Table | None
    words: str = ""
    doubts: tuple[Doubt, ...] = ()


def arrivals(understood: Understood, content: CalibrationSet) -> tuple[Arrival, ...]:
    """Return what comes into a set, in the order of the files, and then what vanished.

    Parameters
    ----------
    understood : Understood
    content : CalibrationSet
    """
    taken = understood.taken
    here = {draft.table.id for draft in taken}
    gone = [table for table in content if table.id not in here]
    found = []
    for draft in taken:
        before = content.tables.get(draft.table.id)
        found.append(_new(draft, gone) if before is None else _met(draft, before))
    vanished = [
        Arrival(Coming.VANISHED, table.id, None, table, None, "no file has it") for table in gone
    ]
    return (*found, *vanished)


def _new(draft: Draft, gone: Sequence[Table]) -> Arrival:
    table = draft.table
    alike = [other for other in gone if _is_alike(table, other)]
    if len(alike) == 1:
        other = alike[0]
        doubt = Doubt(
            "id", f"{table.id} may be {other.id} of the set under another name; it comes as a new "
            "table.", f'Choose id = "{other.id}" if it is that one.', (table.id, other.id),
        )  # fmt: skip
        words = f"looks like {other.id}"
        if draft.found.id == table.id:  # else the id was chosen, and with it what it is
            return Arrival(
                Coming.RENAMED, table.id, draft, None, table, words, (*draft.doubts, doubt)
            )
    return Arrival(Coming.NEW, table.id, draft, None, table, _size(table), draft.doubts)


def _is_alike(table: Table, other: Table) -> bool:
    if table.shape != other.shape:
        return False
    if table.name and table.name == other.name:
        return True
    same = same_values(table.values, other.values) and table.values.size > 1
    return same and all(
        same_values(a.values, b.values) for a, b in zip(table.axes, other.axes, strict=True)
    )


def _met(draft: Draft, before: Table) -> Arrival:
    table, id = draft.table, draft.table.id
    doubts = list(draft.doubts)
    notes: list[str] = []
    if len(table.axes) != len(before.axes):
        doubts.append(
            Doubt("form", f"{id} has {len(table.axes)} axes in {draft.where} and "
                  f"{len(before.axes)} in the set.", "Choose another id, or leave it out.",
                  blocks=True)
        )  # fmt: skip
        return Arrival(Coming.RESIZED, id, draft, before, before, "other axes", tuple(doubts))
    axes, values = _turned(table, before, notes)
    try:
        values = _converted(values, before.values, (_said(draft), before.unit), id, notes)
        points = [
            _converted(
                axis.values, own.values, (axis.unit, own.unit), f"{own.label} of {id}", notes
            )
            for axis, own in zip(axes, before.axes, strict=True)
        ]
    except UnitProblem as error:
        doubts.append(Doubt("unit", f"{draft.where}: {error.problem}", error.remedy, blocks=True))
        return Arrival(Coming.CHANGED, id, draft, before, before, "other unit", tuple(doubts))
    if all(same_values(p, own.values) for p, own in zip(points, before.axes, strict=True)):
        values = _unlocked(before, values, notes)
        after = before if same_values(values, before.values) else before.with_values(values)
        _off_the_raster(after, notes)
        coming = Coming.SAME if after is before else Coming.CHANGED
        words = "" if after is before else _difference(before, values)
        return Arrival(
            coming, id, draft, before, after, "; ".join(filter(None, [words, *notes])),
            tuple(doubts),
        )  # fmt: skip
    new = tuple(
        own if same_values(p, own.values) else replace(own, values=p)
        for p, own in zip(points, before.axes, strict=True)
    )
    after = replace(before, axes=new, values=values)
    _off_the_raster(after, notes)
    words = f"{_size(before)} becomes {_size(after)}" if before.shape != after.shape else (
        "other breakpoints"
    )  # fmt: skip
    return Arrival(
        Coming.RESIZED, id, draft, before, after, "; ".join([words, *notes]), tuple(doubts)
    )


def _said(draft: Draft) -> str:
    """Return the unit that was said or chosen; empty if none was, so that the set's counts."""
    table = draft.table
    return "" if table.unit == "-" and draft.found.unit is None else table.unit


def _turned(table: Table, before: Table, notes: list[str]) -> tuple[tuple[Axis, ...], FloatArray]:
    """Return axes and values in the order of the set's table, where the file has them reversed."""
    axes, values = table.axes, table.values
    if len(axes) != 2:
        return axes, values
    straight = [_fit(a, b) for a, b in zip(axes, before.axes, strict=True)]
    crossed = [_fit(a, b) for a, b in zip(axes, before.axes[::-1], strict=True)]
    if sum(crossed) > sum(straight) and min(crossed) > 0:
        notes.append("its axes stand the other way round in the file")
        return axes[::-1], values.T.copy()
    return axes, values


def _fit(axis: Axis, own: Axis) -> int:
    named = {t.lower() for t in (axis.name, axis.quantity) if t}
    score = 2 * bool(named & {own.name.lower(), own.quantity.lower()})
    return score + 2 * same_values(axis.values, own.values) + (axis.unit == own.unit != "-")


def _converted(
    values: FloatArray, own: FloatArray, units: tuple[str, str], what: str, notes: list[str]
) -> FloatArray:
    """Return values in the set's unit; what differs by the conversion's last digits only is same.

    Parameters
    ----------
    values : float array
    own : float array
        The set's.
    units : tuple of str
        The unit that was said, and the set's.
    what : str
        Whose they are, for `notes`.
    notes : list of str
    """
    unit, wanted = units
    if unit in ("", wanted) or (unit == "-" and wanted == "0/1"):
        return values
    if unit == "-":
        notes.append(f"no unit is said for {what}: {wanted} was taken")
        return values
    if not same_kind(unit, wanted):
        raise UnitProblem(
            f"The unit {unit!r} of {what} cannot be converted to {wanted!r}.",
            "Choose the unit it is in, or leave the table out.",
        )
    notes.append(f"{what} converted from {unit} to {wanted}")
    made = convert(values, unit, wanted)
    if made.shape == own.shape and own.size:
        near = np.isclose(
            made, own, rtol=LAST_DIGITS, atol=LAST_DIGITS * float(np.nanmax(np.abs(own)))
        )
        made = np.where(near, own, made)
    return made


def _unlocked(before: Table, values: FloatArray, notes: list[str]) -> FloatArray:
    held = locked_cells(before) & ~(
        (values == before.values) | (np.isnan(values) & np.isnan(before.values))
    )
    if not held.any():
        return values
    count = int(held.sum())
    notes.append(f"{count} locked cell{'s' if count > 1 else ''} left as it was")
    return np.asarray(np.where(held, before.values, values))


def _off_the_raster(table: Table, notes: list[str]) -> None:
    if not table.storage.is_integer:
        return
    off = ~table.storage.representable(table.values) & np.isfinite(table.values)
    if off.any():
        notes.append(f"{int(off.sum())} values lie between the steps of {table.storage}")


def _difference(before: Table, values: FloatArray) -> str:
    differs = ~((values == before.values) | (np.isnan(values) & np.isnan(before.values)))
    change = np.abs(values - before.values)[differs]
    finite = change[np.isfinite(change)]
    most = f", by up to {with_unit(float(finite.max()), before.unit)}" if finite.size else ""
    return f"{int(differs.sum())} of {values.size} cells{most}"


def _size(table: Table) -> str:
    return f"{table.kind} {' × '.join(map(str, table.shape))}".strip()


def change_of(
    content: CalibrationSet,
    coming: Iterable[Arrival],
    title: str,
    *,
    remove: Iterable[str] = (),
    shared_axes: Iterable[Axis] = (),
) -> Change:
    """Return the one change that takes what comes; nothing is half taken.

    Parameters
    ----------
    content : CalibrationSet
    coming : iterable of Arrival
        What is chosen of `arrivals`.
    title : str
    remove : iterable of str
        Ids of vanished tables that the set shall lose.
    shared_axes : iterable of Axis
        Of new tables.

    Raises
    ------
    NotTaken
        If one of them cannot be taken.
    """
    chosen = [one for one in coming if one.after is not None]
    for one in chosen:
        stop = next((doubt for doubt in one.doubts if doubt.blocks), None)
        if stop is not None:
            where = one.draft.where if one.draft is not None else one.id
            raise NotTaken(f"{where}: {stop.why}", stop.remedy)
    tables: dict[str, Table | None] = {}
    for one in chosen:
        assert one.after is not None
        if one.after is not one.before:
            tables[one.id] = one.after
    axes: dict[str, Axis | None] = _shared_axes(content, tables)
    for axis in shared_axes:
        if axis.shared not in content.shared_axes:
            axes.setdefault(axis.shared, axis)
    for id, table in tables.items():
        if table is not None:
            tables[id] = _attached(table, content, axes)
    tables.update(dict.fromkeys(remove))
    try:
        wanted = content.replaced(tables, axes)
    except BitepointError as error:
        raise NotTaken(error.problem, error.remedy) from None
    return change_between(content, wanted, title)


def _shared_axes(
    content: CalibrationSet, tables: dict[str, Table | None]
) -> dict[str, Axis | None]:
    """Return the shared axes that change: all their tables come with the same new breakpoints."""
    changed: dict[str, Axis | None] = {}
    for id, own in content.shared_axes.items():
        coming: set[Axis] = set()
        whole = True
        for table in content.users_of(id):
            after = tables.get(table.id, table)
            if after is None:
                continue
            here = {axis for axis in after.axes if axis.shared == id}
            coming |= here
            whole = whole and own not in here
        if whole and len(coming) == 1 and coming != {own}:
            changed[id] = coming.pop()
    return changed


def _attached(table: Table, content: CalibrationSet, axes: dict[str, Axis | None]) -> Table:
    """Detach a table from shared axes that stay another's."""
    made = tuple(
        replace(axis, shared="")
        if axis.shared and axis != axes.get(axis.shared, content.shared_axes.get(axis.shared))
        else axis
        for axis in table.axes
    )
    return table if made == table.axes else replace(table, axes=made)
