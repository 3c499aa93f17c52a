"""`bitepoint quantise SET TABLE -o OUT`: the values the controller will hold."""

from __future__ import annotations

from collections.abc import Sequence

from app.cli import options, proposals
from app.cli.answer import Answer, refuse
from app.cli.company import add_against
from app.cli.parser import VerbParser
from calib_model.shaping import quantise
from calib_model.shaping.tools import QUANTISE


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "quantise",
        "Round a table to the nearest stored values that keep order, bounds, locks and step "
        "limits.\nOther rules that rounding breaks are named with their cells; slopes that are "
        "lost or tilted are\nshown.  With --step another storage is chosen.",
        proposals.STATUS,
    )
    proposals.add_arguments(made)
    add_against(made)
    options.add_options(made, QUANTISE)
    proposals.add_cells(made)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Quantise a table."""
    given = parser().parse_args(arguments)
    proposals.check_out(given.set, given.out)
    if not given.step and (given.type or given.range is not None):
        refuse("A type or range is given without a step.", "Add --step SIZE.")
    inputs = proposals.read(given)
    stored = inputs.stored
    table = proposals.table_of(stored.set, given.set, given.table)
    selection = proposals.cells(table, given.only)
    without = proposals.kinds(given.without)
    proposal = proposals.proposed(
        lambda: quantise(
            stored.set,
            table.id,
            **options.values(QUANTISE, given, stored.set, table),
            selection=selection,
            against=inputs.against,
            without=without,
        )
    )
    written = proposals.write(stored, proposal, given, given.out)
    return proposals.answer(proposal, given, written, inputs.found)
