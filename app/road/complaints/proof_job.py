"""Prove a complaint: its recording is replayed in the background before it counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from app.proving import RunFile, heard_file, proof_by
from app.vehicle_in_use import vehicle_in_use
from calib_model.core.record import Complaint
from calib_model.editing.change import Change
from calib_model.errors import BitepointError
from calib_model.session.complaints import require_provable

if TYPE_CHECKING:
    from .panel import ComplaintsPanel


def start_proof(panel: ComplaintsPanel, complaint: Complaint) -> None:
    """Replay what the form names, and prove the complaint by it if it is a proof."""
    form, document = panel.prove_form, panel.desk.current
    if document is None or form.busy:
        return
    try:
        require_provable(complaint)
        run, moment = form.given(panel.run_wanted)
    except BitepointError as refusal:
        form.say(str(refusal), refused=True)
        return
    content = document.content
    form.busy = True
    form.say("Replaying the recording…")

    def done(change: Change) -> None:
        form.busy = False
        if document is not panel.desk.current or document.content is not content:
            form.say("The set was edited meanwhile; nothing was proved.", refused=True)
            return
        panel.do(lambda: change, form)

    def failed(error: BitepointError) -> None:
        form.busy = False
        form.say(str(error), refused=True)

    panel.jobs.start(
        f"Replaying {run.path.name}",
        proof_by,
        content,
        complaint,
        run,
        _heard(panel, complaint, run),
        vehicle_in_use(panel.desk).constants,
        moment,
        form.note.text(),
        done=done,
        failed=failed,
    )


def _heard(panel: ComplaintsPanel, complaint: Complaint, run: RunFile) -> RunFile | None:
    """Return the recording that the complaint is heard in: an open one, or one beside."""
    if not complaint.sha256:
        return None
    found = panel.run_wanted(complaint.sha256)
    if found is not None:
        return found
    document = panel.desk.current
    here = document.path if document is not None else None
    folders = [run.path.parent, *([here.parent] if here is not None else [])]
    path = heard_file(complaint, folders)
    return RunFile(path) if path is not None else None
