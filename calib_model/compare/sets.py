"""Compare two sets, table by table."""

from __future__ import annotations

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
from calib_model.core.arrays import FloatArray, IntArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table


def compare(first: CalibrationSet, second: CalibrationSet) -> Comparison:
    """Compare two sets.

    Tables are matched by id.  Values in unequal but compatible units are converted; tables with
    unequal axes are compared at the nodes of the union of their breakpoints.  A relation
    between modes is checked if the two are a mode set and its base, in either order.

    Parameters
    ----------
    first, second : CalibrationSet

    Returns
    -------
    Comparison
    """
    results: dict[str, Any] = {}
    plain: list[tuple[Table, Table]] = []  # the same axes and units: compared all at once
    for id, mine in first.tables.items():
        theirs = second.tables.get(id)
        if theirs is None:
            results[id] = TableComparison(id, State.ONLY_FIRST, mine, None, None)
        elif mine is theirs or _same(mine, theirs):
            results[id] = TableComparison(id, State.SAME, mine, theirs)
        elif mine.unit == theirs.unit and same_grid(mine, theirs):
            results[id] = None  # keeps the place in the order
            plain.append((mine, theirs))
        else:
            results[id] = _awkward(mine, theirs)
    for id, theirs in second.tables.items():
        if id not in first.tables:
            results[id] = TableComparison(id, State.ONLY_SECOND, None, theirs, None)
    results.update(_plainly(plain))
    unequal = {id for id, r in results.items() if r.state is not State.SAME}
    breaches, words = relation_breaches(first, second, unequal)
    for id, found in breaches.items():
        results[id] = replace(results[id], breaches=found)
    return Comparison(first, second, MappingProxyType(results), set_fields(first, second), words)


def compare_tables(first: Table, second: Table) -> TableComparison:
    """Compare two tables, whatever their ids; the relation between modes is not looked at."""
    if first is second or _same(first, second):
        return TableComparison(first.id, State.SAME, first, second)
    if first.unit == second.unit and same_grid(first, second):
        return _plainly([(first, second)])[first.id]
    return _awkward(first, second)


def _same(first: Table, second: Table) -> bool:
    """Tell whether two tables are equal, quickly where they are: by comparing bytes."""
    mine, theirs = first.values, second.values
    if mine.shape != theirs.shape or len(first.axes) != len(second.axes):
        return False
    if mine is not theirs and mine.tobytes() != theirs.tobytes() and differs(mine, theirs).any():
        return False
    return _same_axes(first, second) and same_settings(first, second)


def _same_axes(first: Table, second: Table) -> bool:
    for a, b in zip(first.axes, second.axes, strict=True):
        if a is not b and not same_axis(a, b):
            return False
    return True


def _plainly(pairs: list[tuple[Table, Table]]) -> dict[str, TableComparison]:
    """Compare tables of equal axes and units in one sweep over all their values."""
    if not pairs:
        return {}
    mine, starts = _end_to_end([a for a, _ in pairs])
    theirs, _ = _end_to_end([b for _, b in pairs])
    counts = np.add.reduceat(differs(mine, theirs), starts, dtype=np.int64)
    with np.errstate(invalid="ignore", over="ignore"):
        difference = theirs - mine
    difference[np.isnan(difference)] = 0.0
    highest = np.maximum.reduceat(difference, starts)
    lowest = np.minimum.reduceat(difference, starts)
    largest = np.where(highest >= -lowest, highest, lowest)
    found = {}
    for (a, b), count, most in zip(pairs, counts.tolist(), largest.tolist(), strict=True):
        fields: tuple[FieldChange, ...] = ()
        state = State.CHANGED
        if not (_same_axes(a, b) and same_settings(a, b)):
            fields = table_fields(a, b)
            if any(f.field.endswith("storage") for f in fields):
                state = State.STORAGE_DIFFERS
        found[a.id] = TableComparison(a.id, state, a, b, count, most or None, fields)
    return found


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
    count = int(different.sum())
    return TableComparison(first.id, state, first, second, count, largest, fields, note=note)
