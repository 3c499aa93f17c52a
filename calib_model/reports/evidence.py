"""What stands behind changed cells, in the words of every report: grades, and the drives."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from html import escape

from ..core.calibration_set import CalibrationSet
from ..core.record import Drive
from ..evidence.grades import CellGrade, Grade, Grades, grades
from .page import count, rows


def evidence_words(content: CalibrationSet, earlier: CalibrationSet) -> dict[str, str]:
    """Say of each changed table how many of its changed cells have which evidence."""
    found = grades(content, earlier, content.record.drives)
    return {id: graded_words(cells) for id, cells in found.tables.items()}


def graded_words(cells: Iterable[CellGrade]) -> str:
    """Say how many cells have which evidence; empty for no cells."""
    by_grade: Counter[Grade] = Counter()
    idle = 0
    for cell in cells:
        by_grade[cell.grade] += 1
        idle += cell.never_decided
    counts = [f"{count(by_grade[g], 'cell')} {g}" for g in Grade if by_grade[g]]
    if idle:
        counts.append(f"{count(idle, 'cell')} used but never deciding")
    return ", ".join(counts)


def drive_list(drives: Sequence[Drive]) -> str:
    """Return drives as an HTML table; a sentence for none."""
    if not drives:
        return "<p>No drive is kept in this set.</p>"
    lines = [
        (
            d.name,
            "on the road" if d.source == "recording" else "at the desk",
            d.date,
            f"{d.seconds / 60:.1f} min",
            d.set_digest[:16],
            d.by,
        )
        for d in drives
    ]
    head = (
        "Recording or manoeuvre", "Driven", "When", "How long", "Digest of the set begins",
        "Added by",
    )  # fmt: skip
    return rows(head, lines)


def evidence_section(content: CalibrationSet, found: Grades | None) -> str:
    """Return what stands behind the changed cells together, and the drives, as HTML.

    Parameters
    ----------
    content : CalibrationSet
    found : Grades or None
        None if nothing is known of an earlier state, so that no cell can be said to have changed.
    """
    if found is None:
        said = "Nothing is known of an earlier state: which cells were changed cannot be said."
    else:
        said = f"Changed cells: {graded_words(found.cells) or 'none'}."
    return f"<h2>Evidence</h2><p>{escape(said)}</p>{drive_list(content.record.drives)}"
