"""Opening, saving and closing in the window: background work, prompts and notices around
`calib_model.session.files`."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import QMimeData, QObject

from app.company_in_use import company_in_use
from app.work.jobs import Job
from calib_model.core.plain_file import is_there
from calib_model.errors import BitepointError, FileChanged, ForeignFile
from calib_model.session import files as session
from calib_model.session import recovery
from calib_model.session.document import Document

from .base import Shell
from .file_jobs import drives_among, export, look_at, parted, read, write
from .prompts import Prompts
from .watch import Watch

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
SAMPLE_NAMES = ("larch_normal.h5", "larch_low_grip.h5", "larch_towing.h5")
PRACTICE_NAME = "larch_practice.h5"
SAMPLE_DRIVES = ("larch_highway.h5", "larch_snow_round.csv")
RECORDINGS = (".csv", ".tsv", ".txt", ".mf4", ".mdf", ".parquet")
"""Files that can only be recordings; HDF5 files are taken for sets first."""


class FileWork(QObject):
    """The window's files.

    Parameters
    ----------
    window : Shell
    show_recordings : callable
        Called with the paths of recordings that are to be seen.
    bring_in : callable
        Called with the paths of files whose tables may be brought in.
    """

    def __init__(
        self,
        window: Shell,
        show_recordings: Callable[[list[Path]], None],
        bring_in: Callable[[list[Path]], None],
    ) -> None:
        super().__init__(window)
        self._window, self._show_recordings = window, show_recordings
        self._bring_in = bring_in
        self._desk = window.desk
        self._opening: list[Path] = []
        self._numbers: dict[Path, int] = {}
        """What the sets that are being opened will have (see `Desk.number`)."""
        self._first: Path | None = None
        self._order: list[Path] = []
        self._saving: dict[int, Job] = {}
        self.prompts = Prompts(window)
        self.watch = Watch(window.jobs, self)
        self.watch.found.connect(self._on_outside)

    # -- opening -------------------------------------------------------------------------------

    def ask_open(self) -> None:
        """Let the user choose files and open them."""
        paths = self.prompts.open_paths(self._window.settings.folder)
        if paths:
            self.open(paths)

    def open_samples(self) -> None:
        """Open the sample sets."""
        self._open_shipped(SAMPLE_NAMES)

    def open_practice(self) -> None:
        """Open the sample set with planted mistakes, with the base beside it."""
        self._open_shipped((PRACTICE_NAME,))

    def _open_shipped(self, names: Iterable[str]) -> None:
        there = [SAMPLES / name for name in names if (SAMPLES / name).exists()]
        if there:
            self.open(there)
        else:
            self._desk.tell(f"There are no sample sets in {SAMPLES}.", refused=True)

    def open(self, paths: Iterable[Path]) -> None:
        """Open files in the background; the first of them becomes the set to edit.

        Recordings, told by their names, are opened in Road.
        """
        listed = [Path(path).absolute() for path in paths]
        recordings = [path for path in listed if path.suffix.lower() in RECORDINGS]
        if recordings:
            self._show_recordings(recordings)
            listed = [path for path in listed if path not in recordings]
        if not listed:
            return
        self._first = listed[0]
        for path in listed:
            document = self.document_at(path)
            if document is not None:
                if path == self._first:
                    self._desk.set_current(document)
            elif path not in self._opening:
                self._order = [p for p in self._order if p != path] + [path]
                self._opening.append(path)
                # In the order of asking, not of reading: the first one asked for is A.
                self._numbers[path] = self._desk.free_number(*self._numbers.values())
                self._window.jobs.start(
                    f"Opening {path.name}",
                    read,
                    path,
                    done=partial(self._opened, path),
                    failed=partial(self._open_failed, path),
                    cancellable=True,
                ).ended.connect(partial(self._forget_opening, path))

    def drop(self, paths: Iterable[Path]) -> None:
        """Open dropped files; what holds tables but is no set is offered to be brought in."""
        tables, either, others = parted([Path(path).absolute() for path in paths])
        if others:
            self.open(others)
        if not either:
            if tables:
                self._bring_in(tables)
            return

        def looked(drives: list[Path]) -> None:
            if drives:
                self._show_recordings(drives)
            rest = [path for path in (*tables, *either) if path not in drives]
            if rest:
                self._bring_in(rest)

        self._window.jobs.start(
            f"Looking at {either[0].name}",
            drives_among,
            either,
            done=looked,
            failed=lambda _error: looked([]),
        )

    def open_sample_recordings(self) -> None:
        """Open the recordings that ship with the sample sets."""
        there = [SAMPLES / name for name in SAMPLE_DRIVES if (SAMPLES / name).exists()]
        if there:
            self._show_recordings(there)
        else:
            self._desk.tell(f"There are no sample recordings in {SAMPLES}.", refused=True)

    @property
    def opening(self) -> tuple[Path, ...]:
        """Files that are being opened."""
        return tuple(self._opening)

    def document_at(self, path: Path) -> Document | None:
        """Return the open document of a file."""
        for document in self._desk.documents:
            if document.path is not None and _same_file(document.path, path):
                return document
        return None

    def _forget_opening(self, path: Path) -> None:
        if path in self._opening:
            self._opening.remove(path)
            self._numbers.pop(path, None)
            self._window.refresh_soon()

    def _opened(self, path: Path, stored: Any) -> None:
        number = self._numbers.get(path)
        self._forget_opening(path)
        document = session.document_of(stored, path, self._window.settings.author)
        self.take_in(document, number=number)
        self._window.settings.add_recent(path)
        self._window.settings.folder = path.parent

    def take_in(
        self, document: Document, place: int | None = None, number: int | None = None
    ) -> None:
        """Show an opened document; watch and journal it."""
        recovery.start_journal(document)
        self._desk.add(document, number)
        self._put_in_place(document, place)
        self.watch.add(document)
        if document.path == self._first:
            self._first = None
            self._desk.set_current(document)
        noun = "table" if len(document.content) == 1 else "tables"
        self._desk.tell(f"{document.title} is open: {len(document.content)} {noun}.")

    def _put_in_place(self, document: Document, place: int | None) -> None:
        """List sets in the order they were asked for, not in the order they were read."""
        documents = self._desk.documents
        if place is None:
            if document.path not in self._order:
                return
            rank = self._order.index(document.path)
            later = self._order[rank + 1 :]
            place = next(
                (i for i, other in enumerate(documents) if other.path in later), len(documents)
            )
        if documents.index(document) != place:
            documents.remove(document)
            documents.insert(place, document)
            self._desk.documents_changed.emit()

    def _open_failed(self, path: Path, error: BitepointError) -> None:
        self._forget_opening(path)
        if isinstance(error, ForeignFile):
            # Our own recordings are HDF5 files as well.
            self._window.jobs.start(
                f"Looking at {path.name}",
                look_at,
                path,
                done=lambda _layout: self._show_recordings([path]),
                failed=lambda _none: self._tell_unopened(path, error),
            )
        else:
            self._tell_unopened(path, error)

    def _tell_unopened(self, path: Path, error: BitepointError) -> None:
        other = ("Read it as a recording", lambda: self._show_recordings([path]))
        tables = ("Bring in its tables", lambda: self._bring_in([path]))
        others = (tables, other) if isinstance(error, ForeignFile) else (other,)
        choices = (others if is_there(path) else ()) + (("Close", _nothing),)
        self._window.banners.show_banner(
            f"open {path}", f"{path.name} could not be opened. {error}", *choices
        )
        self._desk.tell(f"{path.name} could not be opened.", refused=True)

    # -- saving --------------------------------------------------------------------------------

    def save(self, document: Document | None = None) -> Job | None:
        """Save a document (the current one) in the background; None if that was called off."""
        document = document or self._desk.current
        if document is None:
            return None
        if document.path is None or document.read_only:
            return self.save_as(document)
        return self._save(document, None)

    def save_as(self, document: Document | None = None) -> Job | None:
        """Save a document under a name that the user chooses."""
        document = document or self._desk.current
        if document is None:
            return None
        folder = self._window.settings.folder
        proposed = document.path or folder / f"{_file_name(document)}.h5"
        path = self.prompts.save_path(proposed)
        if path is None:
            return None
        other = self.document_at(path)
        if other is not None and other is not document:
            self._desk.tell(
                f"{path.name} is open in this window. Close it first, or choose another name.",
                refused=True,
            )
            return None
        return self._save(document, path.absolute())

    def save_all(self) -> None:
        """Save every document with unsaved edits."""
        for document in list(self._desk.documents):
            if document.is_modified:
                self.save(document)

    def _save(self, document: Document, path: Path | None) -> Job | None:
        running = self._saving.get(id(document))
        if running is not None:  # two saves of one file would race for it
            running.wait()
        try:
            save = session.begin_save(document, path)
        except BitepointError as error:
            self._save_failed(document, error)
            return None
        self.watch.pause(document)
        job = self._window.jobs.start(
            f"Saving {save.path.name}",
            write,
            save,
            done=lambda saved: self._saved(document, save, saved),
            failed=lambda error: self._save_failed(document, error),
        )
        self._saving[id(document)] = job
        job.ended.connect(lambda: self._end_save(document, job))
        return job

    def _end_save(self, document: Document, job: Job) -> None:
        if self._saving.get(id(document)) is job:
            del self._saving[id(document)]
        if job.state == "cancelled":
            document.save_failed()
        self.watch.resume(document)

    def _saved(self, document: Document, save: session.Save, saved: Any) -> None:
        session.finish_save(document, save, saved)
        self._window.banners.drop_all(f"file {id(document)}")
        self._window.settings.add_recent(save.path)
        self._window.settings.folder = save.path.parent
        self.watch.add(document)
        self._desk.documents_changed.emit()
        self._desk.tell(f"{save.path.name} is saved.")

    def _save_failed(self, document: Document, error: BitepointError) -> None:
        document.save_failed()
        if isinstance(error, FileChanged):
            self._outside_banner(document)
            self._desk.tell(
                f"{document.title} was not saved, for another program changed it meanwhile. "
                "Choose above what to do (Ctrl+F6).",
                refused=True,
            )
            return
        self._window.banners.show_banner(
            f"file {id(document)} save",
            f"{document.title} was not saved; your edits are kept here. {error}",
            ("Try again", lambda: _drop(self.save(document))),
            ("Save as…", lambda: _drop(self.save_as(document))),
            ("Close", _nothing),
        )
        self._desk.tell(f"{document.title} was not saved.", refused=True)

    # -- closing -------------------------------------------------------------------------------

    def close(self, document: Document | None = None) -> bool:
        """Close a document (the current one); False if the user stays."""
        document = document or self._desk.current
        if document is None or not self._may_close(document):
            return False
        self._let_go(document)
        return True

    def may_close_all(self) -> bool:
        """Ask about every document with unsaved edits; False if the user stays."""
        return all(self._may_close(document) for document in list(self._desk.documents))

    def let_go(self) -> None:
        """Close every document without asking."""
        self._desk.set_current(None)  # or each in turn would become current, and be checked
        for document in list(self._desk.documents):
            self._let_go(document)

    def _may_close(self, document: Document) -> bool:
        running = self._saving.get(id(document))
        if running is not None:
            running.wait()
        if not document.is_modified:
            return True
        self._desk.set_current(document)
        answer = self.prompts.save_first(document.title, max(len(document.pending), 1))
        if answer == "discard":
            return True
        if answer == "cancel":
            return False
        job = self.save(document)
        if job is None:
            return False
        job.wait()
        return job.state == "done" and not document.is_modified

    def _let_go(self, document: Document) -> None:
        self.watch.remove(document)
        recovery.end_journal(document)
        self._window.banners.drop_all(f"file {id(document)}")
        self._desk.remove(document)

    # -- read-only, outside changes --------------------------------------------------------------

    def show_read_only(self) -> None:
        """Show or hide the notice that the current set is read-only."""
        document = self._desk.current
        banners = self._window.banners
        if document is None or not document.read_only:
            banners.drop("read-only")
            return
        text = (
            f"{document.title} is open read-only: its file or folder may not be written to. "
            "Save a copy to edit it."
        )
        shown = banners.banners.get("read-only")
        if shown is None or shown.label.text() != text:
            banners.show_banner(
                "read-only", text, ("Save a copy…", lambda: _drop(self.save_as(document)))
            )

    def show_journal(self) -> None:
        """Say so when edits cannot be recorded for recovery, and when they can be again."""
        document = self._desk.current
        if document is None:
            return
        key = f"file {id(document)} journal"
        problem = recovery.journal_problem(document)
        if not problem:
            self._window.banners.drop(key)
        elif key not in self._window.banners.banners:
            self._window.banners.show_banner(
                key,
                f"{document.title}: {problem} Save often until this is solved.",
                ("Save", lambda: _drop(self.save(document))),
                ("Close", _nothing),
            )

    def _on_outside(self, document: Document, state: str) -> None:
        if document not in self._desk.documents:
            return
        key = f"file {id(document)} outside"
        if state == "changed":
            self._outside_banner(document)
        elif state == "gone":
            self._window.banners.show_banner(
                key,
                f"The file of {document.title} was moved or deleted. The set is still open here.",
                ("Save it again", lambda: _drop(self._save(document, None))),
                ("Save as…", lambda: _drop(self.save_as(document))),
                ("Leave it", _nothing),
            )
        else:
            self._window.banners.drop(key)

    def _outside_banner(self, document: Document) -> None:
        edits = len(document.pending)
        loses = (
            f" Reloading discards {edits} unsaved edit{'' if edits == 1 else 's'}." if edits else ""
        )
        self._window.banners.show_banner(
            f"file {id(document)} outside",
            f"{document.title} was changed by another program since it was opened here.{loses}",
            ("Reload", lambda: self.reload(document)),
            ("Keep mine", lambda: self._keep_mine(document)),
            ("Save as…", lambda: _drop(self.save_as(document))),
        )

    def _keep_mine(self, document: Document) -> None:
        session.keep_mine(document)
        self._desk.tell(f"The next save replaces what the other program wrote to {document.title}.")

    def reload(self, document: Document) -> None:
        """Open a document's file anew in its place."""
        if document.path is None:
            return
        edits = len(document.pending)
        if document.is_modified and not self.prompts.confirm(
            f"Reload {document.title} and discard your edits?",
            f"{edits} unsaved edit{' is' if edits == 1 else 's are'} lost. "
            "Save as keeps what you have in another file.",
            "Discard edits and reload",
        ):
            self._outside_banner(document)
            return
        path = document.path
        self._window.jobs.start(
            f"Opening {path.name}",
            read,
            path,
            done=lambda stored: self._reloaded(document, path, stored),
            failed=lambda error: self._open_failed(path, error),
            cancellable=True,
        )

    def _reloaded(self, old: Document, path: Path, stored: Any) -> None:
        if old not in self._desk.documents:
            return
        place = self._desk.documents.index(old)
        was_current = old is self._desk.current
        was_reference = old is self._desk.reference
        table = self._desk.table
        self._let_go(old)
        document = session.document_of(stored, path, self._window.settings.author)
        self.take_in(document, place)
        if was_current:
            self._desk.set_current(document)
            if table is not None:
                self._desk.open_table(table.id)
        if was_reference:
            self._desk.set_reference(document)

    # -- export ----------------------------------------------------------------------------------

    def export_csv(self) -> None:
        """Write every table of the current set to a CSV file."""
        document = self._desk.current
        if document is None:
            return
        name = Path(document.title).stem if document.path else _file_name(document)
        path = self.prompts.export_path(self._window.settings.folder / f"{name}.csv")
        if path is None:
            return
        # Late: most sessions end without an export.
        from app.release.standing import remembered_trust

        self._window.jobs.start(
            f"Exporting {document.title}",
            export,
            document.content,
            path,
            remembered_trust(self._window.settings, company_in_use(self._desk)),
            done=self._desk.tell,
            failed=self._export_failed,
        )

    def _export_failed(self, error: BitepointError) -> None:
        self._window.banners.show_banner(
            "export", f"The export did not finish. {error}", ("Close", _nothing)
        )


def dropped_files(data: QMimeData) -> list[Path]:
    """Return the local files in what is being dragged."""
    if not data.hasUrls():
        return []
    return [Path(url.toLocalFile()) for url in data.urls() if url.isLocalFile()]


def _same_file(a: Path, b: Path) -> bool:
    if a == b:
        return True
    try:
        return a.samefile(b)
    except OSError:
        return False


def _file_name(document: Document) -> str:
    kept = "".join(c if c.isalnum() else "_" for c in document.content.label.lower()).strip("_")
    if re.fullmatch("con|prn|aux|nul|(com|lpt)[0-9]", kept):
        return f"set_{kept}"  # a device on Windows, whatever ending follows
    return kept or "set"


def _nothing() -> None:
    """Only close the notice."""


def _drop(_job: Job | None) -> None:
    """Let a save go on by itself."""
