"""What a rule would find before it is kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from ..core.calibration_set import CalibrationSet
from ..core.rule import Rule
from .check import Checker, Finding, NotCheckedRule


@dataclass(frozen=True)
class Preview:
    """What a rule would say of tables as they are.

    Parameters
    ----------
    rule : Rule
    tables : tuple of str
        Ids of the tables it was tried on.
    findings : tuple of Finding
        What it would name, at most one per table.
    not_checked : tuple of NotCheckedRule
        Where it could not be evaluated, and why.
    """

    rule: Rule
    tables: tuple[str, ...]
    findings: tuple[Finding, ...]
    not_checked: tuple[NotCheckedRule, ...]

    @property
    def words(self) -> str:
        """The outcome in a sentence."""
        count = len(self.tables)
        unknown = len({n.table for n in self.not_checked})
        holds = count - len(self.findings) - unknown
        parts = [f"It holds in {holds} of {count} table{'' if count == 1 else 's'}"]
        if self.findings:
            places = sum(f.places for f in self.findings)
            parts.append(
                f"names {places} place{'' if places == 1 else 's'} in {len(self.findings)}"
            )
        if unknown:
            parts.append(f"cannot be evaluated in {unknown}")
        return f"{' and '.join([', '.join(parts[:-1]), parts[-1]]) if parts[1:] else parts[0]}."


def preview(content: CalibrationSet, ids: Iterable[str], rule: Rule) -> Preview:
    """Return what a rule would find in tables; the set stays as it is.

    Parameters
    ----------
    content : CalibrationSet
    ids : iterable of str
    rule : Rule
        Looked at whether or not it is turned off.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> stricter = cm.rule("bounds", upper=50)
    >>> print(cm.preview(content, ["cruise_base_torque"], stricter).words)
    It holds in 0 of 1 table and names 2 places in 1.
    """
    tried = tuple(dict.fromkeys(ids))
    asked = replace(rule, off=False)
    # Only this rule: what the tables state besides says nothing of it.
    trial = content.replaced({id: replace(content[id], rules=(asked,)) for id in tried})
    report = Checker(trial, only=tried).report
    found = tuple(f for f in report.findings if f.source is asked)
    missed = tuple(n for n in report.not_checked if n.rule == rule.kind and not n.mode)
    return Preview(rule, tried, found, missed)
