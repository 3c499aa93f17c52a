"""Open, save and recover documents: a set, its file, its history and its journal together.

A save is split, so that it can run in a thread: `begin_save` takes a snapshot, `Save.run` writes
it and touches nothing else, `finish_save` tells the document.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from ..core.plain_file import is_there
from ..errors import FileProblem
from ..store import has_changed, open_file, write_set
from . import recovery
from .document import Document, Snapshot
from .file_state import FileState, is_read_only

if TYPE_CHECKING:
    from ..store import Reading, Saved, SavePoint, StoredSet


def start_reading(path: Path) -> Reading:
    """Start to read a set file in a process of its own."""
    return open_file(path)


def open_document(path: Path | str, author: str = "") -> Document:
    """Open a set file.

    Parameters
    ----------
    path : path-like
    author : str
        Who edits, for the history.

    Raises
    ------
    FileProblem
        If the file cannot be read.
    """
    place = Path(path).absolute()
    return document_of(start_reading(place).result(), place, author)


def document_of(stored: StoredSet, path: Path, author: str = "") -> Document:
    """Return the document for what was read from a file."""
    document = Document(stored.set, path, read_only=is_read_only(path), author=author)
    document.history = stored.history
    document.stored = FileState(stored.file_stamp, tuple(stored.records))
    return document


# -- saving ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Save:
    """One save on its way.

    Parameters
    ----------
    snapshot : Snapshot
    path : Path
    state : FileState
        What the file is expected to be, and the records to keep.
    journal : SavePoint or None
        What the document's journal held when the snapshot was taken.
    """

    snapshot: Snapshot
    path: Path
    state: FileState
    journal: SavePoint | None = None

    def run(self, cancelled: Callable[[], bool] = lambda: False) -> Saved:
        """Write the file; may run in any thread.

        Raises
        ------
        SaveFailed
            The old file is intact; `FileChanged` if another program wrote to it.
        """
        return write_set(
            self.path,
            self.snapshot.content,
            recovery.columns_of(self.snapshot.history),
            expected_stamp=self.state.stamp,
            records=self.state.records,
            journal=self.journal,
            cancelled=cancelled,
        )


def begin_save(document: Document, path: Path | str | None = None) -> Save:
    """Take a snapshot to save; end it with `finish_save` or `Document.save_failed`.

    Parameters
    ----------
    document : Document
    path : path-like, optional
        Another file than the document's; whatever is there is replaced.

    Raises
    ------
    FileProblem
        If there is no path to save to, or the document is read-only.
    """
    target = Path(path).absolute() if path is not None else document.path
    if target is None:
        raise FileProblem(document.title, "", "The set has no file yet.", "Save it under a name.")
    state = document.stored or FileState(None)
    if target != document.path:
        state = replace(state, stamp=None)
    elif document.read_only:
        raise FileProblem(target, "", "It is open read-only.", "Save under another name.")
    point = document.journal.save_point() if document.journal is not None else None
    return Save(document.begin_save(), target, state, point)


def finish_save(document: Document, save: Save, saved: Saved) -> None:
    """Tell a document that its save is done; edits made meanwhile stay pending."""
    document.mark_saved(save.snapshot.content, save.path)
    document.history = saved.history
    document.stored = FileState(saved.file_stamp, save.state.records)
    document.read_only = False
    if save.journal is not None:
        save.journal.saved(save.path, saved, save.snapshot.content, save.state.records)


def save_document(document: Document, path: Path | str | None = None) -> None:
    """Save a document, and wait for it.

    Raises
    ------
    SaveFailed
        The old file is intact and the edits are kept.
    """
    save = begin_save(document, path)
    try:
        saved = save.run()
    except BaseException:
        document.save_failed()
        raise
    finish_save(document, save, saved)


# -- what other programs do --------------------------------------------------------------------


def outside_state(document: Document) -> str:
    """Return what became of the file since it was opened or saved: ``same``, ``changed``, ``gone``.

    May read the file, in a process of its own; may run in any thread.
    """
    return file_state(document.path, document.stored)


def file_state(path: Path | None, state: FileState | None) -> str:
    """As `outside_state`, for a thread that must not touch the document."""
    if path is None or state is None or state.stamp is None:
        return "same"
    if not is_there(path):
        return "gone"

    return "changed" if has_changed(path, state.stamp) else "same"


def keep_mine(document: Document) -> None:
    """Let the next save replace what another program wrote."""
    if document.stored is not None:
        document.stored = replace(document.stored, stamp=None)
