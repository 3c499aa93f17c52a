"""Which remedies a finding offers, tried out on the set before they are shown.

One mistake often breaks several rules: exchanged branches also break the pair's gap and the
relation at zero clamp.  So the remedies of the findings around are tried as well, and those that
mend most come first; the nearest values for a consequence do not hide the cause.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from ..core.calibration_set import CalibrationSet
from ..editing.change import Change, apply
from ..errors import BitepointError
from ..rules.check import Checker, Finding, Report
from . import axis_remedies, value_remedies
from .nearest import NEAREST, nearest


@dataclass(frozen=True)
class Remedy:
    """One way to mend a finding.

    Parameters
    ----------
    kind : str
        Kind of remedy, as rules name it (``re-interpolate``, ``restore gap``, ...).
    change : Change
        What it does; its title says so in words.
    settles : bool
        Whether the finding is gone afterwards and no error is added around it.
    mends : int
        How many findings of the tables around are gone afterwards, less those it adds.
    """

    kind: str
    change: Change
    settles: bool
    mends: int = 0

    @property
    def text(self) -> str:
        """What it does, for a button or list."""
        return self.change.title

    @property
    def outcome(self) -> str:
        """What becomes of the finding, in words."""
        if not self.settles:
            return "Helps, but does not mend it alone"
        more = self.mends - 1
        return "Mends this finding" + (f" and {more} more" if more > 0 else "")


Maker = Callable[[CalibrationSet, Finding, CalibrationSet | None], list[Change]]

_MAKERS: dict[str, Maker] = {
    "re-interpolate": value_remedies.reinterpolate,
    "level": value_remedies.level,
    "zero": value_remedies.zero,
    "set": value_remedies.put_back,
    "clip": value_remedies.clip,
    "round": value_remedies.round_off,
    "mirror": value_remedies.mirror,
    "restore gap": value_remedies.restore_gap,
    "exchange branches": value_remedies.exchange_branches,
    "scale axis": axis_remedies.scale,
    "move axis": axis_remedies.move,
    NEAREST: nearest,
}


def remedies_for(
    content: CalibrationSet, finding: Finding, base: CalibrationSet | None = None
) -> tuple[Remedy, ...]:
    """Return the remedies that suit a finding, those that mend most first.

    Parameters
    ----------
    content : CalibrationSet
        The set the finding belongs to.
    finding : Finding
    base : CalibrationSet, optional
        The base mode's set, for findings of the mode relation.

    Returns
    -------
    tuple of Remedy
        First those that settle the finding, by how many findings they mend in all; remedies
        of other findings only if they settle this one too.  The nearest values under the rules
        always come last: they mend what breaks a rule, not what went wrong.
    """
    around = _around(content, finding.table)
    against = (base,) if base is not None else ()
    before = Checker(content, against, only=around).report
    others = [f for f in before.findings if f.source != finding.source or f.table != finding.table]
    offered: list[Remedy] = []
    seen: list[CalibrationSet] = []
    tried = [(source, source.remedies) for source in (finding, *others)]
    for source, kinds in (*tried, (finding, (NEAREST,))):
        for kind, change in _made(content, source, base, kinds):
            after = apply(content, change)
            if any(after == known for known in seen):
                continue
            seen.append(after)
            touched = dict.fromkeys((*around, *change.tables))
            report = Checker(after, against, only=touched).report
            remedy = Remedy(
                kind,
                change,
                _settled(finding, before, report),
                len(before.findings) - len(report.findings),
            )
            if source is finding or remedy.settles:
                offered.append(remedy)
    return tuple(sorted(offered, key=lambda r: (r.kind == NEAREST, not r.settles, -r.mends)))


def _made(
    content: CalibrationSet,
    finding: Finding,
    base: CalibrationSet | None,
    kinds: tuple[str, ...],
) -> Iterable[tuple[str, Change]]:
    for kind in kinds:
        try:
            changes = _MAKERS[kind](content, finding, base)
        except BitepointError:
            continue  # this remedy cannot be carried out here, so it is not offered
        yield from ((kind, change) for change in changes if not change.is_empty)


def _around(content: CalibrationSet, table_id: str) -> tuple[str, ...]:
    """The table, those its rules read, and those whose rules read it."""
    near = dict.fromkeys((table_id,))
    near.update(dict.fromkeys(i for rule in content[table_id].rules_in_force for i in rule.reads()))
    for table in content:
        if any(table_id in rule.reads() for rule in table.rules_in_force):
            near[table.id] = None
    return tuple(id for id in near if id in content)


def _settled(finding: Finding, before: Report, after: Report) -> bool:
    mended = all(f.source != finding.source for f in after.of(finding.table))
    return mended and after.counts()[0] <= before.counts()[0]
