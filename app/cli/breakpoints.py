"""`bitepoint breakpoints SET TABLE -o OUT`: the best breakpoints of a curve or map axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from app.cli import fit_samples, options, proposals
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from calib_model.shaping.breakpoints import place_breakpoints
from calib_model.shaping.sweeps import one_branch
from calib_model.shaping.tools import BREAKPOINTS, FIT

if TYPE_CHECKING:
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
    proposals.check_out(given.set, given.out)
    with SetFiles([given.set]) as files:
        (stored,) = files.results()
    table = proposals.table_of(stored.set, given.set, given.table)
    samples = fit_samples.read(given, table) if given.data is not None else None
    if samples is not None and given.branch:
        samples = one_branch(samples, given.branch)
    proposal = proposals.proposed(
        lambda: place_breakpoints(
            stored.set,
            table.id,
            samples=samples,
            options=fit_samples.options(given) if samples is not None else None,
            **options.values(BREAKPOINTS, given, stored.set, table),
        )
    )
    written = []
    if given.out is not None:
        proposals.write(stored, proposal, given, given.out)
        written.append(given.out)
    if not given.json:
        return proposals.answer(proposal, given, written)
    lists = proposals.plain(proposal, written)
    lists["errors"] = _errors(proposal)  # type: ignore[arg-type]
    return Answer(DIFFERENT if proposal.diagnostics.broken else GOOD, json_text(lists))


def _errors(proposal: BreakpointsProposal) -> list[dict[str, Any]]:
    named = (
        ("before", proposal.error_before),
        ("present breakpoints, new values", proposal.error_placed),
        ("after", proposal.error_after),
    )
    return [{"state": state, **asdict(error)} for state, error in named if error is not None]
