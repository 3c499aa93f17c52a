"""`bitepoint reaxis SET TABLE -o OUT`: move a table to other breakpoints."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from app.cli import options, proposals
from app.cli.answer import Answer, refuse
from app.cli.parser import VerbParser
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
    return proposals.shaped(
        given,
        lambda content, table: reaxis(
            content, table.id, **options.values(REAXIS, given, content, table)
        ),
        _lists,
    )


def _lists(proposal: ReaxisProposal) -> dict[str, list[dict[str, Any]]]:
    return {
        "errors": [
            {"table": id, "largest": e.largest, "at": list(e.at)}
            for id, e in proposal.errors.items()
        ],
        "bends_passed_over": [
            {"at": k.at, "below": k.below, "above": k.above} for k in proposal.kinks
        ],
    }
