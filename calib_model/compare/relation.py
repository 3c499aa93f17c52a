"""Breaches of the relation between two modes, whichever set is named first."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from calib_model.compare.cells import same_grid
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table

if TYPE_CHECKING:
    from calib_model.rules.check import Finding

KIND = "mode_relation"
_COMPARE = {">=": np.greater_equal, "<=": np.less_equal, "==": np.equal}


def oriented(
    first: CalibrationSet, second: CalibrationSet
) -> tuple[CalibrationSet, CalibrationSet] | None:
    """Return (mode set, base set), or None if the two are not such a pair."""
    for mode_set, base in ((first, second), (second, first)):
        if base.is_base and not mode_set.is_base and mode_set.base_mode == base.mode:
            return mode_set, base
    return None


def relation_breaches(
    first: CalibrationSet, second: CalibrationSet, unequal: Collection[str]
) -> tuple[dict[str, tuple[Finding, ...]], str]:
    """Check the mode relation between two sets.

    Parameters
    ----------
    first, second : CalibrationSet
    unequal : collection of str
        Ids of tables that are not the same in both; the others cannot breach a relation,
        except one that asks for zero.

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
    from calib_model.rules.check import check

    # Whole-table comparisons leave only the few tables that need a closer look; their own rules
    # are not asked about here.
    concerned = {
        table.id: replace(table, rules=())
        for table in mode_set
        if (sense := table.relations.get(mode_set.mode, "free")) != "free"
        and (table.id in unequal or sense == "zero")
        and not _holds_plainly(table, base.tables.get(table.id), sense)
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


def _holds_plainly(table: Table, base: Table | None, sense: str) -> bool:
    """Tell that a relation holds from cells alone, where both tables have the same grid."""
    if sense == "zero":
        return not table.values.any()
    if base is None or base.unit != table.unit or not same_grid(table, base):
        return False
    holds = _COMPARE.get(sense)
    return holds is not None and bool(holds(table.values, base.values).all())
