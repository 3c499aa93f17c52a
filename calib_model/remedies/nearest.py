"""The last remedy: the nearest values that satisfy every rule in force."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..core.calibration_set import CalibrationSet
from ..core.numbers import with_unit
from ..editing.change import Change
from ..rules.check import Finding
from ..shaping.repair import repair

NEAREST = "nearest values"
SECONDS = 0.3
"""Time to look for stored values; a remedy is tried out before it is shown."""
_CAUTION = (
    "The nearest values mend what breaks a rule, not what went wrong: they are no remedy for a "
    "slipped digit, exchanged branches or a wrong axis."
)


def nearest(content: CalibrationSet, finding: Finding, base: CalibrationSet | None) -> list[Change]:
    """Move the finding's table to the nearest values under all rules in force."""
    if not (finding.source.linear and finding.source.constrains):
        return []
    against = [base] if base is not None else []
    proposal = repair(content, finding.table, against=against, seconds=SECONDS)
    table = content[finding.table]
    moved = np.nan_to_num(np.abs(proposal.moved(finding.table)))
    count = int((moved > 0).sum())
    if not count:
        return []
    cells = f"{count} cell{'' if count == 1 else 's'}"
    most = with_unit(float(moved.max()), table.unit, 4)
    title = f"Nearest values under the rules in {cells} of {table.label}, by {most} at most"
    change = proposal.change(title)
    return [replace(change, note=f"{_CAUTION} {change.note}")]
