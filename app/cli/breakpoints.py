"""`bitepoint breakpoints SET TABLE -o OUT`: the best breakpoints of a curve or map axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from app.cli import fit_samples, proposals
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from calib_model.shaping.breakpoints import place_breakpoints
from calib_model.shaping.sweeps import one_branch

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
    made.add_argument("--axis", metavar="AXIS", help="by quantity, name or number; the first")
    made.add_argument("--count", metavar="N", type=int, help="how many breakpoints")
    made.add_argument(
        "--tolerance",
        metavar="T",
        type=float,
        help="or: largest error, in the table's unit; with --relative a share, 0.02 for 2 %%",
    )
    made.add_argument(
        "--relative",
        action="store_true",
        help="errors count as shares of the value (of a hundredth of the largest, if below it)",
    )
    made.add_argument("--raster", metavar="STEP", type=float, default=0.0, help="multiples of it")
    made.add_argument("--fixed", metavar="X,...", default="", help="breakpoints that must be there")
    made.add_argument(
        "--free", action="store_true", help="values may leave the reference to lessen the error"
    )
    made.add_argument(
        "--detach", action="store_true", help="change this table only, not all of a shared axis"
    )
    fit_samples.add_samples(made, required=False)
    made.add_argument(
        "--nominal",
        metavar="NAME",
        action="append",
        default=[],
        help="unit under test that makes the table; may be given several times; all by default",
    )
    made.add_argument("--branch", choices=("up", "down"), help="samples of one branch of a sweep")
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
    kept = fit_samples.numbers(given.fixed, "--fixed") if given.fixed else []
    samples = fit_samples.read(given, table) if given.data is not None else None
    if samples is not None and given.branch:
        samples = one_branch(samples, given.branch)
    proposal = proposals.proposed(
        lambda: place_breakpoints(
            stored.set,
            table.id,
            fit_samples.axis_of(table, given.axis),
            count=given.count,
            tolerance=given.tolerance,
            samples=samples,
            options=fit_samples.options(given) if samples is not None else None,
            nominal=given.nominal,
            step=given.raster,
            kept=kept,
            free=given.free,
            relative=given.relative,
            detach=given.detach,
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
