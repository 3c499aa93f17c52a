"""Findings that say what went wrong, for which the nearest values are the wrong remedy."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..core.arrays import BoolArray
from ..core.calibration_set import CalibrationSet
from ..editing.change import apply
from ..errors import EditRefused
from ..rules.check import Checker, Finding
from .nearest import NEAREST
from .offers import Remedy, remedies_for

CAUSES = ("outlier", "branch_order", "axis_order", "covers")
"""Kinds of finding that name a mistake (a slipped digit, exchanged branches, a wrong axis) where
others only say that some values do not go together."""
TURNS = 20


@dataclass(frozen=True)
class Suited:
    """A finding that names a mistake, and the remedy that suits it."""

    finding: Finding
    remedy: Remedy


def suited(
    content: CalibrationSet,
    tables: Iterable[str],
    base: CalibrationSet | None = None,
    allowed: Mapping[str, BoolArray] | None = None,
) -> tuple[Suited, ...]:
    """Return the mistakes that findings name in some tables, each with what mends it.

    Parameters
    ----------
    content : CalibrationSet
    tables : iterable of str
    base : CalibrationSet, optional
    allowed : mapping of table id to bool array, optional
        Cells that may move; a finding at other cells is left out.
    """
    ids = tuple(dict.fromkeys(tables))
    against = (base,) if base is not None else ()
    found = []
    for finding in Checker(content, against, only=ids).report.findings:
        if finding.rule not in CAUSES or finding.waived or finding.table not in ids:
            continue
        mask = (allowed or {}).get(finding.table)
        if mask is not None and finding.cells and not any(mask[c] for c in finding.cells):
            continue
        offered = [r for r in remedies_for(content, finding, base) if r.kind != NEAREST]
        if offered and offered[0].settles:
            found.append(Suited(finding, offered[0]))
    return tuple(found)


def mended(
    content: CalibrationSet,
    tables: Sequence[str],
    base: CalibrationSet | None = None,
    allowed: Mapping[str, BoolArray] | None = None,
) -> tuple[CalibrationSet, tuple[str, ...]]:
    """Return the set with every named mistake mended by what suits it, and what was done.

    Raises
    ------
    EditRefused
        If a remedy changes other tables or axes than may move.
    """
    done: list[str] = []
    for _ in range(TURNS):
        waiting = suited(content, tables, base, allowed)
        if not waiting:
            break
        remedy = waiting[0].remedy
        after = apply(content, remedy.change)
        changed = {t.id for t in content if after.tables.get(t.id) != t}
        axes = [i for i in changed if i in after.tables and after[i].axes != content[i].axes]
        others = sorted(changed - set(tables))
        if others or axes:
            raise EditRefused(
                f"The remedy ({remedy.text}) changes "
                + (f"an axis of {axes[0]}." if axes else f"{' and '.join(others)} as well."),
                "Apply it in the window, or let the other table move too."
                if others
                else "Apply it in the window.",
            )
        outside = [
            i
            for i in changed
            if allowed and i in allowed and (_moved(content, after, i) & ~allowed[i]).any()
        ]
        if outside:
            raise EditRefused(
                f"The remedy ({remedy.text}) moves cells that may not move.", "Let them move too."
            )
        content = after
        done.append(remedy.text)
    return content, tuple(done)


def _moved(before: CalibrationSet, after: CalibrationSet, id: str) -> BoolArray:
    old, new = before[id].values, after[id].values
    return np.asarray((old != new) & ~(np.isnan(old) & np.isnan(new)))
