"""The release report: one HTML file that stands alone, for the change note and the archive.

No scripts, nothing fetched, all text escaped; black on white, and legible when printed so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
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
from ..rules.check import Report
from ..signoff.statement import read_statement
from ..signoff.verification import Verification
from ..signoff.wire import SignatureProblem
from .svg import legend, table_plots

MOST_CELLS = 200
CAUTIONS = (
    "Desk results do not replace vehicle tests.",
    (
        "Unintended or stuck rear-axle torque at speed, and unintended braking of one wheel, are "
        "hazards."
    ),
    "Changes are verified on a closed course by trained drivers.",
    (
        "The organisation's functional-safety process (ISO 26262, in particular its part on "
        "configuration and calibration data), local codes and licensed practice come first."
    ),
    (
        "A set without findings is not a safe set: the checks know only the rules that were "
        "written down."
    ),
)
_STYLE = """
body{font:15px/1.45 sans-serif;color:#000;background:#fff;max-width:60rem;margin:1.5rem auto;
padding:0 1rem}
h1{font-size:1.6rem;margin-bottom:.2rem}h2{font-size:1.2rem;border-bottom:2px solid #000;
margin-top:2rem}h3{font-size:1rem;margin:1.4rem 0 .3rem}
table{border-collapse:collapse;width:100%;margin:.5rem 0}
th,td{border:1px solid #999;padding:.25rem .5rem;text-align:left;vertical-align:top}
th{background:#eee}td.n{text-align:right;white-space:nowrap}
code{font-family:monospace;overflow-wrap:anywhere}
.mark{border:3px solid #000;padding:.6rem .8rem;font-weight:bold}
.plots{display:flex;flex-wrap:wrap;gap:.5rem}.plots svg{border:1px solid #ccc;max-width:100%;
height:auto}
@media print{body{margin:0;max-width:none}h3,svg,tr{break-inside:avoid}}
"""


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
    title = f"{content.label}, revision {content.revision or '(none)'}"
    body = [
        f"<h1>{escape(title)}</h1>",
        f"<p>Release report, made {escape(stamp(now))}</p>",
        _state(release),
        _what(release),
        "<h2>Cautions</h2>",
        f"<ul>{''.join(f'<li>{escape(text)}</li>' for text in CAUTIONS)}</ul>",
        _signatures(content),
        _findings(release.report),
        _waivers(content),
        _decisions(content),
        _remarks(content),
        _changes(release),
    ]
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head>\n"
        f"<body>{''.join(part for part in body if part)}</body></html>\n"
    )


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
            ", ".join([_count(errors, "error"), _count(warnings, "warning"), _count(notes, "note")])
            + f"; {waived} waived",
        ),
        ("Rules not checked", str(len(release.report.not_checked))),
        ("About", content.description),
    ]
    facts = "".join(
        f"<tr><th>{escape(label)}</th><td>{escape(text)}</td></tr>" for label, text in rows if text
    )
    digest = f"<code>{escape(release.verification.digest)}</code>"
    return f"<table>{facts}<tr><th>Digest (SHA-256)</th><td>{digest}</td></tr></table>"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    top = "".join(f"<th>{escape(text)}</th>" for text in head)
    body = "".join(
        f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows
    )
    return f"<table><tr>{top}</tr>{body}</table>"


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
    return f"<h2>Sign-offs</h2>{_table(head, rows)}"


def _findings(report: Report) -> str:
    parts = ["<h2>Findings</h2>"]
    if report.findings:
        rows = [
            (f"{f.severity}{' (waived)' if f.waived else ''}", f.table, f.message)
            for f in report.findings
        ]
        parts.append(_table(("Severity", "Table", "What"), rows))
    else:
        parts.append("<p>None.</p>")
    if report.not_checked:
        missed = [(n.table, n.rule.replace("_", " "), n.reason) for n in report.not_checked]
        parts.append("<h3>Not checked</h3>" + _table(("Table", "Rule", "Why"), missed))
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
    return f"<h2>Waivers</h2>{_table(head, rows)}"


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
    return f"<h2>Decisions and maturity</h2>{_table(head, rows)}"


def _remarks(content: CalibrationSet) -> str:
    if not content.record.remarks:
        return ""
    rows = [
        (r.time, r.author, r.table, r.text, "open" if r.is_open else f"settled by {r.settled_by}")
        for r in content.record.remarks
    ]
    return f"<h2>Remarks</h2>{_table(('Time', 'Author', 'Table', 'Remark', 'State'), rows)}"


def _changes(release: Release) -> str:
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
    parts += [_change(table) for table in found.differing]
    return "".join(parts)


def _change(table: TableComparison) -> str:
    name = escape(table.table.label)
    parts = [f"<h3>{name} <code>{escape(table.id)}</code></h3><p>{escape(table.words())}</p>"]
    plots = table_plots(table.first, table.second)
    if plots:
        parts.append(f'<div class="plots">{"".join(plots)}</div>')
    if table.fields:
        rows = [(f.field, f.before, f.after) for f in table.fields]
        parts.append(_table(("What", "Before", "After"), rows))
    cells = table.cells
    if cells:
        unit = shown(table.unit)
        listed = [(cell.words(),) for cell in cells[:MOST_CELLS]]
        parts.append(_table((f"Cells{f' [{unit}]' if unit else ''}",), listed))
        if len(cells) > MOST_CELLS:
            parts.append(f"<p>{len(cells) - MOST_CELLS} more cells are not listed here.</p>")
    return "".join(parts)
