"""What the verbs share that write a set with one change more."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.answer import GOOD, Answer, refuse
from app.cli.parser import VerbParser
from app.cli.reading import same_file
from app.cli.text import caution
from calib_model.core.people import login_name
from calib_model.core.plain_file import is_there
from calib_model.editing.change import Change, apply, change_to_plain
from calib_model.foreign_text import plain_lines
from calib_model.store import write_set

if TYPE_CHECKING:
    from calib_model.store.reading import StoredSet


def add_out(made: VerbParser) -> None:
    """Add the file to write and who writes it."""
    made.add_argument(
        "-o",
        "--out",
        metavar="OUT",
        type=Path,
        help="set file to write (may be SET itself; no other file is replaced)",
    )
    made.add_argument("--author", metavar="NAME", help="who does it, for the set's history")
    made.add_argument("--reason", metavar="TEXT", default="", help="why, for the set's history")


def require_out(source: Path, out: Path | None) -> Path:
    """Return the file to write; refuse where there is none, or another file would be replaced."""
    if out is None:
        refuse("No file to write the set to is given.", f"Add -o OUT, or -o {source}.")
    if is_there(out) and not same_file(source, out):
        refuse(f"{out}: There is such a file already.", "Give a new name with -o.")
    return out


def written(
    stored: StoredSet, source: Path, out: Path, change: Change, author: str | None, reason: str = ""
) -> Answer:
    """Write a set with a change applied and say so."""
    note = f"{plain_lines(change.note)}\n" if change.note else ""
    if write_change(stored, source, out, change, author, reason) is None:
        return Answer(GOOD, f"{note}Nothing to change: {out} is as it was.\n")
    return Answer(GOOD, f"{note}{plain_lines(change.title)}.\nWrote {out}.\n\n{caution()}\n")


def write_change(
    stored: StoredSet,
    source: Path,
    out: Path | None,
    change: Change,
    author: str | None,
    reason: str = "",
) -> Path | None:
    """Write a set with a change applied and its history longer by one entry.

    Returns the file that was written: None without one, or with nothing to change in place.
    """
    if out is None:
        return None
    in_place = same_file(source, out)
    if change.is_empty and in_place:
        return None
    content, history = stored.set, stored.history
    if not change.is_empty:
        change = change.stamped(author if author is not None else login_name(), reason)
        content = apply(content, change)
        history = history.with_entries([change_to_plain(change)])
    write_set(
        out,
        content,
        history,
        expected_stamp=stored.file_stamp if in_place else None,
        records=stored.records,
    )
    return out
