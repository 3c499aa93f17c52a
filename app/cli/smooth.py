"""`bitepoint smooth SET TABLE -o OUT`: smooth a table under its rules."""

from __future__ import annotations

from collections.abc import Sequence

from app.cli import options, proposals
from app.cli.answer import Answer, refuse
from app.cli.company import add_against
from app.cli.parser import VerbParser
from calib_model.core.rule import find_axis
from calib_model.shaping import smooth
from calib_model.shaping.tools import SMOOTH


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "smooth",
        "Smooth a curve or map on its true breakpoints, under every rule in force; locked cells "
        "stay.\nAlong several axes the curvature along each is lessened; twist is left free.",
        proposals.STATUS,
    )
    proposals.add_arguments(made)
    add_against(made)
    options.add_options(made, SMOOTH, without=("along",))
    options.add_option(made, SMOOTH["along"], metavar="AXIS[=FACTOR]")
    proposals.add_cells(made)
    proposals.add_weights(made)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Smooth a table."""
    given = parser().parse_args(arguments)
    proposals.check_out(given.set, given.out)
    inputs = proposals.read(given)
    stored = inputs.stored
    table = proposals.table_of(stored.set, given.set, given.table)
    chosen = [_along(text) for text in given.along]
    factors = {find_axis(table, name): factor for name, factor in chosen}
    selection = proposals.cells(table, given.only)
    weights = proposals.weights(table, given.weights)
    without = proposals.kinds(given.without)
    proposal = proposals.proposed(
        lambda: smooth(
            stored.set,
            table.id,
            given.strength,
            selection=selection,
            weights=weights,
            along=list(factors) or None,
            factors=factors,
            against=inputs.against,
            without=without,
            on_raster=given.on_raster,
        )
    )
    written = proposals.write(stored, proposal, given, given.out)
    return proposals.answer(proposal, given, written, inputs.found)


def _along(text: str) -> tuple[str, float]:
    """An axis to smooth along, and what the strength is multiplied by along it."""
    name, sign, factor = text.partition("=")
    try:
        number = float(factor) if sign else 1.0
    except ValueError:
        number = -1.0
    if not 0 < number < float("inf"):
        refuse(f"--along {text!r} is not understood.", "Write AXIS or AXIS=FACTOR, as pedal=10.")
    return name.strip(), number
