"""`bitepoint rules SET`: the rules as a sheet (print, apply), and one by one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.answer import GOOD, Answer, refuse
from app.cli.edits import add_out, require_out, written
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.rule_actions import ACTIONS, WRITES, actions_help, add_choice, change, shown
from calib_model.core.near import nearest
from calib_model.core.plain_file import is_there
from calib_model.core.text_file import read_text
from calib_model.rules.sheet import parse_sheet, sheet_text
from calib_model.session.rule_sheet import apply_sheet
from calib_model.store import write_whole

if TYPE_CHECKING:
    from calib_model.rules.sheet import RuleSheet

LARGEST_SHEET = 16 << 20  # bytes; about 30,000 tables with several rules each


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "rules",
        "Print the rules, mode relations and bindings of a set as a rule sheet (TOML), apply a "
        "sheet to a\nset, or work on single rules with an action.  Tables match by id, role or "
        f"name, with * and ? as wildcards.\n\n{actions_help()}",
        "Exit status: 0 done, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument("action", metavar="ACTION", nargs="?", default="", help="see above")
    made.add_argument("words", metavar="WORDS", nargs="*", help="what the action takes")
    add_choice(made)
    made.add_argument("--apply", metavar="SHEET", type=Path, help="rule sheet to apply")
    made.add_argument(
        "--about",
        action="store_true",
        help="print limits, storage, units and function groups too",
    )
    made.add_argument("--json", action="store_true", help="list, suggest: as JSON")
    add_out(made)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Print or apply a rule sheet, or do an action."""
    given = parser().parse_args(arguments)
    if given.action and given.action not in ACTIONS:
        refuse(f"There is no action {given.action!r}.", nearest(given.action, ACTIONS, "actions"))
    if given.action and given.apply is not None:
        refuse("A sheet is applied without an action.", "Leave one of the two out.")
    writes = given.apply is not None or given.action in WRITES
    writes |= given.action == "start" and given.out is not None
    out = require_out(given.set, given.out) if writes else None
    if out is None and given.out is not None:
        if given.action:
            refuse(f"{given.action} writes no set.", "Leave -o out.")
        if is_there(given.out):
            refuse(f"{given.out}: There is such a file already.", "Give a new name with -o.")
    with SetFiles([given.set]) as files:
        sheet = None if given.apply is None else _read_sheet(given.apply)
        (stored,) = files.results()
    if out is not None:
        made = change(stored.set, given) if sheet is None else apply_sheet(stored.set, sheet)
        return written(stored, given.set, out, made, given.author, given.reason)
    if given.action:
        return Answer(GOOD, shown(stored.set, given))
    text = sheet_text(stored.set, about=given.about)
    if given.out is None:
        return Answer(GOOD, text)
    write_whole(given.out, text, new=True)
    return Answer(GOOD, f"Wrote the rule sheet to {given.out}.\n")


def _read_sheet(path: Path) -> RuleSheet:
    text = read_text(path, "a rule sheet", LARGEST_SHEET)
    return parse_sheet(text, str(path))
