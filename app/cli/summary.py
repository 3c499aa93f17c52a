"""`bitepoint summary SET --to html OUT`: the day's summary, or the change note."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import GOOD, Answer, refuse
from app.cli.company import Neighbours, add_against
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution
from app.cli.writing import out_path
from calib_model.reports.change_note import change_note
from calib_model.reports.day_report import day_report
from calib_model.rules.check import check
from calib_model.session.history import Entry
from calib_model.session.since import before_changes
from calib_model.store import write_whole

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.store.reading import StoredSet


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "summary",
        "Write what was done on a day: complaints, edits with their reasons, drives, trials.\n"
        "With --changes write the change note instead: what changed since the last sign-off (or\n"
        "--since), why, and for which complaint.",
        "Exit status: 0 written, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument("--day", metavar="DATE", default="", help="as 2026-02-28; today by default")
    made.add_argument("--changes", action="store_true", help="the change note instead")
    made.add_argument("--since", metavar="SET", type=Path, help="the earlier set, for --changes")
    made.add_argument(
        "--to", nargs=2, metavar=("html", "OUT"), required=True, help="file, replaced if it exists"
    )
    add_against(made)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Write a summary or a change note."""
    given = parser().parse_args(arguments)
    if given.changes and given.day:
        refuse("A change note is not of one day.", "Give one of --day and --changes.")
    if given.since is not None and not given.changes:
        refuse("--since is for the change note.", "Give --changes with it.")
    paths = [given.set, *([given.since] if given.since else []), *given.against]
    out = out_path("summary", given.to, paths)
    day = _day(given.day)
    with (
        SetFiles(paths) as files,
        Neighbours(given.set, alone=given.alone, named=given.against) as neighbours,
    ):
        stored, *rest = files.results()
        found = neighbours.company(stored.set)
    entries = [Entry(plain, True) for plain in stored.history.entries()]
    if given.changes:
        text, what = _changes(given, stored, rest, entries), "the change note"
    else:
        others = neighbours.others(found, [s.set for s in rest])
        text, what = _summary(stored, others, entries, day), f"the summary of {day}"
    assert out is not None, "--to is required"
    write_whole(out, text)
    return Answer(GOOD, f"Wrote {what} to {out}.\n\n{caution()}\n")


def _day(text: str) -> date:
    if not text:
        return date.today()  # noqa: DTZ011  (the day at the desk is meant)
    try:
        return date.fromisoformat(text)
    except ValueError:
        refuse(f"{text!r} is no day.", "Write it as 2026-02-28.")


def _summary(
    stored: StoredSet, others: list[CalibrationSet], entries: list[Entry], day: date
) -> str:
    return day_report(stored.set, entries, day, report=check(stored.set, others))


def _changes(given: Any, stored: StoredSet, rest: list[StoredSet], entries: list[Entry]) -> str:
    if given.since is not None:
        earlier, since = rest[0].set, given.since.name
    else:
        found, since = before_changes(stored.set, entries)
        if found is None:
            refuse(
                f"{given.set}: Its history tells no earlier state.",
                "Name the earlier set: --since SET.",
            )
        earlier = found
    return change_note(stored.set, earlier, since, entries)
