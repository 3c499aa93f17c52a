"""What follows from a change of tables besides the change itself: rules, roles, other sets."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from ..controller.binding import not_usable
from ..controller.needs import ROLE_UNITS
from ..core.calibration_set import CalibrationSet
from ..core.table import Table
from ..rules.check import Checker
from .change import Change, apply

MOST_SAID = 6


def readers_of(content: CalibrationSet, id: str) -> tuple[Table, ...]:
    """Return the other tables whose rules name a table."""
    return tuple(t for t in content if t.id != id and any(id in r.reads() for r in t.rules))


def with_consequences(content: CalibrationSet, change: Change, *said: str) -> Change:
    """Return the change with a note on what follows from it.

    Parameters
    ----------
    content : CalibrationSet
        Before the change.
    change : Change
    *said : str
        What the change itself has to tell, first.

    Raises
    ------
    EditRefused
        If the change does not fit the set.
    """
    if change.is_empty:
        return change
    after = apply(content, change)
    parts = [*said, *_rules(content, after, change.tables), *_roles(content, after, change.tables)]
    note = " ".join(dict.fromkeys(filter(None, (change.note, *parts))))
    return replace(change, note=note)


def _rules(before: CalibrationSet, after: CalibrationSet, touched: Iterable[str]) -> list[str]:
    """Say which rules could be checked before and cannot be now."""
    looked_at = {id for id in touched if id in after}
    looked_at |= {reader.id for id in touched for reader in readers_of(after, id)}
    unlike: list[str] = []
    for id in sorted(looked_at):
        unlike += _unlike(before, after, id)
    old = _missed(before, {id for id in looked_at if id in before})
    new = [m for m in _missed(after, looked_at).items() if m[0] not in old]
    lost = [
        f"Rule {kind.replace('_', ' ')} of {after[id].label} no longer applies: {reason}"
        for (id, kind, _), reason in new
    ]
    return _some([*lost, *unlike])


def _missed(content: CalibrationSet, only: set[str]) -> dict[tuple[str, str, str], str]:
    report = Checker(content, only=sorted(only)).report
    return {(m.table, m.rule, m.mode): m.reason for m in report.not_checked if not m.mode}


def _unlike(before: CalibrationSet, after: CalibrationSet, id: str) -> list[str]:
    """Say which rules now compare numbers in unlike units."""
    table = after[id]
    said = []
    for rule in table.rules:
        for other in rule.reads():
            if not (other in after and other in before and id in before):
                continue
            was_same = before[id].unit == before[other].unit
            if was_same and table.unit != after[other].unit:
                said.append(
                    f"Rule {rule.kind.replace('_', ' ')} of {table.label} compares it with "
                    f"{after[other].label}, which is in {after[other].unit}: convert that as well."
                )
    return said


def _roles(before: CalibrationSet, after: CalibrationSet, touched: Iterable[str]) -> list[str]:
    """Say which parts of the controller a usable table played and none plays now."""
    said = []
    for role in dict.fromkeys(before[id].role for id in touched if id in before):
        old, new = before.by_role(role), after.by_role(role)
        if role not in ROLE_UNITS or old is None:
            continue
        words = role.replace("_", " ")
        if new is None:
            said.append(f"The controller's {words} is played by no table now.")
        elif (why := not_usable(role, new)) and not not_usable(role, old):
            said.append(f"The controller cannot use it as {words}: {why}.")
    return said


def _some(said: list[str]) -> list[str]:
    if len(said) <= MOST_SAID:
        return said
    return [*said[:MOST_SAID], f"{len(said) - MOST_SAID} more rules are concerned."]


def largest(values: object) -> float:
    """Return the largest finite size of some numbers, 0 for none."""
    sizes = np.abs(np.asarray(values, dtype=np.float64))
    return float(np.where(np.isfinite(sizes), sizes, 0.0).max(initial=0.0))
