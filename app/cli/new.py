"""`bitepoint new OUT`: make a set file, empty or with another set's tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from app.cli.answer import GOOD, Answer, refuse
from app.cli.making import STATUS
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution, count
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.plain_file import is_there
from calib_model.core.record import EMPTY_RECORD
from calib_model.foreign_text import plain_line
from calib_model.scripting import save_set


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "new",
        "Make a set file: without tables, to be filled with `bitepoint table` or `bitepoint "
        "import`, or with\nthose of another set.",
        STATUS,
    )
    made.add_argument("out", metavar="OUT", type=Path, help="set file to make")
    made.add_argument("--programme", metavar="NAME", help="the vehicle programme it belongs to")
    made.add_argument("--mode", metavar="NAME", help="its drive mode")
    made.add_argument(
        "--base-mode",
        metavar="NAME",
        help="the mode that relations refer to; its own, which makes it the base set, if not given",
    )
    made.add_argument("--name", metavar="TEXT", help="what the set calls itself")
    made.add_argument("--revision", metavar="TEXT", help="such as 1")
    made.add_argument("--description", metavar="TEXT", help="what it is for")
    made.add_argument(
        "--like",
        metavar="SET",
        type=Path,
        help="take over the tables, axes, rules and bindings of another set, not its record and "
        "history; what is not given is as there",
    )
    made.add_argument("--author", metavar="NAME", help="who makes it, for the set's history")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Make a set."""
    given = parser().parse_args(arguments)
    if is_there(given.out):
        refuse(f"{given.out}: There is such a file already.", "Give a new name.")
    if given.like is None:
        if given.mode is None or given.programme is None:
            refuse("A set belongs to a programme and has a mode.", "Add --programme and --mode.")
        content = CalibrationSet(base_mode=given.mode)
    else:
        with SetFiles([given.like]) as files:
            (stored,) = files.results()
        content = replace(stored.set, record=EMPTY_RECORD, revision="", name="")
    fields = ("programme", "mode", "base_mode", "name", "revision", "description")
    about = {key: value for key in fields if (value := getattr(given, key)) is not None}
    content = content.described(**about)
    save_set(content, given.out, author=given.author)
    kind = "the base set" if content.is_base else f"relations refer to {content.base_mode}"
    said = f"Made {given.out}: {content.label}, mode {content.mode}, {kind}, "
    said = plain_line(f"{said}{count(len(content), 'table')}.")
    return Answer(GOOD, f"{said}\n\n{caution()}\n")
