"""What no longer looks at a set, held against an earlier state of it.

A set is not made sound by taking its rules away.  What stood before and stands no more (a rule, a
relation, a role, an input, a whole table) is a finding: a warning, because a person has to say that
it is meant.  That person is the reviewer: once the present table was accepted the finding counts as
waived.  A rule that only took other settings is a note, unless as it stood before it would find
something now: then the change of the rule hides that, and it is a warning too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import isfinite
from typing import ClassVar

from ..core.calibration_set import CalibrationSet
from ..core.canonical import table_digest
from ..core.record_items import Outcome
from ..core.rule import Rule, Severity, stated
from ..core.table import Table
from .check import Finding
from .limits import Locked
from .plausibility import Check
from .preview import preview


@dataclass(frozen=True)
class Withdrawn(Check):
    """What stood before still stands."""

    kind: ClassVar[str] = "withdrawn"

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return "what stood before still stands"


_SOURCE = Withdrawn()


def withdrawn(
    content: CalibrationSet, earlier: CalibrationSet, since: str = "the reference"
) -> tuple[Finding, ...]:
    """Return what was taken away since an earlier state.

    Parameters
    ----------
    content : CalibrationSet
    earlier : CalibrationSet
        The same set before: a reference, or the state of its last sign-off.
    since : str
        What the earlier state is, for the sentences.

    Returns
    -------
    tuple of Finding
        Warnings first, in the earlier set's order; tables that are the same object cost nothing.
    """
    found: list[Finding] = []
    for before in earlier:
        after = content.tables.get(before.id)
        if after is before:
            continue
        if after is None:
            lost = [("The table is gone", Severity.WARNING)]
        else:
            lost = list(_lost(content, before, after))
        seen = accepted(content, before.id)
        found += [
            Finding(
                before.id, _SOURCE.kind, severity, (), (), 0.0, "-",
                f"{text} (since {since}).", ("put it back",), seen, _SOURCE,
            )
            for text, severity in lost
        ]  # fmt: skip
    return tuple(sorted(found, key=lambda f: f.severity is Severity.NOTE))


def accepted(content: CalibrationSet, id: str) -> bool:
    """Whether a reviewer accepted the table as it is now, or that it is gone."""
    decision = content.record.latest_decisions.get(id)
    table = content.tables.get(id)
    now = table_digest(table) if table is not None else ""
    return decision is not None and decision.outcome is Outcome.ACCEPTED and decision.digest == now


def _lost(content: CalibrationSet, before: Table, after: Table) -> Iterator[tuple[str, Severity]]:
    yield from _lost_rules(content, before, after)
    for mode, sense in before.relations.items():
        now = after.relations.get(mode, "")
        if sense not in ("free", now):
            said = "is free now" if now == "free" else f"is {now} now" if now else "is gone"
            yield f"The relation of mode {mode} to the base mode ({sense}) {said}", Severity.WARNING
    if before.role and after.role != before.role:
        other = content.by_role(before.role)
        if other is not None:
            said, severity = f"{other.id} does now", Severity.NOTE
        else:
            said, severity = "no table does now", Severity.WARNING
        yield f"It no longer plays {before.role}; {said}", severity
    for number, axis in enumerate(before.axes):
        now = after.axes[number].quantity if number < len(after.axes) else ""
        if axis.quantity and axis.quantity not in {a.quantity for a in after.axes}:
            said = f"reads {now} now" if now else "reads nothing now"
            yield (
                f"Its axis {axis.label} read {axis.quantity} and {said}",
                (Severity.NOTE if now else Severity.WARNING),
            )
    for word, old, new in (
        ("lower", before.lower, after.lower),
        ("upper", before.upper, after.upper),
    ):
        if isfinite(old) and not isfinite(new):
            yield f"Its {word} limit is gone", Severity.WARNING
        elif new < old if word == "lower" else new > old:
            yield f"Its {word} limit is wider now", Severity.NOTE


def _lost_rules(
    content: CalibrationSet, before: Table, after: Table
) -> Iterator[tuple[str, Severity]]:
    """Rules in force before that are not in force now, whatever their reason says."""
    now = [_bare(rule) for rule in after.rules_in_force]
    off = [_bare(rule) for rule in after.rules if rule.off]
    for rule in before.rules_in_force:
        # Locks are let go and made again in daily work; they hold values, they judge none.
        if _bare(rule) in now or isinstance(rule, Locked):
            continue
        name = f"The rule `{stated(rule, before)}`"
        heir = next((other for other in now if _heir(rule, other)), None)
        hides = preview(content, [after.id], rule)
        would = ""
        if hides.findings:
            would = f"; it would say now: {hides.findings[0].message.removesuffix('.')}"
        if _bare(rule) in off:
            yield f"{name} is turned off{would}", Severity.WARNING
        elif heir is None:
            yield f"{name} is gone{would}", Severity.WARNING
        else:
            severity = Severity.WARNING if hides.findings else Severity.NOTE
            weaker = _weaker(rule, heir)
            if weaker:
                severity = Severity.WARNING
            words = f"{name} is `{stated(heir, after)}` now"
            yield f"{words}{weaker}{would}", severity


def _bare(rule: Rule) -> Rule:
    return replace(rule, reason="", off=False)


def _heir(rule: Rule, other: Rule) -> bool:
    """Whether a rule stands in another's place: the same kind, on the same axis and tables."""
    return type(rule) is type(other) and all(
        getattr(rule, name, None) == getattr(other, name, None) for name in ("axis", "other")
    )


def _weaker(rule: Rule, heir: Rule) -> str:
    order = list(Severity)
    if order.index(heir.severity) <= order.index(rule.severity):
        return ""
    return f" and weighs less: {heir.severity}, not {rule.severity}"
