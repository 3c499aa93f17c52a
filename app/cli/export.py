"""`bitepoint export SET --to FORMAT OUT`: write a set for others.

Only a set that is signed off and unchanged leaves without a mark in the file and in its name.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import GOOD, Answer, refuse
from app.cli.company import Neighbours, add_against
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles, same_file
from app.cli.text import caution, count

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.core.record import Trial
    from calib_model.exchange.marking import Mark
    from calib_model.signoff.verification import Verification
    from calib_model.store.reading import StoredSet

SUMMARY = "write a set for other programs"
FORMATS = ("csv", "h5", "report", "signoff", "text")


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "export",
        "Write a set for others.\n\n"
        "  csv      one row per cell (RFC 4180, UTF-8)\n"
        "  h5       a set file, with history and sign-offs\n"
        "  report   release report: one HTML file\n"
        "  signoff  a folder with all that a sign-off consists of, for OpenSSH and sha256sum\n"
        "  text     canonical text, which `bitepoint import` reads back\n\n"
        "What is not signed off, or was changed since, says so in the file and in its name.",
        "Exit status: 0 written, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument("--to", choices=FORMATS, required=True, help="format to write")
    made.add_argument(
        "out", metavar="OUT", type=Path, help="file to write (the mark is added to its name)"
    )
    made.add_argument("--signers", metavar="FILE", type=Path, help="list of allowed signers")
    made.add_argument("--trial", metavar="VEHICLE", help="unsigned values for this test vehicle")
    made.add_argument("--trip", metavar="NAME", help="the trip of the trial")
    made.add_argument("--expires", metavar="DATE", help="last day of the trial, as 2026-02-28")
    made.add_argument("--by", metavar="NAME", default="", help="who takes the trial out")
    add_against(made, "for the relations in a report")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Export a set."""
    given = parser().parse_args(arguments)
    asked = [given.trial, given.trip, given.expires]
    if any(asked) and not all(asked):
        refuse("A trial has a vehicle, a trip and a last day.", "Add --trial, --trip, --expires.")
    if given.trial and given.to == "signoff":
        refuse("A trial has no sign-off.", "Export it as h5, text, csv or report.")
    if same_file(given.set, given.out):
        refuse(f"{given.out}: This is the set itself.", "Give another file to write to.")
    if given.out.is_dir():
        refuse(f"{given.out}: This is a folder.", "Give the name of a file in it.")
    alone = given.alone or given.to != "report"  # the other sets matter to a report only
    with (
        SetFiles([given.set, *given.against]) as files,
        Neighbours(given.set, alone=alone, named=given.against) as neighbours,
    ):
        from calib_model.exchange.marking import make_trial, mark_of
        from calib_model.signoff.verification import verify

        stored, *others = files.results()
        found_beside = neighbours.company(stored.set)
    content = stored.set
    found = verify(content, given.signers)
    trial = None
    if given.trial:
        earlier, since = _earlier(stored)
        trial = make_trial(
            content,
            found.digest,
            vehicle=given.trial,
            trip=given.trip,
            expires=given.expires,
            by=given.by,
            earlier=earlier,
            since=since,
        )
    mark = mark_of(content, found, trial)
    out = mark.name(given.out)
    if same_file(given.set, out):
        refuse(f"{out}: This is the set itself.", "Give another file to write to.")
    with_sets = neighbours.others(found_beside, [s.set for s in others])
    _write(given, stored, with_sets, found, mark, trial, out)
    return Answer(
        GOOD,
        f"Wrote {count(len(content), 'table')} to {out}.\n{mark.status}\n\n{caution()}\n",
    )


def _write(
    given: Any,
    stored: StoredSet,
    others: list[CalibrationSet],
    found: Verification,
    mark: Mark,
    trial: Trial | None,
    out: Path,
) -> None:
    from calib_model.exchange import release_files
    from calib_model.exchange.csv_tables import write_csv
    from calib_model.store import write_whole

    content = stored.set
    if given.to == "csv":
        before = _earlier(stored)[0] if trial is not None else None
        write_csv(content, out, mark.status if mark.word else "", before)
    elif given.to == "text":
        write_whole(out, release_files.text_bytes(content, mark))
    elif given.to == "signoff":
        release_files.write_sign_off_files(content, out)
    elif given.to == "h5":
        from calib_model.store import write_set

        marked = release_files.marked_set(content, mark, trial)
        write_set(out, marked, stored.history, records=stored.records, backup=False)
    else:
        from calib_model.reports.release_report import Release, release_report
        from calib_model.rules.check import check

        earlier, since = _earlier(stored, released=trial is None)
        release = Release(content, found, check(content, others), earlier, since, trial)
        write_whole(out, release_report(release))


def _earlier(stored: StoredSet, *, released: bool = False) -> tuple[CalibrationSet | None, str]:
    from calib_model.session.history import Entry
    from calib_model.session.since import before_changes

    entries = [Entry(plain, True) for plain in stored.history.entries()]
    return before_changes(stored.set, entries, released=released)
