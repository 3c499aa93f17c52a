"""Waivers: which findings they cover, and why one has lapsed.

A waiver accepts the breach of one rule, at named cells, up to a stated size.  It lapses when the
breach grows, when it moves to other cells, when the rule changes or when its last day is over;
not when an unrelated value does.  Somebody other than its author has approved it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from ..core.calibration_set import CalibrationSet
from ..core.names import same_person
from ..core.numbers import with_unit
from ..core.record import Place, Waiver
from ..core.record_plain import rule_text
from ..core.rule import Rule, Severity
from ..core.table import Table
from ..core.times import stamp
from ..errors import EditRefused

if TYPE_CHECKING:
    from .check import Finding

NOT_WAIVABLE = frozenset({"finite", "axis_order", "on_raster", "axis_on_raster", "one_role"})
"""Rules whose breach cannot be stored or read in a controller: mended, never accepted."""

_SLACK = 1e-9  # of the waived size: two ways to compute one difference


def today() -> date:
    """Return the present day, UTC."""
    return datetime.now(UTC).date()


def form_of(rule: Rule, table: Table, mode: str = "") -> str:
    """Return the text by which a waiver knows its rule; another setting gives another text.

    Parameters
    ----------
    rule : Rule
    table : Table
    mode : str
        The drive mode whose relation is meant, for the relation between modes.
    """
    plain = rule.to_plain()
    if mode:
        plain |= {"mode": mode, "sense": table.relations.get(mode, "")}
    return rule_text(plain)


def waiver_for(
    content: CalibrationSet,
    finding: Finding,
    *,
    reason: str,
    author: str,
    approver: str = "",
    size: float | None = None,
    expires: str = "",
) -> Waiver:
    """Return the waiver that covers a finding.

    Parameters
    ----------
    content : CalibrationSet
        The set that is to hold it.
    finding : Finding
    reason, author : str
        Why the breach may stay, and who asks for it.
    approver : str
        Who approves it; empty to leave that open (`approved`).
    size : float, optional
        Largest breach to accept, in the finding's unit; by default the present one.
    expires : str
        Last day it holds (ISO 8601); empty for no end.

    Raises
    ------
    EditRefused
        If the finding cannot be waived, or something is missing.
    """
    if finding.rule in NOT_WAIVABLE:
        raise EditRefused(
            f"A finding of the rule {finding.rule.replace('_', ' ')} cannot be waived: no "
            "controller can hold or read such values.",
            "Mend the table.",
        )
    if finding.severity is Severity.NOTE:
        raise EditRefused("A note needs no waiver.", "It does not block a sign-off.")
    if finding.mode and finding.mode != content.mode:
        raise EditRefused(
            f"This breach lies in the set of mode {finding.mode}.", "Waive it in that set."
        )
    if not reason.strip():
        raise EditRefused("A waiver needs a reason.", "Say why the breach may stay.")
    if not author.strip():
        raise EditRefused("A waiver needs an author.", "Say who asks for it.")
    _require_other(author, approver)
    most = abs(finding.amount) if size is None else size
    if not most >= abs(finding.amount):
        raise EditRefused(
            f"The waiver would cover {with_unit(most, finding.unit)}, but the breach is "
            f"{with_unit(abs(finding.amount), finding.unit)}.",
            "State a size that covers it, or mend the table.",
        )
    if math.isinf(most):  # it would cover whatever the breach grows to
        raise EditRefused("A waiver covers a breach of finite size only.", "Mend the table.")
    last = _day(expires)
    if last is not None and last < today():
        raise EditRefused(f"The waiver would have ended on {expires} already.", "Give a later day.")
    table = content[finding.table]
    return Waiver(
        table=finding.table,
        rule=form_of(finding.source, table, finding.mode),
        places=tuple(dict.fromkeys(finding.axis_values)),
        size=float(most),
        unit=finding.unit,
        reason=reason.strip(),
        author=author.strip(),
        time=stamp(),
        approver=approver.strip(),
        expires=expires,
    )


def approved(waiver: Waiver, approver: str) -> Waiver:
    """Return the waiver with its approver.

    Raises
    ------
    EditRefused
        If that is nobody, or the author.
    """
    if not approver.strip():
        raise EditRefused("A waiver needs an approver.", "Say who approves it.")
    _require_other(waiver.author, approver)
    return replace(waiver, approver=approver.strip())


def _require_other(author: str, approver: str) -> None:
    if approver.strip() and same_person(author, approver):
        raise EditRefused(
            f"{approver.strip()} cannot approve their own waiver.", "Ask another person."
        )


def _day(text: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise EditRefused(f"{text!r} is no day.", "Write it as 2026-02-28.") from None


# -- which findings are covered ------------------------------------------------------------


def honoured(
    findings: Iterable[Finding], waivers: tuple[Waiver, ...], table: Table, day: date
) -> list[Finding]:
    """Return the findings of a table, those that a waiver covers marked.

    Where a waiver was meant for a finding but does not cover it (any more), the finding's
    message says why.
    """
    return [_honoured(finding, waivers, table, day) for finding in findings]


def _honoured(finding: Finding, waivers: tuple[Waiver, ...], table: Table, day: date) -> Finding:
    if finding.rule in NOT_WAIVABLE or finding.severity is Severity.NOTE:
        return finding
    form = form_of(finding.source, table, finding.mode)
    near = [w for w in waivers if w.rule == form]
    why = ""
    for waiver in reversed(near):
        problem = lapse(waiver, finding, day)
        if not problem:
            return replace(finding, waived=True, waiver=waiver.id)
        why = why or problem
    if not near:
        why = _rule_changed(finding, waivers, table, form)
    return replace(finding, message=f"{finding.message} {why}") if why else finding


def lapse(waiver: Waiver, finding: Finding, day: date) -> str:
    """Return why a waiver of a finding's rule does not cover it, in a sentence; empty if it does.

    Parameters
    ----------
    waiver : Waiver
    finding : Finding
    day : date
        The present day.
    """
    if not waiver.approver.strip():
        return "Its waiver awaits an approver."
    if same_person(waiver.author, waiver.approver):
        return "Its waiver was approved by its author, which does not count."
    if waiver.expires:
        try:
            last = date.fromisoformat(waiver.expires)
        except ValueError:
            return f"Its waiver does not hold: {waiver.expires[:40]!r} is no day."
        if day > last:
            return f"Its waiver ended on {waiver.expires}."
    outside = [place for place in finding.axis_values if place not in set(waiver.places)]
    if outside:
        return f"Its waiver has lapsed: {_where(outside)} is not among the cells it names."
    if finding.unit != waiver.unit:
        return f"Its waiver has lapsed: it was in {waiver.unit}, the table is in {finding.unit}."
    if not abs(finding.amount) <= waiver.size * (1 + _SLACK):
        return (
            "Its waiver has lapsed: the breach has grown to "
            f"{with_unit(abs(finding.amount), finding.unit)}, above the waived "
            f"{with_unit(waiver.size, waiver.unit)}."
        )
    return ""


def _where(places: list[Place]) -> str:
    first = ", ".join(f"{x:g}" for x in places[0]) or "the value"
    more = len(places) - 1
    return f"({first})" + (f" and {more} more" if more else "")


def _rule_changed(finding: Finding, waivers: tuple[Waiver, ...], table: Table, form: str) -> str:
    start = f'"kind":"{finding.rule}"'
    in_force = {form, *(form_of(rule, table) for rule in table.rules_in_force)}
    if any(start in w.rule and w.rule not in in_force for w in waivers):
        return "Its waiver has lapsed: the rule has other settings now."
    return ""
