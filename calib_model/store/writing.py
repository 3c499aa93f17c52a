"""Save a set: whole, verified and atomically."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from ..core.calibration_set import CalibrationSet
from ..core.record_plain import record_to_plain
from ..errors import FileChanged, FileProblem, ModelError, SaveFailed
from .atomic import replace_file, save_failed, target_of
from .encode import encode
from .history import HistoryColumns
from .reading import FileStamp, read_set, read_set_here
from .source import Stamp
from .structure import Misfit


class SaveJournal(Protocol):
    """What saving tells the journal; see `calib_model.store.journal`."""

    def saving(self, content_sha: str) -> None:
        """Note that the file is about to hold this content."""


@dataclass(frozen=True)
class Saved:
    """A finished save.

    Parameters
    ----------
    file_stamp : FileStamp
        To be given as `expected_stamp` to the next save.
    content_sha : str
    history : HistoryColumns
        As it lies in the file now.
    """

    file_stamp: FileStamp
    content_sha: str
    history: HistoryColumns


def image_of(
    content: CalibrationSet,
    history: HistoryColumns | None = None,
    records: Sequence[tuple[str, Mapping[str, Any]]] = (),
) -> tuple[bytes, str]:
    """Return the bytes of a set file, and the hash of its content.

    Parameters
    ----------
    content : CalibrationSet
        Its record is written with it.
    history : HistoryColumns, optional
    records : sequence of (kind, plain data)
        Further items, which this version does not know.

    Raises
    ------
    ModelError
        If the set holds what no file can keep, such as a text that is too long.
    """
    from .hdf5 import make_image

    columns = history.columns() if history is not None else {}
    try:
        everything = [*record_to_plain(content.record), *records]
        return make_image(encode(content, columns, everything))
    except Misfit as misfit:
        raise ModelError(f"The set cannot be kept: {misfit.place} {misfit.problem}") from None


def write_set(
    path: Path | str,
    content: CalibrationSet,
    history: HistoryColumns | None = None,
    *,
    expected_stamp: FileStamp | None = None,
    records: Sequence[tuple[str, Mapping[str, Any]]] = (),
    journal: SaveJournal | None = None,
    backup: bool = True,
    cancelled: Callable[[], bool] = lambda: False,
) -> Saved:
    """Save a set.

    Parameters
    ----------
    path : path-like
        A symbolic link is followed.
    content : CalibrationSet
    history : HistoryColumns, optional
    expected_stamp : FileStamp, optional
        How the file was when it was opened or last saved; if another program wrote to it since,
        it is left alone.  Without it, whatever is there is replaced.
    records : sequence of (kind, plain data)
        Items of the record that this version does not know.
    journal : object with ``saving(content_sha)``, optional
    backup : bool
        Keep the state before beside the file (``NAME.h5.bak``).
    cancelled : callable
        Asked between the steps; True calls the save off.

    Returns
    -------
    Saved

    Raises
    ------
    FileChanged
        If the file is not what `expected_stamp` says.
    SaveFailed
        In every other case where it could not be saved.  The old file is intact.
    """
    given = Path(path)
    target = target_of(given)
    try:
        _require_unchanged(target, expected_stamp)
        image, sha = image_of(content, history, records)
    except ModelError as error:
        raise SaveFailed(given, "", error.problem, error.remedy) from None
    except OSError as error:
        raise save_failed(given, error) from None

    def verify(data: bytes) -> None:
        if data != image:
            raise SaveFailed(
                given, "", "What the disk gave back is not what was written.", "Check the drive."
            )
        try:
            again = read_set_here(data, given)
        except FileProblem as error:
            raise SaveFailed(given, error.place, error.problem, error.remedy) from error
        if again.content_sha != sha:
            raise SaveFailed(given, "", "The file read back is not the set.", "Report this.")

    def before_replace() -> None:
        if cancelled():
            raise SaveFailed(given, "", "Saving was called off; the old file is as it was.")
        _require_unchanged(target, expected_stamp)
        if journal is not None:
            journal.saving(sha)

    stamp = replace_file(target, image, verify=verify, before_replace=before_replace, backup=backup)
    kept = history.packed() if history is not None else HistoryColumns()
    return Saved(FileStamp(*stamp, sha), sha, kept)


def has_changed(path: Path | str, expected: FileStamp) -> bool:
    """Tell whether another program changed a file's content since `expected` was taken.

    A touch or a copy of the same content back is no change.  A file that is gone counts as
    unchanged: saving loses nothing then.
    """
    target = Path(path)
    try:
        if Stamp.of(target.stat()) == expected.stamp:
            return False
    except FileNotFoundError:
        return False
    try:
        return read_set(target).content_sha != expected.content_sha
    except FileProblem:
        return True


def _require_unchanged(path: Path, expected: FileStamp | None) -> None:
    if expected is not None and has_changed(path, expected):
        raise FileChanged(
            path,
            "",
            "Another program changed it since it was opened; nothing was saved.",
            "Save under another name, or open it again.",
        )
