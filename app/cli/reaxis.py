"""`bitepoint reaxis SET TABLE -o OUT`: move a table to other breakpoints."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from app.cli import fit_samples, proposals
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from calib_model.shaping.reaxis import breakpoints_of, reaxis

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
    made.add_argument("--axis", metavar="AXIS", help="by quantity, name or number; the first")
    made.add_argument("--to", metavar="X,...", help="the new breakpoints")
    made.add_argument("--like", metavar="ID", help="or: those of a table or a shared axis")
    made.add_argument(
        "--adopt", action="store_true", help="use the shared axis of --like from now on"
    )
    made.add_argument(
        "--values",
        choices=("read", "nearest", "not-above", "not-below"),
        default="read",
        help="read the old values, take the nearest, or stay on one side of the old reading",
    )
    made.add_argument(
        "--detach", action="store_true", help="change this table only, not all of a shared axis"
    )
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Move a table to other breakpoints."""
    given = parser().parse_args(arguments)
    if (given.to is None) == (given.like is None):
        refuse("Neither breakpoints nor a table to take them from, or both.", "Add --to or --like.")
    proposals.check_out(given.set, given.out)
    with SetFiles([given.set]) as files:
        (stored,) = files.results()
    table = proposals.table_of(stored.set, given.set, given.table)
    axis = fit_samples.axis_of(table, given.axis)
    wanted = (
        breakpoints_of(stored.set, table, axis, given.like)
        if given.like
        else fit_samples.numbers(given.to, "--to")
    )
    proposal = proposals.proposed(
        lambda: reaxis(
            stored.set,
            table.id,
            axis,
            wanted,
            method=given.values.replace("-", " "),
            adopt=given.adopt,
            detach=given.detach,
        )
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
