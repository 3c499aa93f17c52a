"""`bitepoint manoeuvre --record`: keep finished desk drives in the set, as desk evidence."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from app.cli.text import listed
from app.desk_evidence import LawRun, evidence_of
from calib_model.errors import EditRefused
from calib_model.evidence.drives import add_drive
from calib_model.session.files import save_document

if TYPE_CHECKING:
    from calib_model.session.document import Document
    from calib_model.vehicle.parameters import Vehicle
    from calib_model.vehicle.runs import Result


def record(
    document: Document, results: Sequence[Result], vehicle: Vehicle, by: str
) -> list[dict[str, Any]]:
    """Keep what finished in the document's record, and save it; say of each what became of it."""
    said: list[dict[str, Any]] = []
    for result in results:
        trace, kept = result.trace, False
        name = f"{result.manoeuvre.name} ({vehicle.name})"
        words = f"It did not end as meant: {result.why}"
        if result.completed:
            run = LawRun(
                trace.time, trace.inputs, trace["law_torque"], trace.tick, vehicle.constants
            )
            try:
                drive = evidence_of(document.content, name, run, by)
            except EditRefused as refusal:
                words = str(refusal)
            else:
                document.do(add_drive(document.content, drive))
                kept, words = True, f"{drive.seconds:g} s, desk only"
        said.append({"name": result.name, "kept": kept, "words": words})
    if any(one["kept"] for one in said):
        save_document(document)
    return said


def record_words(said: Sequence[dict[str, Any]]) -> str:
    """Return what became of the drives, for reading."""
    rows = [
        (one["name"], one["words"] if one["kept"] else f"not kept. {one['words']}") for one in said
    ]
    return "Kept in the set as evidence\n" + listed(rows)
