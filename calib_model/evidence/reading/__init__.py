"""Read vehicle recordings: CSV, MDF 4, Parquet and our own HDF5, each in a process of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from ..recording import Recording
from .assembly import assembled, received
from .layout import Layout, UnclearLayout
from .source import TIME_LIMIT, Answer, Digest

__all__ = ["Layout", "UnclearLayout", "inspect_recording", "read_recording"]


def inspect_recording(
    path: Path | str,
    *,
    encoding: str | None = None,
    separator: str | None = None,
    decimal: str | None = None,
    time: str | None = None,
    time_unit: str | None = None,
    seconds: float = TIME_LIMIT,
) -> Layout:
    """Find out what a recording looks like, to be shown and confirmed.

    Parameters
    ----------
    path : path-like
    encoding, separator, decimal : str, optional
        Of a CSV file, as its user says.
    time : str, optional
        Name of the time column, or its number counted from 1.
    time_unit : str, optional
        ``s``, ``ms``, ``us``, ``ns``, ``min`` or ``h``.
    seconds : float
        Time limit.

    Raises
    ------
    UnclearLayout
        If only the user can tell; its ``what`` is the argument that takes the answer.
    FileProblem
        If it cannot be read; `DamagedFile` if that is why.
    """
    hints = {
        "encoding": encoding, "separator": separator, "decimal": decimal, "time": time,
        "time_unit": time_unit,
    }  # fmt: skip
    with Answer(Path(path), columns=False, layout=None, hints=hints, seconds=seconds) as answer:
        return answer.layout()


def read_recording(
    path: Path | str,
    layout: Layout | None = None,
    progress: Callable[[float], None] | None = None,
    *,
    seconds: float = TIME_LIMIT,
) -> Recording:
    """Read a recording in a process of its own, and mask what cannot be trusted.

    Parameters
    ----------
    path : path-like
    layout : Layout, optional
        What `inspect_recording` found and the user confirmed; found out if not given.
    progress : callable, optional
        Called with the share that is read; may raise to stop.
    seconds : float
        Time limit.

    Raises
    ------
    UnclearLayout
        If only the user can tell what the file looks like.
    FileProblem
        If it cannot be read; `DamagedFile` if that is why.
    """
    path = Path(path)
    with Answer(path, columns=True, layout=layout, hints={}, seconds=seconds) as answer:
        digest = Digest(path)
        try:
            found = answer.layout()
            collected, words, damage = received(answer, found, progress)
            try:
                recording = assembled(path, found, collected, words, damage)
            finally:
                collected.close()
            answer.check_unchanged()
            return replace(recording, sha256=digest.result())
        finally:
            digest.stop()
