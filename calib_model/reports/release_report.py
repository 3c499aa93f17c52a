"""The release report: one HTML file that stands alone, for the change note and the archive."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from html import escape

from ..compare import Comparison, compare
from ..compare.result import TableComparison
from ..core.calibration_set import CalibrationSet
from ..core.numbers import with_unit
from ..core.record import Trial
from ..core.times import stamp
from ..core.units import shown
from ..evidence.grades import Grades, grades
from ..rules.check import Report
from ..signoff.statement import read_statement
from ..signoff.verification import Verification
from ..signoff.wire import SignatureProblem
from .evidence import evidence_section, graded_words
from .page import cautions, count, facts, page
from .page import rows as listing
from .svg import legend, table_plots

MOST_CELLS = 200
FINDINGS_CAUTION = (
    "A set without findings is not a safe set: the checks know only the rules that were "
    "written down."
)


@dataclass(frozen=True)
class Release:
    """What a report is about.

    Parameters
    ----------
    content : CalibrationSet
    verification : Verification
        Of the set as it is.
    report : Report
        Findings of the set.
    earlier : CalibrationSet or None
        What changes are shown against; None if nothing is known of an earlier state.
    since : str
        What that state is, in words.
    trial : Trial or None
    """

    content: CalibrationSet
    verification: Verification
    report: Report
    earlier: CalibrationSet | None = None
    since: str = ""
    trial: Trial | None = None


def release_report(release: Release, *, now: datetime | None = None) -> str:
    """Return the report as HTML.

    Parameters
    ----------
    release : Release
    now : datetime, optional
        The time to put on it.
    """
    content = release.content
    graded = None
    if release.earlier is not None:
        graded = grades(content, release.earlier, content.record.drives)
    title = f"{content.label}, revision {content.revision or '(none)'}"
    body = [
        f"<h1>{escape(title)}</h1>",
        f"<p>Release report, made {escape(stamp(now))}</p>",
        _state(release),
        _what(release),
        cautions(FINDINGS_CAUTION),
        _signatures(content),
        _findings(release.report),
        _waivers(content),
        _decisions(content),
        _remarks(content),
        evidence_section(content, graded),
        _changes(release, graded),
    ]
    return page(title, body)


def _state(release: Release) -> str:
    lines = [release.verification.words]
    if release.trial is not None:
        t = release.trial
        lines.insert(
            0, f"TRIAL for vehicle {t.vehicle}, trip {t.trip}, until {t.expires}. Not a release."
        )
    return f'<p class="mark">{"<br>".join(escape(line) for line in lines)}</p>'


def _what(release: Release) -> str:
    content = release.content
    errors, warnings, notes = release.report.counts()
    waived = sum(f.waived for f in release.report.findings)
    rows = [
        ("Programme", content.programme),
        ("Drive mode", content.mode + (" (the base mode)" if content.is_base else "")),
        ("Tables", str(len(content))),
        (
            "Findings",
            ", ".join([count(errors, "error"), count(warnings, "warning"), count(notes, "note")])
            + f"; {waived} waived",
        ),
        ("Rules not checked", str(len(release.report.not_checked))),
        ("About", content.description),
    ]
    digest = f"<code>{escape(release.verification.digest)}</code>"
    return f"{facts(rows)}<p>Digest (SHA-256) {digest}</p>"


def _signatures(content: CalibrationSet) -> str:
    rows = []
    for item in content.record.sign_offs:
        try:
            s = read_statement(item.statement)
        except SignatureProblem as problem:
            rows.append((problem.problem, "", "", "", "", ""))
            continue
        rows.append((s.name, s.role, s.decision, s.time, s.comment, s.content[:16]))
    if not rows:
        return "<h2>Sign-offs</h2><p>None.</p>"
    head = ("Name", "Role", "Decision", "Time", "Comment", "Digest begins")
    return f"<h2>Sign-offs</h2>{listing(head, rows)}"


def _findings(report: Report) -> str:
    parts = ["<h2>Findings</h2>"]
    if report.findings:
        rows = [
            (f"{f.severity}{' (waived)' if f.waived else ''}", f.table, f.message)
            for f in report.findings
        ]
        parts.append(listing(("Severity", "Table", "What"), rows))
    else:
        parts.append("<p>None.</p>")
    if report.not_checked:
        missed = [(n.table, n.rule.replace("_", " "), n.reason) for n in report.not_checked]
        parts.append("<h3>Not checked</h3>" + listing(("Table", "Rule", "Why"), missed))
    return "".join(parts)


def _waivers(content: CalibrationSet) -> str:
    if not content.record.waivers:
        return "<h2>Waivers</h2><p>None.</p>"
    rows = [
        (
            w.table,
            "; ".join("(" + ", ".join(f"{x:g}" for x in place) + ")" for place in w.places),
            with_unit(w.size, w.unit),
            w.reason,
            w.author,
            w.approver or "nobody yet",
            w.expires or "no end",
        )
        for w in content.record.waivers
    ]
    head = ("Table", "Cells (axis values)", "Up to", "Reason", "Author", "Approver", "Until")
    return f"<h2>Waivers</h2>{listing(head, rows)}"


def _decisions(content: CalibrationSet) -> str:
    latest = content.record.latest_decisions
    levels = content.record.latest_maturities
    ids = [id for id in dict.fromkeys([*content.tables, *latest]) if id in latest or id in levels]
    if not ids:
        return "<h2>Decisions and maturity</h2><p>None.</p>"
    rows = []
    for id in ids:
        decision, level = latest.get(id), levels.get(id)
        rows.append(
            (
                id,
                str(decision.outcome) if decision else "",
                decision.by if decision else "",
                decision.time if decision else "",
                decision.comment if decision else "",
                str(level.level) if level else "",
            )
        )
    head = ("Table", "Decision", "By", "Time", "Comment", "Maturity")
    return f"<h2>Decisions and maturity</h2>{listing(head, rows)}"


def _remarks(content: CalibrationSet) -> str:
    if not content.record.remarks:
        return ""
    rows = [
        (r.time, r.author, r.table, r.text, "open" if r.is_open else f"settled by {r.settled_by}")
        for r in content.record.remarks
    ]
    return f"<h2>Remarks</h2>{listing(('Time', 'Author', 'Table', 'Remark', 'State'), rows)}"


def _changes(release: Release, graded: Grades | None) -> str:
    if release.earlier is None:
        return (
            "<h2>Changed tables</h2><p>Nothing is known of an earlier state: every table counts "
            "as changed.</p>"
        )
    found: Comparison = compare(release.earlier, release.content)
    since = escape(release.since or "the earlier state")
    parts = [f"<h2>Changed tables</h2><p>{len(found.differing)} changed since {since}.</p>"]
    if found.differing:
        parts.append(f"<p>{legend()}</p>")
    known = graded.tables if graded is not None else {}
    parts += [_change(table, graded_words(known.get(table.id, ()))) for table in found.differing]
    return "".join(parts)


def _change(table: TableComparison, evidence: str) -> str:
    name = escape(table.table.label)
    parts = [f"<h3>{name} <code>{escape(table.id)}</code></h3><p>{escape(table.words())}</p>"]
    if evidence:
        parts.append(f"<p>Evidence: {escape(evidence)}</p>")
    plots = table_plots(table.first, table.second)
    if plots:
        parts.append(f'<div class="plots">{"".join(plots)}</div>')
    if table.fields:
        rows = [(f.field, f.before, f.after) for f in table.fields]
        parts.append(listing(("What", "Before", "After"), rows))
    cells = table.cells
    if cells:
        unit = shown(table.unit)
        listed = [(cell.words(),) for cell in cells[:MOST_CELLS]]
        parts.append(listing((f"Cells{f' [{unit}]' if unit else ''}",), listed))
        if len(cells) > MOST_CELLS:
            parts.append(f"<p>{len(cells) - MOST_CELLS} more cells are not listed here.</p>")
    return "".join(parts)
