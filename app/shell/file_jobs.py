"""Reading and writing sets in the background: what runs in the jobs of `app.shell.files`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.work.control import Control
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.plain_file import is_there
from calib_model.errors import BitepointError, FileProblem
from calib_model.session import files as session

if TYPE_CHECKING:
    from app.release.standing import Trust

ONLY_TABLES = (".xlsx", ".xlsm", ".ods", ".nc", ".nc4")
"""Files that are neither sets nor recordings; folders are taken like them."""
EITHER = (".csv", ".tsv", ".tab", ".txt")
"""Files that hold tables or a recording: what is in them tells."""


def read(control: Control, path: Path) -> Any:
    """Read a set in a child process."""
    reading = session.start_reading(path)
    control.on_cancel(reading.cancel)
    try:
        return reading.result()
    except BitepointError:
        control.check()  # a cancelled reading ends with an error that nobody needs
        raise


def look_at(_control: Control, path: Path) -> Any:
    """Return what a file looks like as a recording; a BitepointError if it is none."""
    # Late: most sessions open sets only.
    from calib_model.evidence.reading import inspect_recording

    return inspect_recording(path)


def drives_among(control: Control, paths: list[Path]) -> list[Path]:
    """Return the files that are recordings: one of their columns is plainly the time."""
    drives = []
    for path in paths:
        control.check()
        try:
            look_at(control, path)
        except BitepointError:
            continue
        drives.append(path)
    return drives


def parted(paths: Sequence[Path]) -> tuple[list[Path], list[Path], list[Path]]:
    """Return of dropped files those that hold tables only, those that may, and the others."""
    tables = [p for p in paths if p.suffix.lower() in ONLY_TABLES or p.is_dir()]
    either = [p for p in paths if p.suffix.lower() in EITHER and p not in tables]
    return tables, either, [p for p in paths if p not in tables and p not in either]


def write(_control: Control, save: session.Save) -> Any:
    """Write a set that a document let go of."""
    return save.run()


def export(_control: Control, content: CalibrationSet, path: Path, trust: Trust) -> str:
    """Write every table to a CSV file that says if it is not signed off; return what was done.

    The mark may change the name that the user was asked about, so that no file of the marked
    name is replaced.
    """
    # Late: most sessions end without an export.
    from app.release.standing import read_trust
    from calib_model.formats.outgoing import Outgoing
    from calib_model.formats.registry import format_of
    from calib_model.signoff.verification import verify

    outgoing = Outgoing(content, verify(content, read_trust(trust).signers))
    out = outgoing.mark.name(path)
    if out != path and is_there(out):
        remedy = "Choose it as the file to write, or another name."
        raise FileProblem(out, "", "This file is there already.", remedy)
    format_of(out, "csv").write(outgoing, out)
    return f"{len(content)} tables are written to {out}. {outgoing.status}".rstrip()
