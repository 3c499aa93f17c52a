"""`bitepoint fit SET TABLE --data CSV -o OUT`: fit a curve or map from measurements."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli import fit_samples, options, proposals
from app.cli.answer import Answer, json_text, refuse
from app.cli.company import add_against
from app.cli.parser import VerbParser
from app.cli.text import aligned
from calib_model.core.numbers import short, with_unit
from calib_model.core.plain_file import is_there
from calib_model.core.rule import at_cell
from calib_model.reports.fit_report import fit_report
from calib_model.shaping.branches import fit_branches
from calib_model.shaping.fit import fit
from calib_model.shaping.fit_error import LABEL
from calib_model.shaping.fit_options import FitOptions
from calib_model.shaping.tools import FIT
from calib_model.store import write_whole

if TYPE_CHECKING:
    from calib_model.core.arrays import IntArray
    from calib_model.core.table import Table
    from calib_model.session.beside import Company
    from calib_model.shaping.fit import FitProposal, TableFit

LISTED_NODES = 12


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "fit",
        "Fit a curve or map from scattered samples (CSV), under every rule in force.  Nodes "
        "without\ndata are named and never taken for measured; outliers are listed, not hidden.  "
        "With --falling\nthe samples of a sweep are split into the way up (TABLE) and the way "
        "down, with a gap kept.",
        proposals.STATUS,
    )
    proposals.add_arguments(made)
    add_against(made)
    fit_samples.add_samples(made, required=True)
    options.add_options(made, FIT)
    made.add_argument(
        "--keep", dest="elsewhere", action="store_const", const="keep",
        help="the same as --elsewhere keep",
    )  # fmt: skip
    made.add_argument("--report", metavar="HTML", type=Path, help="report page to write")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Fit a table."""
    given = parser().parse_args(arguments)
    if given.branch and given.falling:
        refuse("--branch and --falling exclude each other.", "Give one of them.")
    proposals.check_out(given.set, given.out)
    if given.report is not None and is_there(given.report):
        refuse(f"{given.report}: There is such a file already.", "Give a new name with --report.")
    inputs = proposals.read(given)
    stored = inputs.stored
    table = proposals.table_of(stored.set, given.set, given.table)
    samples = fit_samples.read(given, table)
    chosen = options.values(FIT, given, stored.set, table)
    falling, branch, nominal = (chosen.pop(name) for name in ("falling", "branch", "nominal"))
    asked = FitOptions(without=proposals.kinds(given.without), **chosen)

    def make() -> FitProposal:
        if falling:
            return fit_branches(
                stored.set, table.id, falling, samples, asked, nominal=nominal,
                against=inputs.against,
            )  # fmt: skip
        return fit(
            stored.set, table.id, samples, asked, branch=branch, nominal=nominal,
            against=inputs.against,
        )  # fmt: skip

    proposal = proposals.proposed(make)
    written = []
    if given.report is not None:
        write_whole(given.report, fit_report(proposal), new=True)
        written.append(given.report)
    written += proposals.write(stored, proposal, given, given.out)
    return _answer(proposal, given, written, samples.notes, inputs.found)


def _answer(
    proposal: FitProposal,
    given: argparse.Namespace,
    written: Sequence[Path],
    notes: Sequence[str],
    found: Company,
) -> Answer:
    status = proposals.status_of(proposal, found)
    if given.json:
        lists = proposals.plain(proposal, written, found)
        lists["notes"] = [*({"text": text} for text in notes), *lists["notes"]]
        lists["fits"] = [_fit_plain(proposal, id) for id in proposal.fits]
        lists["outliers"] = [
            {
                "table": id,
                "line": o.line,
                "points": list(o.points),
                "value": o.value,
                "fitted": o.fitted,
                "unit": o.specimen,
                "weight": o.weight,
            }
            for id, fitted in proposal.fits.items()
            for o in fitted.residuals.outliers
        ]
        if proposal.branches is not None:
            b = proposal.branches
            lists["branches"] = [
                {
                    "rising": b.rising,
                    "falling": b.falling,
                    "up": b.sweeps.up,
                    "down": b.sweeps.down,
                    "neither": b.sweeps.neither,
                    "gap": b.gap,
                    "asked": b.asked,
                    "width": b.width.tolist(),
                }
            ]
        return Answer(status, json_text(lists))
    text = proposals.words(proposal, written, found)
    before, end, after = text.rpartition("\n\nWrote " if written else "\n\nNothing is written")
    return Answer(status, before + _told(proposal, notes) + end + after)


def _fit_plain(proposal: FitProposal, id: str) -> dict[str, Any]:
    fitted = proposal.fits[id]
    plain: dict[str, Any] = {
        "table": id,
        "samples": fitted.residuals.count,
        "weight": fitted.residuals.weight,
        "state": fitted.state.tolist(),
        "coverage": fitted.coverage.tolist(),
        "standard_error": fitted.error.tolist(),
        "sigma": fitted.sigma,
        "strength": fitted.strength,
        "effective_degrees_of_freedom": fitted.edf,
        "residual_rms": fitted.residuals.rms,
        "residual_largest": fitted.residuals.largest,
        "outliers": fitted.residuals.outlier_count,
    }
    if proposal.specimens is not None and id in proposal.specimens.bands:
        band = proposal.specimens.bands[id]
        plain["units"] = {
            "nominal": list(proposal.specimens.nominal),
            "lowest": band.lowest,
            "highest": band.highest,
            "offset": dict(band.offset),
            "low": band.low.tolist(),
            "high": band.high.tolist(),
        }
    return plain


def _not_measured(table: Table, state: IntArray) -> str:
    """Name the nodes whose values are not measured, whole lines at once."""
    unknown = state != 2
    if not unknown.any():
        return ""
    named, rest = [], unknown.copy()
    for number, axis in enumerate(table.axes):
        if unknown.ndim < 2:
            break
        others = tuple(n for n in range(unknown.ndim) if n != number)
        for place in unknown.all(axis=others).nonzero()[0].tolist():
            named.append(f"all at {with_unit(float(axis.values[place]), axis.unit)}")
            index: list[slice | int] = [slice(None)] * unknown.ndim
            index[number] = place
            rest[tuple(index)] = False
    cells = rest.reshape(-1).nonzero()[0].tolist()
    named += [at_cell(table, cell) for cell in cells[:LISTED_NODES]]
    if len(cells) > LISTED_NODES:
        named.append(f"{len(cells) - LISTED_NODES} more")
    return f"Not measured, filled or kept: {'; '.join(named)}."


def _weighing(fitted: TableFit) -> str:
    """Say what the samples count as, where they have weights."""
    rest = fitted.residuals
    return f" that count as {short(rest.weight, 5)}" if fitted.samples.weight.size else ""


def _told(proposal: FitProposal, notes: Sequence[str]) -> str:
    """Say how well each table is known, and list the outliers."""
    parts = [""]
    parts += [f"\n{note}" for note in notes]
    for id, fitted in proposal.fits.items():
        table = proposal.table(id)
        known = fitted.error[fitted.error == fitted.error]
        spread = (
            f"{short(float(known.min()), 2)} to {with_unit(float(known.max()), table.unit, 2)}"
            if known.size
            else "not known"
        )
        parts.append(
            f"\n{id}: {fitted.residuals.count} samples{_weighing(fitted)}, "
            f"noise {with_unit(fitted.sigma, table.unit, 3)}, standard error {spread}; "
            f"{fitted.count(2)} nodes measured, {fitted.count(1)} thin, "  # type: ignore[arg-type]
            f"{fitted.count(0)} without data."  # type: ignore[arg-type]
        )
        unknown = _not_measured(table, fitted.state)
        if unknown:
            parts.append(unknown)
        if fitted.residuals.outliers:
            rows = [("line", *(a.label for a in table.axes), "value", "fitted")]
            rows += [
                (
                    str(o.line),
                    *(short(p, 5) for p in o.points),
                    short(o.value, 5),
                    short(o.fitted, 5),
                )
                for o in fitted.residuals.outliers[:20]
            ]
            more = fitted.residuals.outlier_count - 20
            parts += ["\nOutliers, farthest first:", *aligned(rows)]
            if more > 0:
                parts.append(f"and {more} more")
    parts.append(f"\n{LABEL}")
    return "\n".join(parts)
