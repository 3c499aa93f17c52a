"""Which remedies a finding offers, tried out on the set before they are shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ..core.calibration_set import CalibrationSet
from ..editing.change import Change, apply
from ..errors import BitepointError
from ..rules.check import Checker, Finding
from . import axis_remedies, value_remedies


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
        Whether the finding is gone afterwards and no new error appears in the touched tables.
    """

    kind: str
    change: Change
    settles: bool

    @property
    def text(self) -> str:
        """What it does, for a button or list."""
        return self.change.title


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
}


def remedies_for(
    content: CalibrationSet, finding: Finding, base: CalibrationSet | None = None
) -> tuple[Remedy, ...]:
    """Return the remedies that suit a finding, those that settle it first.

    Parameters
    ----------
    content : CalibrationSet
        The set the finding belongs to.
    finding : Finding
    base : CalibrationSet, optional
        The base mode's set, for findings of the mode relation.
    """
    against = (base,) if base is not None else ()
    offered: list[Remedy] = []
    for kind in finding.remedies:
        try:
            changes = _MAKERS[kind](content, finding, base)
        except BitepointError:
            continue  # this remedy cannot be carried out here, so it is not offered
        for change in changes:
            if not change.is_empty:
                offered.append(Remedy(kind, change, _settles(content, finding, change, against)))
    return tuple(sorted(offered, key=lambda r: not r.settles))


def _settles(
    content: CalibrationSet,
    finding: Finding,
    change: Change,
    against: tuple[CalibrationSet, ...],
) -> bool:
    touched = dict.fromkeys((finding.table, *change.tables))
    after = apply(content, change)
    before_report = Checker(content, against, only=touched).report
    report = Checker(after, against, only=touched).report
    mended = all(f.source != finding.source for f in report.of(finding.table))
    return mended and report.counts()[0] <= before_report.counts()[0]
