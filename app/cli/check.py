"""`bitepoint check SET`: which rules do not hold, where, and what mends it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli import company
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution, count, listed, paragraph, title
from calib_model.rules.attention import attention
from calib_model.rules.check import check, with_findings
from calib_model.rules.withdrawn import withdrawn
from calib_model.session.history import Entry
from calib_model.signoff.withdrawn_since import withdrawn_since_sign_off

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.rules.attention import Attention
    from calib_model.rules.check import Finding, Report
    from calib_model.session.beside import Company
    from calib_model.store.reading import StoredSet

LISTED_TABLES = 5
RELATION = "mode_relation"


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "check",
        "Check every rule of a set and say in words what does not hold.  A programme file beside "
        "the set\nthat names it is read: relations between modes are checked with its other sets, "
        "both ways.  What was taken away since the last sign-off (a rule, a role, a table) is a "
        "warning\nuntil a reviewer accepts the table.",
        "Exit status: 0 sound, 1 errors or warnings that are not waived, tables that no rule looks "
        "at, or\nrules that could not be checked, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument(
        "--reference",
        metavar="SET",
        type=Path,
        help="an earlier state of the set: what it had checked and this one has not is named too",
    )
    company.add_against(made)
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Check a set."""
    given = parser().parse_args(arguments)
    with (
        SetFiles([given.set, *[given.reference] * bool(given.reference), *given.against]) as files,
        company.Neighbours(given.set, alone=given.alone, named=given.against) as neighbours,
    ):
        stored, *rest = files.results()
        content = stored.set
        reference = rest.pop(0).set if given.reference else None
        found = neighbours.company(content)
    if reference is not None and (reference.programme, reference.mode) != (
        content.programme,
        content.mode,
    ):
        refuse(
            f"{given.reference}: This is {_of(reference)}, not {_of(content)}.",
            "Give an earlier state of the same set; other modes go with --against.",
        )
    report = check(content, neighbours.others(found, [one.set for one in rest]))
    looked = attention(content, report)
    report = with_findings(report, _gone(stored, reference))
    sound = report.sound and report.complete and not found.problems and not looked.unchecked
    status = GOOD if sound else DIFFERENT
    if given.json:
        return Answer(status, json_text(plain(report, found, looked)))
    return Answer(status, words(report, content, given.set, found, looked))


def _of(content: CalibrationSet) -> str:
    return f"programme {content.programme or '-'}, mode {content.mode or '-'}"


def _gone(stored: StoredSet, reference: CalibrationSet | None) -> list[Finding]:
    """Return what no longer looks at the set, since the reference and since its last sign-off."""
    gone: list[Finding] = []
    if reference is not None:
        gone += withdrawn(stored.set, reference)
    if stored.set.record.sign_offs:
        entries = [Entry(view, True) for view in stored.history.views()]
        gone += withdrawn_since_sign_off(stored.set, entries)
    return gone


def plain(report: Report, found: Company, looked: Attention) -> dict[str, Any]:
    """Return a report as plain data."""
    beside = [{"table": "", "rule": RELATION, "reason": text} for text in found.problems]
    return {
        "findings": [finding_plain(f) for f in report.findings],
        "not_checked": [
            *({"table": n.table, "rule": n.rule, "reason": n.reason} for n in report.not_checked),
            *beside,
        ],
        "attention": [looked.plain()],
        "beside": company.plain(found),
    }


def finding_plain(finding: Finding) -> dict[str, Any]:
    """Return a finding as plain data."""
    return {
        "table": finding.table,
        "rule": finding.rule,
        "severity": str(finding.severity),
        "cells": [list(cell) for cell in finding.cells],
        "axis_values": [list(values) for values in finding.axis_values],
        "amount": finding.amount,
        "unit": finding.unit,
        "message": finding.message,
        "waived": finding.waived,
    }


def words(
    report: Report, content: CalibrationSet, path: Path, found: Company, looked: Attention
) -> str:
    """Return a report for reading."""
    errors, warnings, notes = report.counts()
    waived = sum(f.waived for f in report.findings)
    summary = [count(errors, "error"), count(warnings, "warning"), count(notes, "note")]
    if waived:
        summary.append(f"{waived} waived")
    told = f"{title(content, path)}: {', '.join(summary)} in {count(len(content), 'table')}"
    if not report.complete:
        told += f"; {_counted(report)} not checked"
    parts = [f"{told}.", paragraph(looked.words)]
    if looked.unchecked:
        parts.append(_unchecked(looked.unchecked))
    if found.words:
        parts.append(paragraph(company.words(found)))
    if report.findings:
        parts.append(listed([_row(f) for f in report.findings]))
    elif report.complete and not found.problems:
        parts.append("Every rule holds." if looked.tables.keys() - {0} else "There is no rule.")
    if report.not_checked or found.problems:
        parts.append(_not_checked(report, found.problems))
    parts.append(caution())
    return "\n\n".join(parts) + "\n"


def _row(finding: Finding) -> tuple[str, str, str]:
    severity = f"{finding.severity} (waived)" if finding.waived else str(finding.severity)
    message = finding.message
    if finding.remedies:
        message += "\nRemedy: " + ", or ".join(finding.remedies) + "."
    return severity, finding.table, message


def _unchecked(ids: Sequence[str]) -> str:
    named = ", ".join(ids[:LISTED_TABLES])
    more = len(ids) - LISTED_TABLES
    return paragraph(
        f"Not checked by any rule, so not sound: {named}{f' and {more} more' if more > 0 else ''}. "
        "`bitepoint rules SET suggest` offers what their shape holds to."
    )


def _counted(report: Report) -> str:
    relations = sum(n.rule == RELATION for n in report.not_checked)
    rules = len(report.not_checked) - relations
    both = [count(relations, "relation")] * bool(relations) + [count(rules, "rule")] * bool(rules)
    return " and ".join(both)


def _not_checked(report: Report, problems: Sequence[str]) -> str:
    by_reason: dict[tuple[str, str], list[str]] = defaultdict(list)
    for entry in report.not_checked:
        by_reason[(entry.rule.replace("_", " "), entry.reason)].append(entry.table)
    rows = []
    for (rule, reason), tables in by_reason.items():
        named = ", ".join(tables[:LISTED_TABLES])
        more = len(tables) - LISTED_TABLES
        rows.append((rule, reason + f" ({named}{f' and {more} more' if more > 0 else ''})"))
    rows += [(RELATION.replace("_", " "), text) for text in problems]
    text = "Not checked: what was not looked at is not sound, and a sign-off needs it."
    if any(n.rule == RELATION for n in report.not_checked):
        text += " Name the other mode's set with --against."
    return paragraph(text) + "\n" + listed(rows)
