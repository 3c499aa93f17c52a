"""A desk run into the record of the set that was driven, as evidence of the grade "desk only"."""

from __future__ import annotations

from app.desk import Desk
from app.desk_evidence import LawRun, evidence_of
from app.driving.shapes import DeskRun
from app.work.control import Control
from app.work.jobs import Jobs
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Drive
from calib_model.errors import BitepointError
from calib_model.evidence.drives import add_drive


def record(
    desk: Desk,
    jobs: Jobs,
    by: str,
    name: str,
    driven: CalibrationSet | None,
    run: DeskRun | None,
) -> None:
    """Keep a finished run in the current set's record.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    by : str
        Who records it.
    name : str
        Of the manoeuvre.
    driven : CalibrationSet or None
        The set that the run was driven with.
    run : DeskRun or None
    """
    document = desk.current
    if document is None or run is None or driven is None:
        desk.tell("Drive the manoeuvre with an open set first (Ctrl+F11).", refused=True)
        return
    if driven is not document.content:
        desk.tell("The set was changed since this run; it is driven again first.", refused=True)
        return
    if run.result is None or run.vehicle is None or not run.completed:
        why = run.why or "It was not driven to its end."
        desk.tell(f"This run is no evidence. {why}", refused=True)
        return

    def done(made: Drive) -> None:
        if desk.current is not document:
            desk.tell("Another set is being edited by now; nothing was noted.", refused=True)
        elif desk.do(lambda: add_drive(document.content, made)):
            desk.tell(f"{made.name} is noted as evidence, desk only: {made.seconds:.1f} s.")

    def failed(error: BitepointError) -> None:
        desk.tell(str(error), refused=True)

    trace = run.result.trace
    jobs.start(
        f"Noting what {name} visited",
        _drive_of,
        driven,
        f"{name} ({run.vehicle.name.split(',')[0]})",
        LawRun(trace.time, trace.inputs, trace["law_torque"], trace.tick, run.vehicle.constants),
        by,
        done=done,
        failed=failed,
    )


def _drive_of(_control: Control, driven: CalibrationSet, name: str, law: LawRun, by: str) -> Drive:
    return evidence_of(driven, name, law, by)
