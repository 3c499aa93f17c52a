"""Where a table breaches the relation between two modes, cell by cell, in words."""

from __future__ import annotations

import numpy as np

from calib_model.compare import Aligned, Comparison, TableComparison
from calib_model.compare.relation import breach_marks, oriented
from calib_model.core.numbers import with_unit

Cell = tuple[int, ...]
_MUST = {
    ">=": "it must not be below",
    "<=": "it must not be above",
    "==": "it must be the same",
    "zero": "it must be zero",
}


def cell_breaches(
    comparison: Comparison,
    pair: TableComparison,
    aligned: Aligned,
    letters: tuple[str, str],
) -> dict[Cell, tuple[str, str]]:
    """Return severity and sentence of each node of the common grid that breaches the relation."""
    sets = oriented(comparison.first, comparison.second)
    if sets is None or not pair.breaches:
        return {}
    mode_set, base_set = sets
    turned = mode_set is comparison.first
    letter = letters[0 if turned else 1]
    mode = (aligned.first if turned else aligned.second).values
    base = (aligned.second if turned else aligned.first).values
    table = pair.first if turned else pair.second
    assert table is not None
    sense = table.relations.get(mode_set.mode, "free")
    waived = all(breach.waived for breach in pair.breaches)
    severity = "note" if waived else str(pair.breaches[0].severity)
    tail = " (waived)" if waived else ""
    found = {}
    for place in np.argwhere(breach_marks(comparison, pair, aligned)).tolist():
        cell = tuple(place)
        ours, theirs = float(mode[cell]), float(base[cell])
        if sense == "zero":
            what = f"{letter} is {aligned.first.said(ours)} in mode {mode_set.mode}"
        else:
            side = "below" if ours < theirs else "above"
            what = (
                f"{letter} is {with_unit(abs(ours - theirs), aligned.first.unit)} {side} the "
                f"{base_set.mode} mode"
            )
        found[cell] = (severity, f"{what}; {_MUST.get(sense, '')}{tail}.")
    return found
