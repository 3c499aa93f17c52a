"""Compare two sets, table by table."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np

from calib_model.compare.cells import (
    NotComparable,
    differs,
    in_unit_of,
    on_union,
    same_grid,
)
from calib_model.compare.fields import (
    FieldChange,
    same_axis,
    same_settings,
    set_fields,
    table_fields,
)
from calib_model.compare.relation import relation_breaches
from calib_model.compare.result import Comparison, State, TableComparison, largest_of
from calib_model.compare.rounding import all_stored_alike
from calib_model.core.arrays import BoolArray, FloatArray, IntArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.collecting import collector_held
from calib_model.core.table import Table

Progress = Callable[[float], None]
Pair = tuple[Table, Table, bool]
"""Two tables of one grid and unit, and whether they are equal but for their values."""
Spans = dict[str, tuple[float, float]]
_STEP = 500
"""So many tables between two words of progress."""
_SWEEP = 500
"""So many tables at once: enough for a sweep, few enough to stay in the processor's cache."""


def compare(
    first: CalibrationSet, second: CalibrationSet, progress: Progress | None = None
) -> Comparison:
    """Compare two sets.

    Tables are matched by id.  Values in unequal but compatible units are converted; tables with
    unequal axes are compared at the nodes of the union of their breakpoints.  A relation
    between modes is checked if the two are a mode set and its base, in either order.

    Parameters
    ----------
    first, second : CalibrationSet
    progress : callable, optional
        Called with the share that is done, 0 to 1; what it raises ends the comparison.

    Returns
    -------
    Comparison
    """
    with collector_held():
        return _compare(first, second, progress)


def _compare(
    first: CalibrationSet, second: CalibrationSet, progress: Progress | None
) -> Comparison:
    ids = dict.fromkeys([*first.tables, *second.tables])
    results, spans = _compared(first, second, ids, progress)
    unequal = {id for id, r in results.items() if r.state is not State.SAME}
    if progress is not None:
        progress(0.8)
    breaches, words = relation_breaches(first, second, unequal, spans=spans)
    for id, found in breaches.items():
        results[id] = replace(results[id], breaches=found)
    return Comparison(first, second, MappingProxyType(results), set_fields(first, second), words)


def compare_again(
    before: Comparison, first: CalibrationSet, second: CalibrationSet, changed: Collection[str]
) -> Comparison:
    """Bring a comparison up to date after an edit of either set.

    Parameters
    ----------
    before : Comparison
    first, second : CalibrationSet
        As they are now.
    changed : collection of str
        Ids of the tables that may differ from what was compared before.
    """
    ids = dict.fromkeys([*first.tables, *second.tables])
    if len(ids) != len(before.tables) or first.about() != before.first.about():
        return compare(first, second)
    if second.about() != before.second.about() or any(id not in ids for id in changed):
        return compare(first, second)
    part, spans = _compared(first, second, dict.fromkeys(changed), None)
    breaches, _ = relation_breaches(first, second, set(part), only=set(part), spans=spans)
    for id, found in breaches.items():
        part[id] = replace(part[id], breaches=found)
    results = dict(before.tables)
    results.update(part)
    fields = set_fields(first, second)
    return Comparison(first, second, MappingProxyType(results), fields, before.relation)


def _compared(
    first: CalibrationSet,
    second: CalibrationSet,
    ids: dict[str, None],
    progress: Progress | None,
) -> tuple[dict[str, TableComparison], Spans]:
    """Compare the tables of some ids; the relation between modes is not looked at."""
    results: dict[str, Any] = {}
    plain: list[Pair] = []  # the same axes and units: compared all at once
    for number, id in enumerate(ids):
        if progress is not None and number % _STEP == 0:
            progress(0.6 * number / len(ids))
        mine, theirs = first.tables.get(id), second.tables.get(id)
        if mine is None or theirs is None:
            state = State.ONLY_SECOND if mine is None else State.ONLY_FIRST
            results[id] = TableComparison(id, state, mine, theirs, None)
            continue
        alike = mine is theirs or _alike_but_values(mine, theirs)
        if alike and _same_bytes(mine.values, theirs.values):
            results[id] = TableComparison(id, State.SAME, mine, theirs)
        elif alike or (mine.unit == theirs.unit and same_grid(mine, theirs)):
            results[id] = None  # keeps the place in the order
            plain.append((mine, theirs, alike))
        else:
            results[id] = _awkward(mine, theirs)
    spans: Spans = {}
    for start in range(0, len(plain), _SWEEP):
        found, spans_here = _plainly(plain[start : start + _SWEEP])
        results.update(found)
        spans.update(spans_here)
    return results, spans


def compare_tables(first: Table, second: Table) -> TableComparison:
    """Compare two tables, whatever their ids; the relation between modes is not looked at."""
    if first is second:
        return TableComparison(first.id, State.SAME, first, second)
    alike = _alike_but_values(first, second)
    if alike or (first.unit == second.unit and same_grid(first, second)):
        return _plainly([(first, second, alike)])[0][first.id]
    return _awkward(first, second)


def _alike_but_values(first: Table, second: Table) -> bool:
    """Tell whether two tables are equal but for their values."""
    if first.values.shape != second.values.shape or len(first.axes) != len(second.axes):
        return False
    return _same_axes(first, second) and same_settings(first, second)


def _same_bytes(mine: FloatArray, theirs: FloatArray) -> bool:
    """Tell quickly whether values are equal; those of unequal bytes may be so too."""
    return mine is theirs or mine.tobytes() == theirs.tobytes()


def _same_axes(first: Table, second: Table) -> bool:
    for a, b in zip(first.axes, second.axes, strict=True):
        if a is not b and not same_axis(a, b):
            return False
    return True


def _plainly(pairs: list[Pair]) -> tuple[dict[str, TableComparison], Spans]:
    """Compare tables of equal axes and units in one sweep over all their values.

    Returns
    -------
    found : dict of table id to TableComparison
    spans : dict of table id to (float, float)
        Lowest and highest difference, second less first, where no cell is empty.
    """
    if not pairs:
        return {}, {}
    mine, starts = _end_to_end([a for a, _, _ in pairs])
    theirs, _ = _end_to_end([b for _, b, _ in pairs])
    different = differs(mine, theirs)
    counts = np.add.reduceat(different, starts, dtype=np.int64)
    with np.errstate(invalid="ignore", over="ignore"):
        difference = theirs - mine
    empty = np.isnan(difference)
    emptied = np.add.reduceat(different & empty, starts, dtype=np.int64)
    whole = ~np.logical_or.reduceat(empty, starts)
    difference[empty] = 0.0
    highest = np.maximum.reduceat(difference, starts)
    lowest = np.minimum.reduceat(difference, starts)
    largest = np.where(highest >= -lowest, highest, lowest)
    rounding = _only_rounding(pairs, mine, theirs, different, starts)
    found = {}
    spans = {
        pair[0].id: (low, high)
        for pair, low, high, full in zip(
            pairs, lowest.tolist(), highest.tolist(), whole.tolist(), strict=True
        )
        if full
    }
    numbers = zip(counts.tolist(), largest.tolist(), emptied.tolist(), rounding, strict=True)
    for (a, b, alike), (count, most, gone, rounded) in zip(pairs, numbers, strict=True):
        fields: tuple[FieldChange, ...] = ()
        state = State.ROUNDING if rounded else State.CHANGED
        if alike:
            state = state if count else State.SAME
        else:
            fields = table_fields(a, b)
            storage = any(f.field.endswith("storage") for f in fields)
            state = State.STORAGE_DIFFERS if storage else State.CHANGED
        found[a.id] = TableComparison(a.id, state, a, b, count, most or None, fields, emptied=gone)
    return found, spans


def _only_rounding(
    pairs: list[Pair],
    mine: FloatArray,
    theirs: FloatArray,
    different: BoolArray,
    starts: IntArray,
) -> list[bool]:
    """Tell which tables differ in values, but not in what is stored."""
    places = np.flatnonzero(different)
    sizes = np.diff(starts, append=mine.size)
    owner = np.repeat(np.arange(starts.size), sizes)[places]
    storages = [a.storage for a, _, _ in pairs]
    alike = all_stored_alike(mine[places], theirs[places], owner, storages)
    some, truly = np.zeros(len(pairs), dtype=bool), np.zeros(len(pairs), dtype=bool)
    some[owner] = True
    truly[owner[~alike]] = True
    return [bool(rounded) for rounded in some & ~truly]


def _end_to_end(tables: list[Table]) -> tuple[FloatArray, IntArray]:
    sizes = np.array([t.values.size for t in tables])
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    # A table without breakpoints cannot exist, so no stretch is empty, as reduceat needs.
    return np.concatenate([t.values.reshape(-1) for t in tables]), starts


def _awkward(first: Table, second: Table) -> TableComparison:
    """Compare tables whose axes or units differ."""
    fields = table_fields(first, second)
    state = State.AXES_DIFFER if first.unit == second.unit else State.UNITS_DIFFER
    try:
        converted = in_unit_of(first, second)
        rounded = converted is not second
        if same_grid(first, converted):
            before, after = first.values, converted.values
            note = "compared after conversion of units" if rounded else ""
        else:
            _, before, after = on_union(first, converted)
            note = "compared where either has a breakpoint"
            if rounded:
                note += ", after conversion of units"
    except NotComparable as problem:
        note = f"values not compared: {problem}"
        return TableComparison(first.id, state, first, second, None, None, fields, note=note)
    different = differs(before, after, computed=True)
    with np.errstate(invalid="ignore", over="ignore"):
        largest = largest_of(np.where(different, after - before, 0.0))
        emptied = int((different & (np.isnan(before) != np.isnan(after))).sum())
    count = int(different.sum())
    return TableComparison(
        first.id, state, first, second, count, largest, fields, note=note, emptied=emptied
    )
