"""The change note: what changed since an earlier state, why, for whom, and how it is known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from ..compare import compare
from ..compare.result import TableComparison
from ..core.calibration_set import CalibrationSet
from ..core.record import Complaint, Standing
from ..core.times import stamp
from ..session.complaints import moment_words, words
from ..session.history import Entry
from ..session.since import edits_since
from .evidence import evidence_words
from .page import bullets, cautions, count, facts, page, rows
from .svg import legend, table_plots


def change_note(
    content: CalibrationSet,
    earlier: CalibrationSet,
    since: str,
    entries: Sequence[Entry] = (),
    *,
    evidence: Mapping[str, str] | None = None,
) -> str:
    """Return the change note as HTML.

    Parameters
    ----------
    content, earlier : CalibrationSet
    since : str
        What the earlier state is, in words.
    entries : sequence of Entry
        The set's history, oldest first.  Of the changes since the earlier state the reasons are
        quoted; what that state holds already is left out.
    evidence : mapping of table id to str, optional
        How each changed table is known, in words; by default what the recorded drives say.
    """
    title = f"{content.label}: change note"
    differing = compare(earlier, content).differing
    changed = {pair.id for pair in differing}
    behind = [
        c
        for c in content.record.complaints
        if changed & set(c.tables) and not _answered_before(c, earlier)
    ]
    edits = edits_since(content, entries, earlier) if entries else {}
    rest = [c for c in content.record.complaints if c not in behind]
    known = evidence if evidence is not None else evidence_words(content, earlier)
    body = [
        f"<h1>{escape(title)}</h1><p>Made {escape(stamp())}.</p>",
        facts(
            [
                ("Programme", content.programme),
                ("Drive mode", content.mode),
                ("Revision", content.revision),
                ("Against", since),
                ("Changed", count(len(differing), "table")),
            ]
        ),
        _complaints("Complaints behind these changes", behind),
        _complaints("Other complaints", rest) if rest else "",
        f"<h2>Changes</h2>{legend() if differing else '<p>None.</p>'}",
        *(_table(pair, edits.get(pair.id), behind, known) for pair in differing),
        cautions(),
    ]
    return page(title, body)


def _answered_before(complaint: Complaint, earlier: CalibrationSet) -> bool:
    """Whether the earlier state holds the answer to a complaint already."""
    return any(
        c.id == complaint.id
        and c.answer == complaint.answer
        and c.standing in (Standing.ANSWERED, Standing.PROVED)
        for c in earlier.record.complaints
    )


def _complaints(title: str, complaints: Iterable[Complaint]) -> str:
    lines = [(c.number, c.note, moment_words(c.recording, c.moment), words(c)) for c in complaints]
    if not lines:
        return f"<h2>{escape(title)}</h2><p>None.</p>"
    return f"<h2>{escape(title)}</h2>{rows(('Number', 'What', 'Heard in', 'Standing'), lines)}"


def _table(
    pair: TableComparison,
    mine: Sequence[Entry] | None,
    complaints: Sequence[Complaint],
    evidence: Mapping[str, str],
) -> str:
    reasons = [f"{e.title}: {e.reason} ({e.author}, {e.time[:10]})" for e in mine or () if e.reason]
    silent = sum(not entry.reason for entry in mine or ())
    if silent:
        reasons.append(f"{count(silent, 'edit')} without a reason")
    if mine is None:
        reasons.append("The history does not tell by which edits.")
    answers = [f"Complaint {c.number}: {c.note}" for c in complaints if pair.id in c.tables]
    known = evidence.get(pair.id, "")
    parts = [
        f"<h3>{escape(pair.table.label)} <code>{escape(pair.id)}</code></h3>",
        f"<p>{escape(pair.words())}</p>",
        bullets([*reasons, *answers]) if reasons or answers else "",
        f"<p>Evidence: {escape(known)}</p>" if known else "",
    ]
    plots = table_plots(pair.first, pair.second)
    if plots:
        parts.append(f'<div class="plots">{"".join(plots)}</div>')
    return "".join(parts)
