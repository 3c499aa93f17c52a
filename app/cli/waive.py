"""`bitepoint waive SET TABLE --rule KIND`: accept a finding, with a reason and an approver."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from app.cli.answer import GOOD, Answer, refuse
from app.cli.company import Neighbours, add_against
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution
from calib_model.rules.check import check
from calib_model.session.files import open_document, save_document
from calib_model.session.review import waive


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "waive",
        "Accept what a rule finds in a table, at the cells where it is now and up to its present "
        "size\n(or --size).  The waiver lapses when the breach grows or moves, or the rule "
        "changes.",
        "Exit status: 0 waived and saved, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file; saved")
    made.add_argument("table", metavar="TABLE", help="id of the table")
    made.add_argument("--rule", metavar="KIND", required=True, help="as `bitepoint check` names it")
    made.add_argument("--reason", metavar="TEXT", required=True, help="why it may stay")
    made.add_argument("--author", metavar="NAME", required=True, help="who asks for it")
    made.add_argument("--approver", metavar="NAME", required=True, help="another person")
    made.add_argument("--size", metavar="NUMBER", type=float, help="largest breach to accept")
    made.add_argument("--expires", metavar="DATE", default="", help="last day, as 2026-02-28")
    add_against(made)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Waive a finding."""
    given = parser().parse_args(arguments)
    with (
        SetFiles(given.against) as files,
        Neighbours(given.set, alone=given.alone, named=given.against) as neighbours,
    ):
        others = [stored.set for stored in files.results()]
        document = open_document(given.set, given.author)
        others = neighbours.others(neighbours.company(document.content), others)

    content = document.content
    table = content[given.table]
    report = check(content, others)
    rule = given.rule.replace(" ", "_")
    mine = [f for f in report.of(table.id) if f.rule == rule]
    open_ones = [f for f in mine if not f.waived]
    if not open_ones:
        others_found = ", ".join(dict.fromkeys(f.rule for f in report.of(table.id))) or "none"
        what = "is waived already" if mine else "finds nothing"
        refuse(
            f"{given.set}: The rule {rule} {what} in {table.id}.",
            f"Findings there: {others_found}; relations between modes need --against.",
        )
    change = waive(
        content,
        open_ones,
        reason=given.reason,
        author=given.author,
        approver=given.approver,
        size=given.size,
        expires=given.expires,
    )
    document.do(change)
    save_document(document)
    lines = "\n".join(f.message for f in open_ones)
    return Answer(GOOD, f"Waived in {table.id}:\n{lines}\n\n{caution()}\n")
