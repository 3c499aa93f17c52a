"""`bitepoint export SET --to csv OUT`: write a set for other programs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from app.cli.answer import GOOD, Answer, refuse
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution, count

SUMMARY = "write a set for other programs"
FORMATS = ("csv",)


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "export",
        "Write a set for other programs.  csv: one row per cell (RFC 4180, UTF-8).",
        "Exit status: 0 written, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument("--to", choices=FORMATS, required=True, help="format to write")
    made.add_argument("out", metavar="OUT", type=Path, help="file to write; replaced if it exists")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Export a set."""
    given = parser().parse_args(arguments)
    if same_file(given.set, given.out):
        refuse(f"{given.out}: This is the set itself.", "Give another file to write to.")
    with SetFiles([given.set]) as files:
        from calib_model.exchange.csv_tables import write_csv

        (stored,) = files.results()
    write_csv(stored.set, given.out)
    return Answer(GOOD, f"Wrote {count(len(stored.set), 'table')} to {given.out}.\n\n{caution()}\n")


def same_file(first: Path, second: Path) -> bool:
    """Whether two paths are one file, or would be."""
    try:
        return first.samefile(second)
    except OSError:  # one of them does not exist, or cannot be looked at
        return first.absolute() == second.absolute()
