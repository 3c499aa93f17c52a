"""Drives kept in a set's record: what was driven, with which values, so that edits can be graded.

A recording counts for the values that were in the vehicle when it was made.  So a drive is made
from the replay of that very set, be it the set at hand, an earlier state of it or another one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from ..core.arrays import cell_tuples
from ..core.calibration_set import CalibrationSet
from ..core.canonical import digest
from ..core.record import Drive
from ..core.times import stamp
from ..editing.change import Change, apply, record_change
from ..errors import BitepointError, EditRefused
from ..session.history import Entry
from .coverage import Coverage
from .grades import TableVisits, Visits, visits_text
from .replay import Replay
from .trust import Level, same_digest, trust

if TYPE_CHECKING:
    from .recording import Recording

MOST_BYTES = 900_000
"""Longest text of visits: an item of the record holds a mebibyte."""
MOST_STATES = 2_000
"""Earlier states of a set that are looked at for the one that was in the vehicle."""


def recorded_drive(
    replayed: Replay,
    covered: Mapping[str, Coverage],
    recording: Recording,
    *,
    by: str,
    stated: bool = False,
    tables: Iterable[str] | None = None,
    now: datetime | None = None,
) -> Drive:
    """Return the drive that a recording is, with the values that were in the vehicle.

    Parameters
    ----------
    replayed : Replay
        Of the set that was in the vehicle, along the recording.
    covered : mapping of table id to Coverage
        `calib_model.evidence.coverage.coverage` of that replay.
    recording : Recording
    by : str
        Who adds it.
    stated : bool
        Whether that person vouches that this set was in the vehicle, where the recording does
        not say.
    tables : iterable of str, optional
        Ids of the tables to keep visits of; all by default.

    Raises
    ------
    EditRefused
        If the recording is of another set, or does not say and nobody vouches; if the replay does
        not agree with the controller's own signals in it; if nobody is named; if the visits are
        too many for the record.
    """
    found = trust(replayed, recording.vehicle_set_digest)
    same = found.same_set
    if same is False:
        raise EditRefused(
            f"{recording.name} was driven with another set "
            f"({recording.vehicle_set_digest[:16]}, not {replayed.digest[:16]}).",
            "Open the set that was in the vehicle, or the state of this one that was.",
        )
    if same is None and not stated:
        raise EditRefused(
            f"{recording.name} does not say which set was in the vehicle.",
            "State that it was this one, if you know.",
        )
    if found.level is Level.FAILS:
        raise EditRefused(
            f"{recording.name} proves nothing. {found.words}", "Mend that, and replay it again."
        )
    return _drive(
        replayed,
        covered,
        Drive(
            source="recording",
            name=recording.name,
            sha256=recording.sha256,
            date=recording.start,
            by=by,
            time=stamp(now),
        ),
        stated=same is None,
        match=str(found.level),
        tables=tables,
    )


def desk_drive(
    replayed: Replay,
    covered: Mapping[str, Coverage],
    name: str,
    *,
    by: str,
    tables: Iterable[str] | None = None,
    now: datetime | None = None,
) -> Drive:
    """Return the drive that a desk manoeuvre is.

    Parameters
    ----------
    replayed : Replay
        Of the set that was driven at the desk, along the manoeuvre's ticks.
    covered : mapping of table id to Coverage
    name : str
        Of the manoeuvre.
    by : str

    Raises
    ------
    EditRefused
        If nobody is named, or the visits are too many for the record.
    """
    made = Drive(source="manoeuvre", name=name, by=by, time=stamp(now))
    return _drive(replayed, covered, made, stated=False, tables=tables)


def _drive(
    replayed: Replay,
    covered: Mapping[str, Coverage],
    made: Drive,
    *,
    stated: bool,
    tables: Iterable[str] | None,
    match: str = "",
) -> Drive:
    if not made.by.strip():
        raise EditRefused("A drive needs a name.", "Say who adds it.")
    wanted = set(covered) if tables is None else set(tables)
    visits = {
        id: _visits(replayed, one) for id, one in covered.items() if id in wanted and one.used.any()
    }
    text = visits_text(Visits(visits, stated, match))
    if len(text) > MOST_BYTES:
        raise EditRefused(
            f"What {made.name} visited is too much for the record ({len(visits)} tables).",
            "Choose the tables that were edited.",
        )
    seconds = float(replayed.valid.sum() * replayed.ticks.tick_s)
    return replace(
        made,
        by=made.by.strip(),
        set_digest=replayed.digest,
        seconds=round(seconds, 3),
        visits=text,
    )


def _visits(replayed: Replay, one: Coverage) -> TableVisits:
    table = replayed.content[one.table_id]
    cells = {}
    flat = np.flatnonzero((one.dwell > 0) & np.isfinite(table.values))
    for cell in cell_tuples(flat, table.shape):
        place = tuple(float(a.values[i]) + 0.0 for a, i in zip(table.axes, cell, strict=True))
        cells[place] = (float(one.dwell[cell]), float(one.decided[cell]), float(table.values[cell]))
    axes = tuple((axis.quantity, axis.unit) for axis in table.axes)
    return TableVisits(table.unit, axes, replayed.in_chain(table.id), cells)


def add_drive(content: CalibrationSet, drive: Drive) -> Change:
    """Return the change that keeps a drive in a set's record.

    The same recording (or manoeuvre) with the same set is kept once: the new one replaces it.
    """
    for kept in content.record.drives:
        if (kept.source, kept.name, kept.sha256, kept.set_digest) == (
            drive.source,
            drive.name,
            drive.sha256,
            drive.set_digest,
        ):
            again = replace(drive, id=kept.id)
            return record_change(kept, again, f"Add {drive.name} as evidence again")
    return record_change(None, drive, f"Add {drive.name} as evidence")


def remove_drive(drive: Drive) -> Change:
    """Return the change that takes a drive out of the record."""
    return record_change(drive, None, f"Remove {drive.name} from the evidence")


def set_in_vehicle(
    written: str,
    content: CalibrationSet,
    entries: Sequence[Entry] = (),
    others: Iterable[CalibrationSet] = (),
) -> tuple[CalibrationSet | None, str]:
    """Find the set that was in the vehicle: the one at hand, another, or an earlier state.

    Parameters
    ----------
    written : str
        Its digest, as the recording has it.
    content : CalibrationSet
        The set at hand.
    entries : sequence of Entry
        Its history, oldest first.
    others : iterable of CalibrationSet
        Other sets to look at.

    Returns
    -------
    CalibrationSet or None
        None if it is none of them, or the recording does not say.
    str
        Which it is, in words.
    """
    if not written.strip():
        return None, "The recording does not say which set was in the vehicle."
    if same_digest(written, digest(content)):
        return content, "This very set was in the vehicle."
    for other in others:
        if same_digest(written, digest(other)):
            return other, f"{other.label} was in the vehicle."
    state = content
    for back, entry in enumerate(reversed(entries[-MOST_STATES:]), start=1):
        try:
            state = apply(state, entry.change().inverse())
        except BitepointError:
            break
        if all(edit.get("kind") == "record" for edit in entry.plain.get("edits", ())):
            continue  # the digest covers the content only
        if same_digest(written, digest(state)):
            changes = "change" if back == 1 else "changes"
            return state, f"This set as it was {back} {changes} ago was in the vehicle."
    return None, "None of the sets at hand, nor an earlier state, was in the vehicle."
