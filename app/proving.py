"""Prove a complaint by a recording, in the background; the window's side of `evidence.proof`."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.vehicle_constants import ConstantsOf
from app.work.control import Control
from calib_model.controller.binding import bind
from calib_model.core.plain_file import open_plain
from calib_model.errors import BitepointError, EditRefused
from calib_model.evidence.mapping import suggest
from calib_model.evidence.proof import not_a_proof, proof
from calib_model.evidence.reading import read_recording
from calib_model.evidence.replay import replay
from calib_model.evidence.ticks import on_ticks

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.core.record import Complaint
    from calib_model.editing.change import Change
    from calib_model.evidence.recording import Recording
    from calib_model.evidence.replay import Replay


@dataclass(frozen=True, eq=False)
class RunFile:
    """A recording's file, and how it is to be read.

    Parameters
    ----------
    path : Path
    mapping : ChannelMap or None
        None for the channels that are known by their names.
    layout : object
        How a text file is laid out, where that is known.
    """

    path: Path
    mapping: Any = None
    layout: Any = None


def heard_file(complaint: Complaint, folders: Iterable[Path]) -> Path | None:
    """Return the recording that a complaint is heard in, if one of some folders holds it."""
    if not complaint.recording or Path(complaint.recording).name != complaint.recording:
        return None
    for folder in folders:
        path = folder / complaint.recording
        if path.is_file() and digest_of(path) == complaint.sha256:
            return path
    return None


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file; empty if it cannot be read."""
    try:
        with open_plain(path) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def proof_by(
    control: Control,
    content: CalibrationSet,
    complaint: Complaint,
    run: RunFile,
    heard: RunFile | None,
    whose: ConstantsOf,
    moment: float | None,
    note: str,
) -> Change:
    """Read and replay a recording, and return the change that proves a complaint by it.

    Raises
    ------
    BitepointError
        If it is no proof, or cannot be read.
    """
    try:
        recording, replayed = _replayed(control, content, run, whose)
    except BitepointError as problem:
        why = not_a_proof(run.path.name, "it cannot be replayed")
        raise EditRefused(why, str(problem)) from None
    along = None
    if heard is not None:
        with contextlib.suppress(BitepointError):  # the proof says that it was not at hand
            along = _replayed(control, content, heard, whose)[1]
    return proof(complaint, replayed, recording, note=note, moment=moment, heard=along)


def _replayed(
    control: Control, content: CalibrationSet, run: RunFile, whose: ConstantsOf
) -> tuple[Recording, Replay]:
    control.check()
    recording = read_recording(run.path, run.layout)
    chosen = run.mapping if run.mapping is not None else suggest(recording)
    constants = whose.read()
    control.check()
    if len(chosen):
        ticks = on_ticks(recording, chosen, constants, bind(content, constants).tick_s)
        if ticks.valid.any():
            return recording, replay(content, ticks, constants)
    raise EditRefused(
        f"{run.path.name}: What the controller reads is not recorded in it.",
        "Open it in Recordings, and say there which channel gives what.",
    )
