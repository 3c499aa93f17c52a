"""`bitepoint invert SET TABLE -o OUT`: turn a curve or a map round along one axis."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from app.cli import options, proposals
from app.cli.answer import Answer, refuse
from app.cli.parser import VerbParser
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
    return proposals.shaped(
        given,
        lambda content, table: invert(
            content, table.id, **options.values(INVERT, given, content, table)
        ),
        _lists,
    )


def _lists(proposal: InvertProposal) -> dict[str, list[dict[str, Any]]]:
    trip, beyond = proposal.trip, proposal.beyond
    lists: dict[str, list[dict[str, Any]]] = {
        "level_stretches": [
            {"value": p.value, "first": p.first, "last": p.last, "at": list(p.line)}
            for p in proposal.plateaus
        ],
        "never_reached": [] if beyond is None else [{"cells": beyond.tolist()}],
    }
    if trip is not None:
        lists["there_and_back"] = [
            {
                "value": trip.value,
                "value_at": list(trip.value_at),
                "input": trip.input,
                "input_at": list(trip.input_at),
            }
        ]
    return lists
