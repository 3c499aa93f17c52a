"""Complaints: what the vehicle did, the change that answers it, and the proof after it.

Each step is a change of the record that can be undone like any edit.  A complaint goes from open
to answered (a change was made for it) to proved (a recording after the change shows that it is
gone); it may be dropped, and taken up again.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from ..core.calibration_set import CalibrationSet
from ..core.record import Complaint, Standing
from ..core.times import stamp
from ..editing.change import Change, record_change
from ..errors import EditRefused
from .history import Entry

_NUMBERED = re.compile(r"(\D*)(\d+)")


def next_number(content: CalibrationSet) -> str:
    """Return a number for a new complaint: one more than the last, in the team's own style."""
    last = ("C-", 0, 1)
    for complaint in content.record.complaints:
        found = _NUMBERED.fullmatch(complaint.number)
        if found and int(found[2]) >= last[1]:
            last = (found[1], int(found[2]), len(found[2]))
    return f"{last[0]}{last[1] + 1:0{last[2]}d}"


def by_number(content: CalibrationSet, number: str) -> Complaint:
    """Return a complaint by its number.

    Raises
    ------
    EditRefused
        If there is none, or more than one.
    """
    asked = number.strip().casefold()
    found = [c for c in content.record.complaints if c.number.casefold() == asked]
    if len(found) == 1:
        return found[0]
    if found:
        raise EditRefused(
            f"{len(found)} complaints of this set have the number {number.strip()}.",
            "Choose the one that is meant in the window, in Road.",
        )
    listed = ", ".join(c.number for c in content.record.complaints) or "none yet"
    raise EditRefused(f"There is no complaint {number!r}.", f"Complaints of this set: {listed}.")


def raised(
    content: CalibrationSet,
    note: str,
    *,
    by: str,
    number: str = "",
    recording: str = "",
    sha256: str = "",
    moment: float = 0.0,
    tables: Iterable[str] = (),
) -> Change:
    """Return the change that takes a complaint into the record.

    Parameters
    ----------
    content : CalibrationSet
    note, by : str
        What was felt or seen, and who says so.
    number : str
        Unique within the set; by default the next one.
    recording, sha256 : str
        Where it is heard; empty if nothing was recorded.
    moment : float
        Seconds from the recording's start.
    tables : iterable of str
        Ids of the tables that decided at that moment.

    Raises
    ------
    EditRefused
        If it says nothing, nobody says it, or its number is taken.
    """
    note = _said(note, "The complaint is empty.", "Say what was felt or seen.")
    by = _said(by, "A complaint needs a name.", "Say who raises it.")
    number = number.strip() or next_number(content)
    if any(c.number.casefold() == number.casefold() for c in content.record.complaints):
        raise EditRefused(f"There is a complaint {number} already.", "Give another number.")
    made = Complaint(
        number=number,
        note=note,
        by=by,
        time=stamp(),
        recording=recording,
        sha256=sha256,
        moment=_seconds(moment),
        tables=_known(content, tables),
    )
    return record_change(None, made, f"Raise complaint {number}")


def answered(
    content: CalibrationSet, complaint: Complaint, answer: str, tables: Iterable[str] = ()
) -> Change:
    """Return the change that says what was changed for a complaint.

    Parameters
    ----------
    content : CalibrationSet
    complaint : Complaint
    answer : str
        The change, in words.
    tables : iterable of str
        Ids of the tables it touched; added to those the complaint names.

    Raises
    ------
    EditRefused
        If nothing is said, or the complaint was dropped.
    """
    answer = _said(answer, "The answer is empty.", "Say what was changed.")
    if complaint.standing is Standing.DROPPED:
        raise EditRefused(
            f"Complaint {complaint.number} was set aside.", "Take it up again, then answer it."
        )
    named = dict.fromkeys((*complaint.tables, *_known(content, tables)))
    after = replace(
        complaint,
        standing=Standing.ANSWERED,
        answer=answer,
        tables=tuple(named),
        **_NO_PROOF,  # a proof was of another answer
    )
    return record_change(complaint, after, f"Answer complaint {complaint.number}")


_NO_PROOF: dict[str, Any] = {
    "proof_recording": "",
    "proof_sha256": "",
    "proof_moment": 0.0,
    "proof_note": "",
}


def require_provable(complaint: Complaint) -> None:
    """Raise EditRefused if nothing answered a complaint yet."""
    if complaint.standing not in (Standing.ANSWERED, Standing.PROVED):
        raise EditRefused(
            f"Nothing answers complaint {complaint.number} yet.", "Answer it by a change first."
        )


def proved(
    complaint: Complaint,
    note: str,
    *,
    recording: str,
    sha256: str = "",
    moment: float = 0.0,
) -> Change:
    """Return the change that names the recording which shows that a complaint is gone.

    Whether it does is found out by `calib_model.evidence.proof`.

    Raises
    ------
    EditRefused
        If nothing answered it yet, no recording is named, or it is the one complained about.
    """
    require_provable(complaint)
    recording = _said(recording, "A proof needs a recording.", "Name the run after the change.")
    same_file = sha256 and sha256 == complaint.sha256
    if same_file or (not sha256 and recording == complaint.recording):
        raise EditRefused(
            f"{recording} is the recording that complaint {complaint.number} came from.",
            "Name a run that was driven after the change.",
        )
    after = replace(
        complaint,
        standing=Standing.PROVED,
        proof_recording=recording,
        proof_sha256=sha256,
        proof_moment=_seconds(moment),
        proof_note=note.strip(),
    )
    return record_change(complaint, after, f"Prove complaint {complaint.number}")


def dropped(complaint: Complaint, reason: str) -> Change:
    """Return the change that sets a complaint aside, for a reason.

    Raises
    ------
    EditRefused
        If no reason is given.
    """
    reason = _said(reason, "No reason is given.", "Say why nothing is done about it.")
    after = replace(complaint, standing=Standing.DROPPED, answer=reason, **_NO_PROOF)
    return record_change(complaint, after, f"Set aside complaint {complaint.number}")


def taken_up(complaint: Complaint) -> Change:
    """Return the change that opens a complaint again."""
    after = replace(complaint, standing=Standing.OPEN, answer="", **_NO_PROOF)
    return record_change(complaint, after, f"Take up complaint {complaint.number} again")


def removed(complaint: Complaint) -> Change:
    """Return the change that takes a complaint out of the record."""
    return record_change(complaint, None, f"Remove complaint {complaint.number}")


def possible_answers(entries: Sequence[Entry], complaint: Complaint) -> list[Entry]:
    """Return the changes of tables since a complaint was raised, the newest first.

    Parameters
    ----------
    entries : sequence of Entry
        The set's history, oldest first.
    complaint : Complaint
    """
    return [
        entry
        for entry in reversed(entries)
        if entry.time >= complaint.time and tables_of(entry)  # stamps sort as they are written
    ]


def tables_of(entry: Entry) -> tuple[str, ...]:
    """Return the ids of the tables that an entry of the history touched."""
    named = []
    for edit in entry.plain.get("edits", ()):
        if edit.get("kind") == "cells":
            named.append(str(edit.get("table", "")))
        elif edit.get("kind") == "table":  # exchanged, added or removed as a whole
            named.append(str((edit.get("after") or edit.get("before") or {}).get("id", "")))
    return tuple(dict.fromkeys(id for id in named if id))


def words(complaint: Complaint) -> str:
    """Say in one line how a complaint stands."""
    match complaint.standing:
        case Standing.OPEN:
            return "open"
        case Standing.ANSWERED:
            return f"answered: {complaint.answer}; no run shows it yet"
        case Standing.PROVED:
            said = f": {complaint.proof_note}" if complaint.proof_note else ""
            return f"answered: {complaint.answer}; proved by {complaint.proof_recording}{said}"
        case Standing.DROPPED:
            return f"set aside: {complaint.answer}"


def moment_words(recording: str, moment: float) -> str:
    """Say where a complaint is heard, such as ``round.csv at 2 min 03.4 s``."""
    if not recording:
        return "no recording"
    minutes, seconds = divmod(round(moment, 1), 60)
    return f"{recording} at {f'{minutes:.0f} min ' if minutes else ''}{seconds:.1f} s"


def _said(text: str, problem: str, remedy: str) -> str:
    if not text.strip():
        raise EditRefused(problem, remedy)
    return text.strip()


def _seconds(moment: float) -> float:
    if not math.isfinite(moment):
        raise EditRefused("The moment is not a number.", "Give seconds from the recording's start.")
    return float(moment)


def _known(content: CalibrationSet, tables: Iterable[str]) -> tuple[str, ...]:
    named = tuple(dict.fromkeys(tables))
    for id in named:
        if id not in content.tables:
            raise EditRefused(f"The set has no table {id!r}.", "Name tables by their ids.")
    return named
