"""`bitepoint invert SET TABLE -o OUT`: turn a curve or a map round along one axis."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from app.cli import options, proposals
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from calib_model.shaping.invert import invert
from calib_model.shaping.tools import INVERT

if TYPE_CHECKING:
    from calib_model.shaping.invert import InvertProposal


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "invert",
        "Turn a curve, or a map along one axis, round: the value becomes the input.  Level "
        "stretches are\nreported, and how far there and back again ends from where it began.",
        proposals.STATUS,
    )
    proposals.add_arguments(made)
    options.add_options(made, INVERT)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Turn a table round."""
    given = parser().parse_args(arguments)
    if bool(given.into) == bool(given.new_id):
        refuse("Neither a table to fill nor the id of a new one, or both.", "Add --into or --new.")
    proposals.check_out(given.set, given.out)
    with SetFiles([given.set]) as files:
        (stored,) = files.results()
    table = proposals.table_of(stored.set, given.set, given.table)
    proposal = proposals.proposed(
        lambda: invert(stored.set, table.id, **options.values(INVERT, given, stored.set, table))
    )
    written = []
    if given.out is not None:
        proposals.write(stored, proposal, given, given.out)
        written.append(given.out)
    if not given.json:
        return proposals.answer(proposal, given, written)
    return _json(proposal, written)  # type: ignore[arg-type]


def _json(proposal: InvertProposal, written: Sequence[object]) -> Answer:
    lists = proposals.plain(proposal, written)  # type: ignore[arg-type]
    lists["level_stretches"] = [
        {"value": p.value, "first": p.first, "last": p.last, "at": list(p.line)}
        for p in proposal.plateaus
    ]
    trip = proposal.trip
    if trip is not None:
        lists["there_and_back"] = [
            {
                "value": trip.value,
                "value_at": list(trip.value_at),
                "input": trip.input,
                "input_at": list(trip.input_at),
            }
        ]
    beyond = proposal.beyond
    lists["never_reached"] = [] if beyond is None else [{"cells": beyond.tolist()}]
    return Answer(DIFFERENT if proposal.diagnostics.broken else GOOD, json_text(lists))
