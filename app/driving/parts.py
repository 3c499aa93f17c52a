"""Which sets a manoeuvre is driven with, to be held against each other."""

from __future__ import annotations

from dataclasses import dataclass

from app.desk import Desk
from app.driving.looks import NOW, REFERENCE, SAVED, Shown
from app.driving.service import Driving
from app.driving.shapes import DeskRun, VehicleChoice
from calib_model.core.calibration_set import CalibrationSet


@dataclass(frozen=True)
class Part:
    """One set to drive with.

    Parameters
    ----------
    part : str
        ``now``, ``saved`` or ``reference``.
    words : str
    content : CalibrationSet
    """

    part: str
    words: str
    content: CalibrationSet


def parts_of(desk: Desk) -> tuple[Part, ...]:
    """Return the current set as it is now and as saved, and the reference set."""
    document, reference = desk.current, desk.reference
    if document is None:
        return ()
    parts = [
        Part(NOW, f"{document.title} now", document.content),
        Part(SAVED, f"{document.title} as saved", document.saved_content),
    ]
    if reference is not None and reference is not document:
        parts.append(Part(REFERENCE, f"{reference.title} (reference)", reference.content))
    return tuple(parts)


def drive_parts(
    driving: Driving, parts: tuple[Part, ...], manoeuvre: str, vehicle: VehicleChoice
) -> dict[str, DeskRun]:
    """Drive a manoeuvre with every part; from any thread, and nothing is raised."""
    return {p.part: driving.drive_told(p.content, manoeuvre, vehicle) for p in parts}


def to_draw(
    parts: tuple[Part, ...], runs: dict[str, DeskRun], *, saved: bool = True, reference: bool = True
) -> list[Shown]:
    """Return what a plot draws: no run twice, and none that left the model's range.

    The set as it is now comes first: the play head goes by its ticks.
    """
    wanted = {NOW: True, SAVED: saved, REFERENCE: reference}
    drawn: list[Shown] = []
    for part in parts:
        run = runs.get(part.part)
        if run is None or not run.completed or not run.time.size or not wanted[part.part]:
            continue
        if all(run is not shown.run for shown in drawn):
            drawn.append(Shown(part.part, part.words, run))
    return drawn
