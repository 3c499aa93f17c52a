"""`bitepoint import TEXT -o SET`: canonical text back to a set file."""

from __future__ import annotations

import getpass
from collections.abc import Sequence
from pathlib import Path

from app.cli.answer import GOOD, Answer, refuse
from app.cli.parser import VerbParser
from app.cli.text import caution, count
from calib_model.core.canonical import digest
from calib_model.core.plain_file import is_there
from calib_model.editing.change import Change, change_to_plain, describe
from calib_model.formats.registry import read_from, readers
from calib_model.store import HistoryColumns, write_set


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "import",
        "Make a set file from canonical text (`bitepoint export --to text`).  The content comes "
        "back to\nthe last digit; name, revision, history and sign-offs are not content.",
        "Exit status: 0 written, 2 could not be done.",
    )
    made.add_argument("text", metavar="TEXT", type=Path, help="file of canonical text")
    made.add_argument(
        "-o", "--out", metavar="SET", type=Path, required=True, help="set file to write; a new one"
    )
    made.add_argument(
        "--from",
        dest="format",
        choices=list(readers()),
        default="",
        help="format to read; by default what the name's suffix says, else text",
    )
    made.add_argument("--name", metavar="TEXT", default="", help="name of the set")
    made.add_argument("--revision", metavar="TEXT", default="", help="revision of the set")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Import a set."""
    given = parser().parse_args(arguments)
    if is_there(given.out):
        refuse(f"{given.out}: There is such a file already.", "Give a new name with -o.")

    read = read_from(given.text, given.format)
    content = read.described(name=given.name or read.name, revision=given.revision or read.revision)
    entry = Change(f"Import from {given.text.name}", describe(content).edits)
    stamped = entry.stamped(_login_name(), "")
    history = HistoryColumns().with_entries([change_to_plain(stamped)])
    write_set(given.out, content, history)
    tables = count(len(content), "table")
    return Answer(
        GOOD, f"Wrote {tables} to {given.out}.\nDigest {digest(content)}\n\n{caution()}\n"
    )


def _login_name() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no such user, or none to ask on this system
        return ""
