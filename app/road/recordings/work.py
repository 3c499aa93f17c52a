"""What is done with a recording in the background: pure functions on snapshots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.road.ready import get_ready
from app.road.recordings.layouts import head_key
from app.work.control import Control
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError
from calib_model.evidence.coverage import coverage
from calib_model.evidence.drives import set_in_vehicle
from calib_model.evidence.reading import UnclearLayout, inspect_recording, read_recording
from calib_model.evidence.replay import replay
from calib_model.evidence.ticks import on_ticks
from calib_model.evidence.trust import trust
from calib_model.session.history import entries_of

if TYPE_CHECKING:
    from app.vehicle_constants import ConstantsOf
    from calib_model.evidence.coverage import Coverage
    from calib_model.evidence.mapping import ChannelMap
    from calib_model.evidence.recording import Recording
    from calib_model.evidence.replay import Replay
    from calib_model.evidence.ticks import Ticks
    from calib_model.evidence.trust import Trust

CSV = (".csv", ".tsv", ".txt")
SUFFIXES = (*CSV, ".mf4", ".mdf", ".parquet", ".h5", ".hdf5")
"""Files that may be recordings."""


@dataclass(frozen=True, eq=False)
class Sets:
    """The sets that a recording is replayed through.

    Parameters
    ----------
    a : CalibrationSet
        The set being edited.
    b : CalibrationSet or None
        The reference set.
    history, pending
        Of A's document, held still: an earlier state of A may have been in the vehicle.
    known : tuple of CalibrationSet
        Present and saved states of the open sets, one of which may have been in the vehicle.
    stated : CalibrationSet or None
        What a person says was in the vehicle.
    """

    a: CalibrationSet
    b: CalibrationSet | None = None
    history: Any = None
    pending: tuple[Any, ...] = ()
    known: tuple[CalibrationSet, ...] = ()
    stated: CalibrationSet | None = None

    @property
    def content(self) -> CalibrationSet:
        """A, as `calib_model.session.history.entries_of` asks for it."""
        return self.a


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of replaying a recording.

    Parameters
    ----------
    sets : Sets
    ticks : Ticks
    a, b : Replay
        `b` is None without a reference set.
    judged : Replay
        Of the set that was in the vehicle, if it is known and at hand; else of A.
    trust : Trust
        Of `judged`.
    found : str
        Which set that was, in words.
    coverage : mapping of table id to Coverage
        Of A.
    vehicle : ConstantsOf
        Whose constants the law was given.
    """

    sets: Sets
    ticks: Ticks
    a: Replay
    b: Replay | None
    judged: Replay
    trust: Trust
    found: str
    coverage: Mapping[str, Coverage]
    vehicle: ConstantsOf

    @property
    def counts(self) -> bool:
        """Whether A against B is evidence."""
        return self.trust.counts


def look(control: Control, path: Path, answers: Mapping[str, str]) -> tuple[Any, str]:
    """Return a file's layout, or what is unclear about it, and what tells its source.

    There is no layout where a format needs no look.

    Parameters
    ----------
    control : Control
    path : Path
    answers : mapping of str to str
        What the user says of it: encoding, separator, decimal, time, time_unit.
    """
    text = path.suffix.lower() in CSV
    if not text and not answers:
        return None, ""

    control.check()
    try:
        asked: dict[str, Any] = dict(answers)
        found: Any = inspect_recording(path, **asked)
    except UnclearLayout as doubt:
        found = doubt
    return found, head_key(path) if text else ""


def read(control: Control, path: Path, layout: Any) -> Recording:
    """Read a recording in a child process."""
    return read_recording(path, layout, control.progress)


def replayed(
    control: Control,
    recording: Recording,
    chosen: ChannelMap,
    whose: ConstantsOf,
    sets: Sets,
) -> Outcome:
    """Replay a recording through A and B, and hold the vehicle's own set against its signals."""
    get_ready(control)
    constants = whose.read()
    control.progress(0.05, "To the controller's ticks")
    ticks = on_ticks(recording, chosen, constants)
    control.progress(0.3, "Replaying A")
    a = replay(sets.a, ticks, constants)
    b = None
    if sets.b is not None and sets.b is not sets.a:
        control.progress(0.5, "Replaying B")
        b = replay(sets.b, ticks, constants)
    control.progress(0.7, "Against the vehicle's own signals")
    digest = recording.vehicle_set_digest
    if sets.stated is not None:
        vehicle: CalibrationSet | None = sets.stated
        found = f"{sets.stated.label} is said to have been in the vehicle."
    else:
        vehicle, found = set_in_vehicle(digest, sets.a, _entries(sets), sets.known)
    judged = a
    if vehicle is not None and vehicle is not sets.a:
        judged = b if b is not None and vehicle is sets.b else replay(vehicle, ticks, constants)
    verdict = trust(judged, digest or (judged.digest if sets.stated is not None else ""))
    control.progress(0.9, "Counting cells")
    counted = coverage(sets.a, a, ticks)
    return Outcome(sets, ticks, a, b, judged, verdict, found, counted, whose)


def _entries(sets: Sets) -> list[Any]:
    """Return the history of A; none if it is damaged, which ends what can be known."""
    if sets.history is None:
        return []
    try:
        found = entries_of(sets)  # type: ignore[arg-type]  # it reads history and pending alone
        for entry in found:
            entry.plain.get("edits")  # decoded now, so that damage is known here
        return found
    except BitepointError:
        return []
