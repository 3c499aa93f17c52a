"""Prove a complaint: its recording is replayed in the background before it counts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from app.desk import Desk
from app.forms import Form
from app.proving import RunFile, heard_file, proof_by
from app.vehicle_in_use import vehicle_in_use
from app.work.jobs import Jobs
from calib_model.core.record import Complaint
from calib_model.editing.change import Change
from calib_model.errors import BitepointError
from calib_model.session.complaints import require_provable

from .forms import ProveForm


def start_proof(
    desk: Desk,
    jobs: Jobs,
    complaint: Complaint,
    form: ProveForm,
    run_wanted: Callable[[str], RunFile | None],
    apply: Callable[[Callable[[], Change], Form], object],
) -> None:
    """Replay what the form names, and prove the complaint by it if it is a proof.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    complaint : Complaint
    form : ProveForm
        Is told how it goes.
    run_wanted : callable
        Returns an open recording's file by its digest.
    apply : callable
        Makes the change that proves it.
    """
    document = desk.current
    if document is None or form.busy:
        return
    try:
        require_provable(complaint)
        run, moment = form.given(run_wanted)
    except BitepointError as refusal:
        form.say(str(refusal), refused=True)
        return
    content = document.content
    form.busy = True
    form.say("Replaying the recording…")

    def done(change: Change) -> None:
        form.busy = False
        if document is not desk.current or document.content is not content:
            form.say("The set was edited meanwhile; nothing was proved.", refused=True)
            return
        apply(lambda: change, form)

    def failed(error: BitepointError) -> None:
        form.busy = False
        form.say(str(error), refused=True)

    jobs.start(
        f"Replaying {run.path.name}",
        proof_by,
        content,
        complaint,
        run,
        _heard(document.path, complaint, run, run_wanted),
        vehicle_in_use(desk).constants,
        moment,
        form.note.text(),
        done=done,
        failed=failed,
    )


def _heard(
    here: Path | None,
    complaint: Complaint,
    run: RunFile,
    run_wanted: Callable[[str], RunFile | None],
) -> RunFile | None:
    """Return the recording that the complaint is heard in: an open one, or one beside."""
    if not complaint.sha256:
        return None
    found = run_wanted(complaint.sha256)
    if found is not None:
        return found
    folders = [run.path.parent, *([here.parent] if here is not None else [])]
    path = heard_file(complaint, folders)
    return RunFile(path) if path is not None else None
