"""`bitepoint rules SET`: print a set's rule sheet, or apply one."""

from __future__ import annotations

import getpass
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.answer import GOOD, Answer, refuse
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles, same_file
from app.cli.text import caution
from calib_model.core.plain_file import is_there
from calib_model.core.text_file import read_text
from calib_model.editing.change import apply, change_to_plain
from calib_model.rules.sheet import parse_sheet, sheet_text
from calib_model.session.rule_sheet import apply_sheet
from calib_model.store import write_set, write_whole

if TYPE_CHECKING:
    from calib_model.rules.sheet import Sheet
    from calib_model.store.reading import StoredSet

LARGEST_SHEET = 16 << 20  # bytes; about 30,000 tables with several rules each


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "rules",
        "Print the rules, mode relations and bindings of a set as a rule sheet (TOML), or apply a "
        "sheet\nto a set.  A sheet matches tables by id, role or name, with * and ? as wildcards.",
        "Exit status: 0 done, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument("--apply", metavar="SHEET", type=Path, help="rule sheet to apply")
    made.add_argument(
        "-o",
        "--out",
        metavar="OUT",
        type=Path,
        help="file to write: the sheet, or with --apply the set (may be SET itself); "
        "no other file is replaced",
    )
    made.add_argument("--author", metavar="NAME", help="who applies it, for the set's history")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Print or apply a rule sheet."""
    given = parser().parse_args(arguments)
    same = given.out is not None and same_file(given.set, given.out)
    if given.apply is not None and given.out is None:
        refuse("No file to write the set to is given.", f"Add -o OUT, or -o {given.set}.")
    if given.out is not None and is_there(given.out) and not (given.apply and same):
        refuse(f"{given.out}: There is such a file already.", "Give a new name with -o.")
    with SetFiles([given.set]) as files:
        sheet = None if given.apply is None else _read_sheet(given.apply)
        (stored,) = files.results()
    if sheet is not None:
        return _apply(stored, sheet, given.out, same, given.author)
    text = sheet_text(stored.set)
    if given.out is None:
        return Answer(GOOD, text)

    write_whole(given.out, text, new=True)
    return Answer(GOOD, f"Wrote the rule sheet to {given.out}.\n")


def _apply(
    stored: StoredSet, sheet: Sheet, out: Path, in_place: bool, author: str | None
) -> Answer:
    change = apply_sheet(stored.set, sheet)
    if change.is_empty and in_place:
        return Answer(GOOD, f"{change.note}\nNothing to change: {out} is as it was.\n")
    content, history = stored.set, stored.history
    if not change.is_empty:
        change = change.stamped(author if author is not None else _login_name())
        content = apply(content, change)
        history = history.with_entries([change_to_plain(change)])
    write_set(
        out,
        content,
        history,
        expected_stamp=stored.file_stamp if in_place else None,
        records=stored.records,
    )
    return Answer(GOOD, f"{change.note}\nWrote {out}.\n\n{caution()}\n")


def _read_sheet(path: Path) -> Sheet:
    text = read_text(path, "a rule sheet", LARGEST_SHEET)
    return parse_sheet(text, str(path))


def _login_name() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no such user, or none to ask on this system
        return ""
