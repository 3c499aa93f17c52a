"""Journals of open documents, and what they recover after a crash."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from ..core.calibration_set import CalibrationSet
from ..core.plain_file import is_there
from ..editing.change import Change, apply, change_from_plain, change_to_plain
from ..editing.difference import change_between
from ..errors import BitepointError, FileProblem, ModelError
from ..store import HistoryColumns, Journal, read_set
from .document import Document
from .file_state import FileState, is_read_only
from .history import HistoryLike, describe_change

if TYPE_CHECKING:
    from ..store import Leftover


def columns_of(history: HistoryLike) -> HistoryColumns:
    """Return a history in the form that files keep."""
    if isinstance(history, HistoryColumns):
        return history
    return HistoryColumns().with_entries(history.entries())


def start_journal(document: Document) -> None:
    """Journal a document's edits from now on; nothing is written before the first edit."""
    if document.journal is not None:
        return

    state = document.stored
    document.journal = Journal.start(
        document.path,
        state.stamp if state is not None else None,
        document.content,
        columns_of(document.history),
        state.records if state is not None else (),
    )


def end_journal(document: Document) -> None:
    """Remove the journal: the document is closed on purpose."""
    if isinstance(document.journal, Journal):
        document.journal.close()
    document.journal = None


def journal_problem(document: Document) -> str:
    """Return why edits are not being recorded; empty if they are."""
    problem = getattr(document.journal, "problem", "")
    return problem if isinstance(problem, str) else ""


def journal_folder(document: Document) -> str:
    """Return where the recovery copy of a document's unsaved edits lies; empty if there is none."""
    folder = getattr(document.journal, "folder", None)
    return str(folder) if folder is not None else ""


# -- after a crash ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Recovered:
    """What a left-over journal holds, put together.

    Parameters
    ----------
    base : StoredSet
        The state the edits start from.
    changes : tuple of Change
        The edits, oldest first.
    content : CalibrationSet
        The state after them.
    problem : str
        Why some of the last edits could not be brought back; empty if all were.
    """

    base: Any
    changes: tuple[Change, ...]
    content: CalibrationSet
    problem: str = ""


def put_together(leftover: Leftover) -> Recovered:
    """Read what a left-over journal holds; may run in any thread.

    Raises
    ------
    FileProblem
        If the copy of the state cannot be read.
    """
    base, records, _ = leftover.load()
    content, kept, problem = base.set, list[Change](), ""
    for number, record in enumerate(records):
        try:
            if set(record) == {"reason"}:
                _give_reason(kept, record)
                continue
            change = change_from_plain(record)
            content = apply(content, change)
        except (BitepointError, TypeError) as error:
            left = len(records) - number
            problem = f"The last {left} edits could not be brought back: {error}"
            break
        if kept and _takes_back(change, kept[-1]):
            kept.pop()
        else:
            kept.append(change)
    return Recovered(base, tuple(kept), content, problem)


def _takes_back(change: Change, last: Change) -> bool:
    """Tell whether a change is the undoing of the last one: neither is offered for undo then."""
    if change.title != f"Undo {last.title}":
        return False
    return bool(change_to_plain(last.inverse())["edits"] == change_to_plain(change)["edits"])


def _give_reason(changes: list[Change], record: Mapping[str, Any]) -> None:
    reason = record["reason"]
    if not isinstance(reason, str):
        raise ModelError("A recorded reason is damaged.")
    if changes:
        changes[-1] = replace(changes[-1], reason=reason)


def recovered_document(leftover: Leftover, found: Recovered, author: str = "") -> Document:
    """Return a document with the edits as unsaved, undoable ones.

    The original file is not written to.  If another program changed it since, the next save
    notices and asks.
    """
    path = leftover.path
    document = Document(found.base.set, path, author=author)
    document.history = found.base.history
    document.stored = FileState(found.base.file_stamp, tuple(found.base.records))
    document.recovered(list(found.changes))
    document.journal = leftover.adopt(found.base)
    # Only now: edits could not have been brought into a read-only document.
    document.read_only = path is not None and is_there(path) and is_read_only(path)
    return document


def recover(leftover: Leftover, author: str = "") -> Document:
    """Return a document with the edits that a crashed process left behind.

    Raises
    ------
    FileProblem
        If they cannot be read.
    """
    return recovered_document(leftover, put_together(leftover), author)


def compare_words(leftover: Leftover, found: Recovered) -> list[str]:
    """Say in words how the recovered state differs from the file as it is now.

    May run in any thread.
    """
    lines = []
    now, said = found.base.set, "as it was when the edits began"
    if leftover.path is not None and is_there(leftover.path):
        try:
            now, said = read_set(leftover.path).set, "as it is now"
        except FileProblem as error:
            lines.append(f"The file cannot be read now: {error}")
    difference = change_between(now, found.content, "Difference", record=True)
    if difference.is_empty:
        lines.append(f"The recovered set is the same as the file {said}.")
    else:
        count = len(difference.tables)
        noun = "table differs" if count == 1 else "tables differ"
        lines.append(f"{count} {noun} from the file {said} (file → recovered):")
        lines.extend(describe_change(difference, found.content))
    if found.problem:
        lines.append(found.problem)
    return lines
