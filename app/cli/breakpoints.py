"""`bitepoint breakpoints SET TABLE -o OUT`: the best breakpoints of a curve or map axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from app.cli import fit_samples, options, proposals
from app.cli.answer import Answer, refuse
from app.cli.parser import VerbParser
from calib_model.shaping.breakpoints import place_breakpoints
from calib_model.shaping.sweeps import one_branch
from calib_model.shaping.tools import BREAKPOINTS, FIT

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.core.table import Table
    from calib_model.shaping.breakpoints import BreakpointsProposal


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "breakpoints",
        "Place breakpoints where the table bends: the best of a number, or the fewest for a "
        "tolerance.\nThe reference is the table itself, or with --data a fit to samples.",
        proposals.STATUS,
    )
    proposals.add_arguments(made)
    options.add_options(made, BREAKPOINTS)
    fit_samples.add_samples(made, required=False)
    for name in ("branch", "loss", "strength"):
        options.add_option(made, FIT[name])
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Place breakpoints."""
    given = parser().parse_args(arguments)
    if (given.count is None) == (given.tolerance is None):
        refuse("Neither a number nor a tolerance is given, or both.", "Add --count or --tolerance.")

    def make(content: CalibrationSet, table: Table) -> BreakpointsProposal:
        samples = fit_samples.read(given, table) if given.data is not None else None
        if samples is not None and given.branch:
            samples = one_branch(samples, given.branch)
        return place_breakpoints(
            content,
            table.id,
            samples=samples,
            options=fit_samples.options(given) if samples is not None else None,
            **options.values(BREAKPOINTS, given, content, table),
        )

    return proposals.shaped(given, make, _errors)


def _errors(proposal: BreakpointsProposal) -> dict[str, list[dict[str, Any]]]:
    named = (
        ("before", proposal.error_before),
        ("present breakpoints, new values", proposal.error_placed),
        ("after", proposal.error_after),
    )
    return {"errors": [{"state": s, **asdict(error)} for s, error in named if error is not None]}
