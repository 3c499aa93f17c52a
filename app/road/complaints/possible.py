"""Which steps a complaint can take, which comes next, and which complaint is chosen."""

from __future__ import annotations

from weakref import WeakKeyDictionary

from app.action import NO_SET, READ_ONLY, Needs
from app.desk import Desk
from calib_model.core.record import Complaint, Standing

EDITS = frozenset({"new", "answer", "prove", "drop", "remove"})
"""Steps that change the record."""
NEXT = {
    Standing.OPEN: "answer",
    Standing.ANSWERED: "prove",
    Standing.PROVED: "moment",
    Standing.DROPPED: "drop",
}
"""The step that comes next; of one that is proved, to look at it again."""
STATES = {
    Standing.OPEN: "Open",
    Standing.ANSWERED: "Answered",
    Standing.PROVED: "Proved",
    Standing.DROPPED: "Set aside",
}
"""What each standing is called in the window."""
_CHOSEN: WeakKeyDictionary[Desk, Complaint] = WeakKeyDictionary()


def choose(desk: Desk, complaint: Complaint | None) -> None:
    """Keep which complaint is chosen, for acts that are asked whether they can be done."""
    if complaint is None:
        _CHOSEN.pop(desk, None)
    else:
        _CHOSEN[desk] = complaint


def chosen(desk: Desk) -> Complaint | None:
    """Return the chosen complaint; None for none."""
    return _CHOSEN.get(desk)


def next_step(complaint: Complaint | None) -> str:
    """Return the step that comes next for a complaint; without one, to raise one."""
    return NEXT[complaint.standing] if complaint is not None else "new"


def why_not(desk: Desk, step: str) -> str:
    """Return why a step cannot be taken now, in one sentence; empty if it can."""
    document, complaint = desk.current, chosen(desk)
    if document is None:
        return NO_SET
    if step in EDITS and document.read_only:
        return READ_ONLY
    if step == "new":
        return ""
    if complaint is None:
        return "Choose a complaint in the list first (Ctrl+6)."
    if step == "moment" and not complaint.sha256:
        return f"{complaint.number} names no recording."
    if step == "table" and not complaint.tables:
        return f"{complaint.number} names no table."
    return ""


def can(step: str) -> Needs:
    """Return when a step can be taken."""
    return Needs(lambda desk: not why_not(desk, step), lambda desk: why_not(desk, step))
