"""The lines of the list of complaints."""

from __future__ import annotations

from dataclasses import dataclass

from app.line_rows import Line as PlainLine
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Complaint, Standing
from calib_model.session.complaints import moment_words, words

from .possible import STATES

MARKS = {
    Standing.OPEN: "error",
    Standing.ANSWERED: "warning",
    Standing.PROVED: "done",
    Standing.DROPPED: "note",
}
"""The mark of a standing; the word stands beside it."""
_ORDER = list(MARKS)


@dataclass(frozen=True)
class Line(PlainLine):
    """One complaint.

    Parameters
    ----------
    complaint : Complaint
    """

    complaint: Complaint | None = None


def complaint_lines(content: CalibrationSet) -> list[Line]:
    """Return a set's complaints, open ones first, the newest first among equals."""
    newest = reversed(content.record.complaints)
    ordered = sorted(newest, key=lambda c: _ORDER.index(c.standing))
    return [line_of(content, complaint) for complaint in ordered]


def line_of(content: CalibrationSet, complaint: Complaint) -> Line:
    """Return the line of a complaint."""
    where = moment_words(complaint.recording, complaint.moment)
    named = [
        content.tables[id].label if id in content.tables else id for id in complaint.tables[:1]
    ]
    if len(complaint.tables) > 1:
        named.append(f"{len(complaint.tables) - 1} more took part")
    state = words(complaint)
    return Line(
        complaint.id,
        MARKS[complaint.standing],
        STATES[complaint.standing],
        complaint.number,
        complaint.note,
        "; ".join([where, *([f"decided by {', '.join(named)}"] if named else [])])
        + (f"; {state}" if complaint.standing is not Standing.OPEN else ""),
        complaint,
    )
