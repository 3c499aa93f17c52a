"""Whether a recording shows that a complaint is gone.

A proof is a run of the very set that is said to mend the complaint, and it comes to the operating
region in which the complaint was heard.  Anything else is a recording, but no proof.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Never

import numpy as np

from ..core.arrays import BoolArray
from ..core.numbers import short
from ..core.record import Complaint
from ..editing.change import Change
from ..errors import EditRefused
from ..session.complaints import proved
from .bins import bins_of
from .trust import Level, Trust, trust

if TYPE_CHECKING:
    from .recording import Recording
    from .replay import Replay

AROUND = 10.0
"""Seconds around the named moment in which the operating region has to be reached."""
NEAR = 1
"""Breakpoints by which a moment may lie beside the one complained about, along each axis."""


def proof(
    complaint: Complaint,
    replayed: Replay,
    recording: Recording,
    *,
    note: str = "",
    moment: float | None = None,
    heard: Replay | None = None,
) -> Change:
    """Return the change that proves a complaint by a recording.

    Parameters
    ----------
    complaint : Complaint
    replayed : Replay
        Of the set at hand along the recording.
    recording : Recording
    note : str
        What the run shows.
    moment : float, optional
        Seconds into the recording; by default where it first comes to the region.
    heard : Replay, optional
        Of the set at hand along the recording that the complaint is heard in.  Without it the
        region is known by the tables concerned alone, and the proof says so.

    Raises
    ------
    EditRefused
        If it is no proof, with the reason; or see `calib_model.session.complaints.proved`.
    """
    name = recording.name
    found = trust(replayed, recording.vehicle_set_digest)
    why = _another_set(found)
    if why:
        _refuse(name, why, "Drive the set as it is now, and name that run.")
    time = replayed.ticks.time
    ran = replayed.valid
    if moment is not None:
        _require_moment(name, moment, float(time[-1]), ran, time)
    region, said = _region(complaint, replayed, heard)
    reached = region & ran
    if moment is not None:
        reached &= np.abs(time - moment) <= AROUND
    if not reached.any():
        near = f" within {AROUND:g} s of {short(moment, 5)} s" if moment is not None else ""
        _refuse(
            name,
            f"it does not come{near} to where {said}",
            "Name a run, and a moment of it, that does.",
        )
    at = float(time[int(np.argmax(reached))]) if moment is None else moment
    doubts = [note.strip()]
    if found.same_set is None:
        doubts.append("That this set was in the vehicle is known by the replay, which agrees.")
    if heard is None and complaint.recording:
        doubts.append(f"{complaint.recording} could not be replayed to compare with.")
    return proved(
        complaint,
        " ".join(filter(None, doubts)),
        recording=name,
        sha256=recording.sha256,
        moment=at,
    )


def not_a_proof(name: str, why: str) -> str:
    """Say that a recording is no proof."""
    return f"{name} is not a proof, because {why.rstrip('.')}."


def _refuse(name: str, why: str, remedy: str) -> Never:
    raise EditRefused(not_a_proof(name, why), remedy)


def _another_set(found: Trust) -> str:
    """Return why the recording is not one of the set at hand; empty if it is."""
    if found.same_set is False:
        return (
            f"another set was in the vehicle ({found.vehicle_digest[:16]}, not "
            f"{found.set_digest[:16]})"
        )
    if found.level is Level.FAILS:
        return "the replay of this set does not agree with the controller's own signals in it"
    if found.same_set is None and found.level is not Level.AGREES:
        return (
            "it does not say which set was in the vehicle, and its signals do not show that it "
            f"was this one ({found.level})"
        )
    return ""


def _require_moment(name: str, moment: float, end: float, ran: BoolArray, time: np.ndarray) -> None:
    if not 0 <= moment <= end:  # no number is neither
        _refuse(
            name,
            f"{short(moment, 6)} s is not in it: it ends at {short(end, 6)} s",
            "Give seconds from its start.",
        )
    if not ran[int(np.argmin(np.abs(time - moment)))]:
        _refuse(
            name,
            f"its inputs are not known at {short(moment, 6)} s",
            "Name a moment at which they are.",
        )


def _region(complaint: Complaint, replayed: Replay, heard: Replay | None) -> tuple[BoolArray, str]:
    """Return the ticks in the complaint's operating region, and what that region is, in words."""
    content = replayed.content
    tables = [id for id in complaint.tables if id in content.tables]
    if heard is not None and 0 <= complaint.moment <= heard.ticks.time[-1]:
        tick = int(np.argmin(np.abs(heard.ticks.time - complaint.moment)))
        near = np.ones(replayed.valid.shape, dtype=np.bool_)
        told = False
        for id in tables or _deciding(heard, tick):
            if replayed.why_left_out(id) or heard.why_left_out(id):
                continue
            told = True
            for axis, mine, theirs in zip(
                content[id].axes, replayed.points(id), heard.points(id), strict=True
            ):
                wanted = int(bins_of(axis, theirs[tick : tick + 1])[0])
                bins = bins_of(axis, mine)
                near &= (bins >= 0) & (np.abs(bins - wanted) <= NEAR) & (wanted >= 0)
        if told:
            return near, f"it was heard ({complaint.recording} at {short(complaint.moment, 5)} s)"
    chain = [id for id in tables if replayed.decided(id) is not None]
    if chain:
        decided = np.zeros(replayed.valid.shape, dtype=np.bool_)
        for id in chain:
            mask = replayed.decided(id)
            if mask is not None:
                decided |= mask
        labels = " or ".join(content[id].label for id in chain[:3])
        return decided, f"{labels} takes part in deciding"
    return np.ones(replayed.valid.shape, dtype=np.bool_), "its inputs are known"


def _deciding(heard: Replay, tick: int) -> list[str]:
    return list(heard.deciding_at(tick)) if heard.valid[tick] else []
