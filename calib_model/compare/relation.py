"""Breaches of the relation between two modes, whichever set is named first."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from calib_model.core.arrays import BoolArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.rules.check import check
from calib_model.rules.relations import holds_plainly

if TYPE_CHECKING:
    from calib_model.compare.aligned import Aligned
    from calib_model.compare.result import Comparison, TableComparison
    from calib_model.rules.check import Finding

KIND = "mode_relation"
TOLERANCE = 1e-9
"""Of the table's span, as `Stack.loose` has it."""


def oriented(
    first: CalibrationSet, second: CalibrationSet
) -> tuple[CalibrationSet, CalibrationSet] | None:
    """Return (mode set, base set), or None if the two are not such a pair."""
    for mode_set, base in ((first, second), (second, first)):
        if base.is_base and not mode_set.is_base and mode_set.base_mode == base.mode:
            return mode_set, base
    return None


def relation_breaches(
    first: CalibrationSet,
    second: CalibrationSet,
    unequal: Collection[str],
    only: Collection[str] | None = None,
    spans: Mapping[str, tuple[float, float]] = MappingProxyType({}),
) -> tuple[dict[str, tuple[Finding, ...]], str]:
    """Check the mode relation between two sets.

    Parameters
    ----------
    first, second : CalibrationSet
    unequal : collection of str
        Ids of tables that are not the same in both; the others cannot breach a relation,
        except one that asks for zero.
    only : collection of str, optional
        Looks at these tables alone.
    spans : mapping of table id to (float, float)
        Lowest and highest difference, second less first, of tables whose cells correspond.

    Returns
    -------
    breaches : dict of table id to findings
    words : str
        What was checked, or why nothing was.
    """
    pair = oriented(first, second)
    if pair is None:
        return {}, "No mode relation applies: the sets are not a mode and its base mode."
    mode_set, base = pair

    # Whole-table comparisons leave only the few tables that need a closer look; their own rules
    # are not asked about here.
    concerned = {
        table.id: replace(table, rules=())
        for table in _some(mode_set, only)
        if (sense := table.relations.get(mode_set.mode, "free")) != "free"
        and (table.id in unequal or sense == "zero")
        and not _within(spans.get(table.id), sense, turned=mode_set is first)
        and not holds_plainly(table, base.tables.get(table.id), sense)
    }
    part = CalibrationSet(concerned, mode_set.shared_axes, record=mode_set.record)
    part = part.described(**mode_set.about())
    found: dict[str, list[Finding]] = defaultdict(list)
    report = check(part, against=[base])
    for finding in report.findings:
        if finding.rule == KIND:
            found[finding.table].append(finding)
    missed = [n for n in report.not_checked if n.rule == KIND]
    words = f"Relation of mode {mode_set.mode} to base mode {base.mode} checked."
    if missed:
        count = f"{len(missed)} table" + ("" if len(missed) == 1 else "s")
        words += f" Not for {count}: {missed[0].table}: {missed[0].reason}"
    return {id: tuple(findings) for id, findings in found.items()}, words


def _within(span: tuple[float, float] | None, sense: str, *, turned: bool) -> bool:
    """Tell whether the differences of a table keep the relation, where they are known."""
    if span is None:
        return False
    low, high = (-span[1], -span[0]) if turned else span
    return (
        (low >= 0 or sense != ">=")
        and (high <= 0 or sense != "<=")
        and (sense in (">=", "<=") or (sense == "==" and low == high == 0))
    )


def _some(content: CalibrationSet, only: Collection[str] | None) -> Iterable[Table]:
    if only is None:
        return content
    return [content.tables[id] for id in only if id in content.tables]


def breach_marks(comparison: Comparison, pair: TableComparison, aligned: Aligned) -> BoolArray:
    """Return the nodes at which a table breaches its relation between the modes.

    Parameters
    ----------
    comparison : Comparison
    pair : TableComparison
        One of its tables.
    aligned : Aligned
        That table on the common grid.

    Returns
    -------
    bool array, shape of the grid
    """
    none = np.zeros(aligned.shape, dtype=bool)
    sets = oriented(comparison.first, comparison.second)
    if not pair.breaches or sets is None or pair.first is None or pair.second is None:
        return none
    mode_set, _ = sets
    turned = mode_set is comparison.first
    mode, base = aligned.second, aligned.first
    if turned:
        mode, base = base, mode
    table = pair.first if turned else pair.second
    sense = table.relations.get(mode_set.mode, "free")
    with np.errstate(invalid="ignore"):
        beyond = mode.values - base.values
        slack = TOLERANCE * table.span
        match sense:
            case ">=":
                return np.asarray(beyond < -slack)
            case "<=":
                return np.asarray(beyond > slack)
            case "==":
                return np.asarray(np.abs(beyond) > slack)
            case "zero":
                return np.asarray((mode.values != 0) & ~np.isnan(mode.values))
    return none
