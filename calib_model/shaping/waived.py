"""Waived breaches: what was accepted, with a reason and an approver, is not mended away."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import product

from ..core.calibration_set import CalibrationSet
from ..core.names import same_person
from ..core.rule import Rule
from ..core.table import Table
from ..rules import waivers
from ..rules.relations import ModeRelation


@dataclass(frozen=True)
class WaivedAmount:
    """Cells at which a rule may be missed, and by how much."""

    cells: frozenset[int]
    size: float


def allowances(
    content: CalibrationSet, rule: Rule, table: Table, day: date | None = None
) -> tuple[WaivedAmount, ...]:
    """Return what the valid waivers of a rule allow in a table.

    Parameters
    ----------
    content : CalibrationSet
        The set that holds table and waivers.
    rule : Rule
    table : Table
    day : date, optional
        The day to judge by; the present one by default.
    """
    mine = content.record.waivers_by_table.get(table.id, ())
    if not mine:
        return ()
    mode = content.mode if isinstance(rule, ModeRelation) else ""
    form = waivers.form_of(rule, table, mode)
    unit = rule.amount_unit(table)
    now = day or waivers.today()
    found = []
    for waiver in mine:
        if waiver.rule != form or waiver.unit != unit or not waiver.approver.strip():
            continue
        if same_person(waiver.author, waiver.approver) or _over(waiver.expires, now):
            continue
        cells = frozenset(
            cell for cell, place in enumerate(_places(table)) if place in set(waiver.places)
        )
        found.append(WaivedAmount(cells, waiver.size))
    return tuple(found)


def _places(table: Table) -> list[tuple[float, ...]]:
    return list(product(*(axis.values.tolist() for axis in table.axes)))


def _over(expires: str, day: date) -> bool:
    if not expires:
        return False
    try:
        return day > date.fromisoformat(expires)
    except ValueError:
        return True
