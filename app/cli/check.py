"""`bitepoint check SET`: which rules do not hold, where, and what mends it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import DIFFERENT, GOOD, Answer, json_text
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution, count, listed, title

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.rules.check import Finding, Report

SUMMARY = "check every rule of a set"
LISTED_TABLES = 5


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "check",
        "Check every rule of a set and say in words what does not hold.",
        "Exit status: 0 sound, 1 errors or warnings that are not waived, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument(
        "--against",
        metavar="SET",
        type=Path,
        action="append",
        default=[],
        help="set of another mode, for the relations between modes; may be given several times",
    )
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Check a set."""
    given = parser().parse_args(arguments)
    with SetFiles([given.set, *given.against]) as files:
        from calib_model.rules.check import check

        content, *others = (stored.set for stored in files.results())
    report = check(content, others)
    status = GOOD if report.sound else DIFFERENT
    if given.json:
        return Answer(status, json_text(plain(report)))
    return Answer(status, words(report, content, given.set))


def plain(report: Report) -> dict[str, Any]:
    """Return a report as plain data."""
    return {
        "findings": [finding_plain(f) for f in report.findings],
        "not_checked": [
            {"table": n.table, "rule": n.rule, "reason": n.reason} for n in report.not_checked
        ],
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


def words(report: Report, content: CalibrationSet, path: Path) -> str:
    """Return a report for reading."""
    errors, warnings, notes = report.counts()
    waived = sum(f.waived for f in report.findings)
    summary = [count(errors, "error"), count(warnings, "warning"), count(notes, "note")]
    if waived:
        summary.append(f"{waived} waived")
    parts = [f"{title(content, path)}: {', '.join(summary)} in {count(len(content), 'table')}."]
    if report.findings:
        parts.append(listed([_row(f) for f in report.findings]))
    elif not report.not_checked:
        parts.append("Every rule holds.")
    if report.not_checked:
        parts.append(_not_checked(report))
    parts.append(caution())
    return "\n\n".join(parts) + "\n"


def _row(finding: Finding) -> tuple[str, str, str]:
    severity = f"{finding.severity} (waived)" if finding.waived else str(finding.severity)
    message = finding.message
    if finding.remedies:
        message += "\nRemedy: " + ", or ".join(finding.remedies) + "."
    return severity, finding.table, message


def _not_checked(report: Report) -> str:
    by_reason: dict[tuple[str, str], list[str]] = defaultdict(list)
    for entry in report.not_checked:
        by_reason[(entry.rule.replace("_", " "), entry.reason)].append(entry.table)
    rows = []
    for (rule, reason), tables in by_reason.items():
        named = ", ".join(tables[:LISTED_TABLES])
        more = len(tables) - LISTED_TABLES
        rows.append((rule, reason + f" ({named}{f' and {more} more' if more > 0 else ''})"))
    text = f"Not checked: {count(len(report.not_checked), 'rule')}; a sign-off would need them."
    if any(n.rule == "mode_relation" for n in report.not_checked):
        text += " Name the other mode's set with --against."
    return text + "\n" + listed(rows)
