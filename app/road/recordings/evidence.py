"""From cells to moments, and from a drive to the record of a set."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from app.desk import Desk
from app.needs import Memory
from app.road.recordings.service import OpenDrive
from app.road.recordings.work import Outcome
from app.work.control import Control
from app.work.jobs import Jobs
from calib_model.core.record import Drive
from calib_model.core.table import Table
from calib_model.errors import BitepointError
from calib_model.evidence.coverage import coverage
from calib_model.evidence.drives import add_drive, recorded_drive

if TYPE_CHECKING:
    from calib_model.evidence.recording import Recording
    from calib_model.evidence.replay import Interval


def stays(
    outcome: Outcome | None, table: Table | None, cell: tuple[int, ...]
) -> tuple[Sequence[Interval] | None, str]:
    """Return the stretches in which a table's lookup used a cell, or None and why not."""
    if outcome is None or table is None:
        return None, ""
    mine = outcome.a.content.tables.get(table.id)
    if mine is None or mine.shape != table.shape:
        return None, "The replay is of another set; it is on its way."
    why = outcome.a.why_left_out(table.id)
    if why:
        return None, why
    return outcome.a.moments_of(table.id, cell), ""


def record(drive: OpenDrive | None, desk: Desk, jobs: Jobs, memory: Memory) -> None:
    """Keep in the set's record what a drive visited, with the values that were in the vehicle."""
    if drive is None or drive.outcome is None or desk.current is None:
        desk.tell("Evidence needs a recording that is replayed through an open set.", refused=True)
        return
    stated = drive.stated is not None
    document = desk.current

    def done(made: Drive) -> None:
        if desk.current is not document:
            desk.tell("Another set is being edited by now; nothing was noted.", refused=True)
        elif desk.do(lambda: add_drive(document.content, made)):
            minutes = made.seconds / 60
            desk.tell(f"{made.name} is noted as evidence: {minutes:.1f} min.")

    def failed(error: BitepointError) -> None:
        desk.tell(str(error), refused=True)

    jobs.start(
        f"Noting what {drive.name} visited",
        _drive_of,
        drive.outcome,
        drive.recording,
        memory.author,
        stated,
        done=done,
        failed=failed,
    )


def _drive_of(
    _control: Control, outcome: Outcome, recording: Recording, by: str, stated: bool
) -> Drive:
    judged = outcome.judged
    covered = (
        outcome.coverage if judged is outcome.a else coverage(judged.content, judged, outcome.ticks)
    )
    return recorded_drive(judged, covered, recording, by=by, stated=stated)
