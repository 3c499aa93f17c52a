"""A rule sheet as one change to an open set."""

from __future__ import annotations

from pathlib import Path

from ..core.calibration_set import CalibrationSet
from ..editing.change import Change, Edit, SharedAxisEdit, TableEdit
from ..rules.sheet import RuleSheet, applied


def apply_sheet(content: CalibrationSet, sheet: RuleSheet) -> Change:
    """Return the one change that a sheet makes; empty if the set has it all already.

    Parameters
    ----------
    content : CalibrationSet
    sheet : RuleSheet
        See `calib_model.rules.sheet`.

    Returns
    -------
    Change
        Its note says which tables matched and which entries matched nothing.

    Raises
    ------
    ModelError
        If the sheet does not fit the set; see `calib_model.rules.sheet.applied`.
    """
    outcome = applied(content, sheet)
    edits: list[Edit] = [
        SharedAxisEdit(id, content.shared_axes[id], axis)
        for id, axis in outcome.shared_axes.items()
    ]
    edits += [TableEdit(content.tables[id], table) for id, table in outcome.tables.items()]
    name = Path(sheet.source).name
    title = f"Apply rule sheet {name}" if name else "Apply rule sheet"
    said = "\n".join(filter(None, (outcome.summary, sheet.owners_words)))
    return Change(title, tuple(edits), note=said)
