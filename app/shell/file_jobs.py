"""Reading and writing sets in the background: what runs in the jobs of `app.shell.files`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError
from calib_model.session import files as session

from .jobs import Control


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


def write(_control: Control, save: session.Save) -> Any:
    """Write a set that a document let go of."""
    return save.run()


def export(_control: Control, content: CalibrationSet, path: Path) -> int:
    """Write every table to a CSV file, and return how many."""
    from calib_model.exchange.csv_tables import write_csv

    write_csv(content, path)
    return len(content)
