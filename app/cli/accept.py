"""`bitepoint accept SET TABLE...`: accept or query tables, or say how their values are known."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import GOOD, Answer, refuse
from app.cli.company import Neighbours, add_against
from app.cli.gating import add_trust, gate_of, grounds, named_programme
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.secrets import add_key_arguments, loaded_key
from app.cli.text import caution, count
from calib_model.core.patterns import fits
from calib_model.core.record import Level, Outcome
from calib_model.evidence.gaps import undriven
from calib_model.session.files import open_document, save_document
from calib_model.session.history import entries_of
from calib_model.session.since import before_changes
from calib_model.signoff.decisions import decide, give_level
from calib_model.signoff.people import hints_on

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.editing.change import Change
    from calib_model.session.history import Entry
    from calib_model.signoff.gate import Gate

LEVELS = ("estimated", "desk-checked", "bench-measured", "driven")


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "accept",
        "Accept tables as they are, or query them, or say how their values are known.  Without an\n"
        "earlier sign-off of an allowed signer every table counts as changed.  Nobody accepts\n"
        "what they edited or signed as author.  The level driven needs drives in the set's record\n"
        "that used the present values (`bitepoint coverage --record`).",
        "Exit status: 0 done and saved, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file; saved")
    made.add_argument("tables", metavar="TABLE", nargs="*", help="ids; * and ? are wildcards")
    made.add_argument("--all", action="store_true", help="every changed table without a decision")
    made.add_argument("--name", metavar="NAME", required=True, help="who decides")
    made.add_argument("--query", metavar="TEXT", help="query the tables instead, asking this")
    made.add_argument("--level", choices=LEVELS, help="say instead how the values are known")
    made.add_argument("--comment", metavar="TEXT", default="", help="to stand with the decision")
    add_key_arguments(made, required=False)
    add_against(made)
    add_trust(made)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Decide on tables."""
    given = parser().parse_args(arguments)
    if bool(given.tables) == given.all:
        refuse("No tables are named.", "Name tables, or give --all instead.")
    if given.query is not None and given.level is not None:
        refuse("A query and a level are two things.", "Give one of --query and --level.")
    chosen = named_programme(given)
    with (
        SetFiles(given.against) as files,
        Neighbours(
            given.set, alone=given.alone, named=given.against, programme=chosen, whole=True
        ) as neighbours,
    ):
        others = [stored.set for stored in files.results()]
        document = open_document(given.set, given.name)
        on = grounds(given, document.content, others, neighbours)
    content, entries = document.content, entries_of(document)
    found = gate_of(content, on, "", entries)
    ids = _all_ids(content, found, given) if given.all else _named_ids(content, given)
    if not ids:
        return Answer(GOOD, "Every changed table has its decision; nothing to do.\n")
    change, what = _change(content, ids, given, found, entries)

    hints = hints_on(given.name, content, [entry.author for entry in entries])
    document.do(change)
    save_document(document)
    tables = count(len(change.edits), "table")
    named = ", ".join(dict.fromkeys(ids)) if len(change.edits) <= 10 else ""
    parts = [f"{tables} {what}{f': {named}' if named else ''}.", *hints, *on.told(), caution()]
    return Answer(GOOD, "\n\n".join(parts) + "\n")


def _all_ids(content: CalibrationSet, found: Gate, given: Any) -> list[str]:
    if given.level is not None:
        return list(content.tables)
    done = set(found.accepted)
    decided = {i.table for i in found.items if i.kind == "query"}
    return [id for id in found.changed if id not in done and id not in decided]


def _named_ids(content: CalibrationSet, given: Any) -> list[str]:
    ids: list[str] = []
    for pattern in given.tables:
        mine = [id for id in content.tables if fits(pattern, id)]
        if not mine:
            refuse(
                f"{given.set}: There is no table {pattern!r}.",
                f"`bitepoint show {given.set}` lists all.",
            )
        ids += mine
    return ids


def _change(
    content: CalibrationSet, ids: list[str], given: Any, found: Gate, entries: list[Entry]
) -> tuple[Change, str]:
    """Return the change to make, and in words what becomes of the tables."""
    if given.level is not None:
        level, lacking = Level(given.level), None
        if level is Level.DRIVEN:
            lacking = undriven(content, before_changes(content, entries)[0], ids)
        change = give_level(
            content, ids, level, by=given.name, note=given.comment, undriven=lacking
        )
        return change, f"{given.level} now"
    key = loaded_key(given.key, given.passphrase_file) if given.key else None
    outcome = Outcome.QUERIED if given.query is not None else Outcome.ACCEPTED
    comment = given.query if given.query is not None else given.comment
    change = decide(
        content, ids, outcome, by=given.name, comment=comment, key=key, authors=found.authors
    )
    return change, str(outcome)
