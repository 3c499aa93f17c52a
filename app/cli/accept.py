"""`bitepoint accept SET TABLE...`: accept or query tables, or say how their values are known."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from app.cli.answer import GOOD, Answer, refuse
from app.cli.gating import add_against, add_trust, gate_of, trust
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.secrets import add_key_arguments, loaded_key
from app.cli.text import caution, count

SUMMARY = "accept or query tables as they are"
LEVELS = ("estimated", "desk-checked", "bench-measured", "driven")


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "accept",
        "Accept tables as they are, or query them, or say how their values are known.  Without an\n"
        "earlier sign-off of an allowed signer every table counts as changed.",
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
    with SetFiles(given.against) as files:
        from calib_model.session.files import open_document, save_document

        others = [stored.set for stored in files.results()]
        document = open_document(given.set, given.name)
    content = document.content
    if given.all:
        found = gate_of(content, others, *trust(given), "")
        done = set(found.accepted)
        decided = {i.table for i in found.items if i.kind == "query"}
        ids = [id for id in found.changed if id not in done and id not in decided]
        if given.level is not None:
            ids = list(content.tables)
    else:
        from calib_model.core.patterns import fits

        ids = []
        for pattern in given.tables:
            mine = [id for id in content.tables if fits(pattern, id)]
            if not mine:
                refuse(
                    f"{given.set}: There is no table {pattern!r}.",
                    f"`bitepoint show {given.set}` lists all.",
                )
            ids += mine
    if not ids:
        return Answer(GOOD, "Every changed table has its decision; nothing to do.\n")
    from calib_model.core.record import Level, Outcome
    from calib_model.signoff.decisions import decide, give_level

    if given.level is not None:
        change = give_level(content, ids, Level(given.level), by=given.name, note=given.comment)
        what = f"{given.level} now"
    else:
        key = loaded_key(given.key, given.passphrase_file) if given.key else None
        outcome = Outcome.QUERIED if given.query is not None else Outcome.ACCEPTED
        comment = given.query if given.query is not None else given.comment
        change = decide(content, ids, outcome, by=given.name, comment=comment, key=key)
        what = str(outcome)
    from calib_model.session.history import entries_of
    from calib_model.signoff.people import hints_on

    authors = [entry.author for entry in entries_of(document)]
    hints = "".join(f"{hint}\n" for hint in hints_on(given.name, content, authors))
    document.do(change)
    save_document(document)
    tables = count(len(change.edits), "table")
    named = ", ".join(dict.fromkeys(ids)) if len(change.edits) <= 10 else ""
    return Answer(GOOD, f"{tables} {what}{f': {named}' if named else ''}.\n{hints}\n{caution()}\n")
