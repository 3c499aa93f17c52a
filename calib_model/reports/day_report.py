"""The daily summary: complaints, edits, drives and trials of one day, as the team reads it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, tzinfo
from html import escape

from ..core.calibration_set import CalibrationSet
from ..core.record import Complaint, Drive, Standing, Trial
from ..errors import ModelError
from ..rules.check import Report
from ..session.complaints import moment_words, tables_of, words
from ..session.history import Entry, describe_change
from .evidence import drive_list
from .page import bullets, cautions, count, facts, page, rows

MOST_LINES = 12
"""More cells of one edit than this are counted, not listed."""


def day_report(
    content: CalibrationSet,
    entries: Sequence[Entry],
    day: date,
    *,
    report: Report | None = None,
    zone: tzinfo | None = None,
) -> str:
    """Return the summary of a day as HTML.

    Parameters
    ----------
    content : CalibrationSet
        As it is now.
    entries : sequence of Entry
        Its history, oldest first, unsaved changes included.
    day : date
    report : Report, optional
        Findings of the set as it is.
    zone : tzinfo, optional
        Whose midnight counts; the desk's own by default.
    """
    title = f"{content.label}: {day.isoformat()}"
    edits = [e for e in entries if on_day(e.time, day, zone) and tables_of(e)]
    mine = [c for c in content.record.complaints if _of_day(c, entries, day, zone)]
    drives = [d for d in content.record.drives if on_day(d.time, day, zone)]
    trials = [t for t in content.record.trials if on_day(t.time, day, zone)]
    still_open = [c for c in content.record.complaints if c.standing is Standing.OPEN]
    body = [
        f"<h1>{escape(title)}</h1><p>Daily summary.</p>",
        facts(
            [
                ("Programme", content.programme),
                ("Drive mode", content.mode),
                ("Revision", content.revision),
                ("Edits of tables", str(len(edits))),
                ("Complaints still open", str(len(still_open))),
                ("Findings now", _found(report)),
            ]
        ),
        _complaints("Complaints of the day", mine),
        _complaints("Older complaints still open", [c for c in still_open if c not in mine]),
        _edits(content, edits),
        _drives(drives),
        _trials(trials),
        cautions(),
    ]
    return page(title, body)


def on_day(time: str, day: date, zone: tzinfo | None = None) -> bool:
    """Tell whether a recorded time (ISO 8601, UTC) falls on a day of a zone."""
    try:
        moment = datetime.fromisoformat(time)
    except ValueError:
        return False
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return moment.astimezone(zone).date() == day


def _of_day(complaint: Complaint, entries: Sequence[Entry], day: date, zone: tzinfo | None) -> bool:
    """Tell whether a complaint was raised, answered or proved on a day."""
    if on_day(complaint.time, day, zone):
        return True
    return any(
        edit.get("kind") == "record" and (edit.get("after") or {}).get("id") == complaint.id
        for entry in entries
        if on_day(entry.time, day, zone)
        for edit in entry.plain.get("edits", ())
    )


def _found(report: Report | None) -> str:
    if report is None:
        return ""
    errors, warnings, notes = report.counts()
    return ", ".join((count(errors, "error"), count(warnings, "warning"), count(notes, "note")))


def _complaints(title: str, complaints: Iterable[Complaint]) -> str:
    lines = [
        (c.number, c.note, moment_words(c.recording, c.moment), words(c), ", ".join(c.tables))
        for c in complaints
    ]
    if not lines:
        return f"<h2>{escape(title)}</h2><p>None.</p>"
    head = ("Number", "What", "Heard in", "Standing", "Tables")
    return f"<h2>{escape(title)}</h2>{rows(head, lines)}"


def _edits(content: CalibrationSet, edits: Sequence[Entry]) -> str:
    parts = ["<h2>Edits</h2>"]
    if not edits:
        parts.append("<p>None.</p>")
    for entry in edits:
        parts.append(f"<h3>{escape(entry.time[11:16])} UTC, {escape(entry.title)}</h3>")
        why = f"{entry.reason} ({entry.author})" if entry.reason else f"By {entry.author}."
        parts.append(f"<p>{escape(why)}</p>")
        try:
            lines = describe_change(entry.change(), content)
        except ModelError as problem:
            lines = [str(problem)]
        more = len(lines) - MOST_LINES
        parts.append(
            bullets(lines[:MOST_LINES] + ([f"{count(more, 'more line')}"] if more > 0 else []))
        )
    return "".join(parts)


def _drives(drives: Sequence[Drive]) -> str:
    return f"<h2>Driving taken as evidence</h2>{drive_list(drives)}" if drives else ""


def _trials(trials: Sequence[Trial]) -> str:
    if not trials:
        return ""
    lines = [
        (t.vehicle, t.trip, t.expires, "; ".join(t.changed[:MOST_LINES]), t.by) for t in trials
    ]
    head = ("Vehicle", "Trip", "Until", "Changed", "By")
    return f"<h2>Trials that left the desk</h2>{rows(head, lines)}"
