"""Ask the reading process for a recording: what it looks like, or its columns."""

from __future__ import annotations

import hashlib
import os
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from ...core.plain_file import open_plain
from ...errors import DamagedFile, FileProblem
from ...store.launch import Child
from ...store.message import BrokenMessage, read_header
from .layout import Layout, UnclearLayout, layout_from_plain

TIME_LIMIT = 120.0
"""Seconds; a recording of a few hundred megabytes takes under ten."""
MAX_FILE_BYTES = 2 << 30
INSTALL = (
    'Install it into Bitepoint\'s environment: python -m pip install "asammdf>=8,<9" "pyarrow>=17" '
    '(the extra "recordings").'
)
_MODULE = "calib_model.evidence.reading.child"


def kind_of(path: Path) -> tuple[str, os.stat_result]:
    """Tell a recording's format by its first bytes.

    Raises
    ------
    FileProblem
        If it cannot be opened, or is no file that may hold a recording.
    """
    try:
        with open_plain(path) as file:
            found, head = os.fstat(file.fileno()), file.read(16)
    except FileNotFoundError:
        raise FileProblem(path, "", "There is no such file.", "Check the name.") from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileProblem(
            path, "", f"It cannot be opened ({reason}).", "Name a recording."
        ) from None
    if not head:
        raise FileProblem(path, "", "The file is empty.", "Check the name.")
    if found.st_size > MAX_FILE_BYTES:
        raise FileProblem(
            path, "", f"It is {found.st_size >> 20} MiB large; at most "
            f"{MAX_FILE_BYTES >> 20} MiB are read.", "Cut the recording in parts.",
        )  # fmt: skip
    if head.startswith(b"\x89HDF\r\n\x1a\n"):
        return "HDF5", found
    if head.startswith((b"MDF     ", b"UnFinMF ")):
        return "MDF 4", found
    if head.startswith(b"PAR1"):
        return "Parquet", found
    return "CSV", found


class Answer:
    """The reading process at work on one recording.

    Parameters
    ----------
    path : Path
    columns : bool
        Whether columns are wanted, not only the layout.
    layout : Layout, optional
        What the user confirmed.
    hints : mapping
        What the user said: encoding, separator, decimal, time, time_unit.
    seconds : float
        Time limit.
    """

    def __init__(
        self,
        path: Path,
        *,
        columns: bool,
        layout: Layout | None,
        hints: Mapping[str, str | None],
        seconds: float,
    ) -> None:
        self.path = path
        self.kind, self.stat = kind_of(path)
        try:
            self._child = Child(seconds, module=_MODULE)
        except OSError as error:
            raise FileProblem(
                path, "", f"No process to read it could be started ({error}).",
                "Close other programs.",
            ) from None  # fmt: skip
        self._child.ask(
            path, kind=self.kind, size=self.stat.st_size, columns=columns, hints=dict(hints),
            layout=None if layout is None else layout.to_plain(),
        )  # fmt: skip

    def __enter__(self) -> Answer:
        return self

    def __exit__(self, *_: object) -> None:
        self._child.end()

    def layout(self) -> Layout:
        """Wait for the layout.

        Raises
        ------
        FileProblem
        """
        try:
            return layout_from_plain(self.path, self._header().get("layout"))
        except ValueError:
            raise self._broken("a wrong answer") from None

    def headers(self) -> Iterator[dict[str, Any]]:
        """Yield the headers that follow, up to the end; buffers are read with `fill`.

        Raises
        ------
        FileProblem
        """
        while True:
            header = self._header()
            yield header
            if "end" in header:
                return

    def fill(self, view: memoryview[Any]) -> None:
        """Fill a buffer.

        Raises
        ------
        FileProblem
        """
        if self._child.read_into(view) != len(view):
            raise self._broken("it ended early")

    def _header(self) -> dict[str, Any]:
        try:
            header = read_header(self._child.read)
        except (BrokenMessage, OSError) as error:
            raise self._broken(str(error)) from None
        if header is None:
            raise self._broken("it ended early")
        if "error" in header:
            raise self._problem(header)
        return header

    def _problem(self, header: Mapping[str, Any]) -> FileProblem:
        kind, place, problem, remedy = (
            str(header.get(k, ""))[:2000] for k in ("error", "place", "problem", "remedy")
        )
        if kind == "unclear":
            choices = header.get("choices")
            chosen = [str(c) for c in choices] if isinstance(choices, list) else []
            return UnclearLayout(self.path, str(header.get("what", "")), chosen, problem, remedy)
        if kind == "refused":
            remedy = INSTALL if remedy == "missing" else remedy
            damaged = "damaged" in problem or "wrong" in problem
            return (DamagedFile if damaged else FileProblem)(self.path, place, problem, remedy)
        return FileProblem(
            self.path, "", f"Reading it failed ({problem}).",
            "Export the recording again; if that does not help, in another format.",
        )  # fmt: skip

    def _broken(self, reason: str) -> FileProblem:
        status = self._child.status()
        if self._child.timed_out:
            return DamagedFile(
                self.path, "", "Reading it took too long and was stopped; it may be damaged.",
                "Restore it from a backup, export it again, or copy it to a local drive.",
            )  # fmt: skip
        if status < 0:
            reason = f"signal {-status}"
        return DamagedFile(
            self.path, "", f"Reading it ended the reading process ({reason}).",
            "Restore it from a backup, or export the recording again.",
        )  # fmt: skip

    def broken(self) -> FileProblem:
        """Return the error for an answer that makes no sense."""
        return self._broken("a wrong answer")

    def check_unchanged(self) -> None:
        """Raise FileProblem if somebody wrote to the file meanwhile."""
        try:
            now = self.path.stat()
        except OSError:
            now = None
        old = self.stat
        if now is None or (now.st_size, now.st_mtime_ns) != (old.st_size, old.st_mtime_ns):
            raise FileProblem(
                self.path, "", "It changed while it was read.", "Try again when it is at rest."
            )


class Digest:
    """SHA-256 of a file, worked out beside the reading process."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._sum = hashlib.sha256()
        self._stop = threading.Event()
        self._error: OSError | None = None
        self._thread = threading.Thread(target=self._run, name="sum of a recording")
        self._thread.start()

    def _run(self) -> None:
        try:
            with open_plain(self._path) as file:
                while not self._stop.is_set() and (data := file.read(1 << 20)):
                    self._sum.update(data)
        except OSError as error:
            self._error = error

    def stop(self) -> None:
        """Give up."""
        self._stop.set()
        self._thread.join()

    def result(self) -> str:
        """Wait for the sum (hex).

        Raises
        ------
        FileProblem
        """
        self._thread.join()
        if self._error is not None:
            raise FileProblem(
                self._path, "", f"It cannot be read ({self._error}).", "Check the drive."
            )
        return self._sum.hexdigest()
