"""`bitepoint reaxis SET TABLE -o OUT`: move a table to other breakpoints."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from app.cli import options, proposals
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from calib_model.shaping.reaxis import reaxis
from calib_model.shaping.tools import REAXIS

if TYPE_CHECKING:
    from calib_model.shaping.reaxis import ReaxisProposal


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "reaxis",
        "Move a table to other breakpoints and say by how much its reading changes, and where a "
        "bend is\npassed over.",
        proposals.STATUS,
    )
    proposals.add_arguments(made)
    options.add_options(made, REAXIS)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Move a table to other breakpoints."""
    given = parser().parse_args(arguments)
    if (given.breakpoints is None) == (not given.like):
        refuse("Neither breakpoints nor a table to take them from, or both.", "Add --to or --like.")
    proposals.check_out(given.set, given.out)
    with SetFiles([given.set]) as files:
        (stored,) = files.results()
    table = proposals.table_of(stored.set, given.set, given.table)
    proposal = proposals.proposed(
        lambda: reaxis(stored.set, table.id, **options.values(REAXIS, given, stored.set, table))
    )
    written = []
    if given.out is not None:
        proposals.write(stored, proposal, given, given.out)
        written.append(given.out)
    if not given.json:
        return proposals.answer(proposal, given, written)
    return _json(proposal, written)  # type: ignore[arg-type]


def _json(proposal: ReaxisProposal, written: Sequence[object]) -> Answer:
    lists = proposals.plain(proposal, written)  # type: ignore[arg-type]
    lists["errors"] = [
        {"table": id, "largest": e.largest, "at": list(e.at)} for id, e in proposal.errors.items()
    ]
    lists["bends_passed_over"] = [
        {"at": k.at, "below": k.below, "above": k.above} for k in proposal.kinks
    ]
    return Answer(DIFFERENT if proposal.diagnostics.broken else GOOD, json_text(lists))
