"""`bitepoint quantise SET TABLE -o OUT`: the values the controller will hold."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from app.cli import proposals
from app.cli.answer import Answer, refuse
from app.cli.company import add_against
from app.cli.parser import VerbParser
from calib_model.shaping import quantise, scalings

if TYPE_CHECKING:
    from calib_model.core.storage import Storage
    from calib_model.core.table import Table


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
    made.add_argument(
        "--step", metavar="SIZE", help="move to a storage with this step, such as 0.02 or 1/128"
    )
    made.add_argument(
        "--type", metavar="TYPE", help="its type, such as uint16; the smallest if not given"
    )
    made.add_argument(
        "--range",
        metavar=("LOW", "HIGH"),
        nargs=2,
        type=float,
        help="range it must hold; the table's limits, or else its values, if not given",
    )
    proposals.add_cells(made)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Quantise a table."""
    given = parser().parse_args(arguments)
    proposals.check_out(given.set, given.out)
    if given.step is None and (given.type is not None or given.range is not None):
        refuse("A type or range is given without a step.", "Add --step SIZE.")
    inputs = proposals.read(given)
    stored = inputs.stored
    table = proposals.table_of(stored.set, given.set, given.table)
    storage = None if given.step is None else _storage(table, given)
    selection = proposals.cells(table, given.only)
    without = proposals.kinds(given.without)
    proposal = proposals.proposed(
        lambda: quantise(
            stored.set,
            table.id,
            storage=storage,
            selection=selection,
            against=inputs.against,
            without=without,
        )
    )
    written = proposals.write(stored, proposal, given, given.out)
    return proposals.answer(proposal, given, written, inputs.found)


def _storage(table: Table, given: Namespace) -> Storage:
    if given.range is not None:
        low, high = given.range
    else:
        low, high = table.lower, table.upper
        if not (np.isfinite(low) and np.isfinite(high)):
            finite = table.values[np.isfinite(table.values)]
            if not finite.size:
                refuse(f"{table.id} holds no value to tell a range from.", "Give --range LOW HIGH.")
            low, high = float(finite.min()), float(finite.max())
    found = [s.storage for s in scalings(low, high, given.step)]
    suited = [s for s in found if given.type in (None, s.type)]
    if not suited:
        fits = ", ".join(s.type for s in found)
        refuse(f"{given.type} does not hold that range at that step.", f"These do: {fits}.")
    return suited[0]
