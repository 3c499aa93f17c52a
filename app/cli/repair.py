"""`bitepoint repair SET TABLE -o OUT`: the nearest values that satisfy every rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli import options, proposals
from app.cli.answer import Answer, refuse
from app.cli.company import add_against
from app.cli.parser import VerbParser
from calib_model.remedies import mended, suited
from calib_model.shaping import repair
from calib_model.shaping.tools import REPAIR

if TYPE_CHECKING:
    from calib_model.core.arrays import BoolArray
    from calib_model.core.calibration_set import CalibrationSet


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "repair",
        "Find the nearest values that satisfy every rule in force.  For a slipped digit, exchanged "
        "branches\nor a wrong axis they are the wrong remedy: where a finding names such a "
        "mistake, nothing is done\nunless --remedy says what.",
        proposals.STATUS,
    )
    proposals.add_arguments(made)
    add_against(made)
    made.add_argument(
        "--allow-table",
        metavar="TABLE",
        action="append",
        default=[],
        help="another table that may move too (the other half of a pair); may be given several "
        "times",
    )
    made.add_argument(
        "--base-out",
        metavar="FILE",
        type=Path,
        help="let the table of the base mode's set (named with --against) move too, and write "
        "that set here",
    )
    made.add_argument(
        "--remedy",
        choices=("suited", "nearest"),
        help="where findings name a mistake: mend it by the remedy that suits it, then find the "
        "nearest values for the rest; or take the nearest values all the same",
    )
    proposals.add_cells(made)
    proposals.add_weights(made)
    options.add_options(made, REPAIR)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Repair a table."""
    given = parser().parse_args(arguments)
    proposals.check_out(given.set, given.out)
    inputs = proposals.read(given)
    stored = inputs.stored
    table = proposals.table_of(stored.set, given.set, given.table)
    also = [proposals.table_of(stored.set, given.set, id).id for id in given.allow_table]
    selection = proposals.cells(table, given.only)
    weights = proposals.weights(table, given.weights)
    moving: list[str | tuple[int, str]] = [table.id, *also]
    base = 0
    if given.base_out is not None:
        if given.out is None:
            refuse("Both sets move, but only the base's file is named.", "Name the other with -o.")
        base = _base_number(stored.set.base_mode, [one.set for one in inputs.named])
        proposals.check_out(given.against[base - 1], given.base_out)
        proposals.table_of(inputs.named[base - 1].set, given.against[base - 1], table.id)
        moving.append((base, table.id))
    without = proposals.kinds(given.without)
    allowed = None if selection is None else {table.id: selection}
    content = stored.set
    done: tuple[str, ...] = ()
    if given.remedy != "nearest":
        base_set = next((o for o in inputs.against if o.mode == stored.set.base_mode), None)
        content, done = _mended(
            stored.set, [table.id, *also], base_set, allowed, told=given.remedy is not None
        )
    proposal = proposals.proposed(
        lambda: repair(
            content,
            moving,
            against=inputs.against,
            allowed=allowed,
            weights=None if weights is None else {table.id: weights},
            without=without,
            on_raster=given.on_raster,
            seconds=given.seconds,
        )
    )
    if done:
        before = {p: stored.set[p[1]] if p[0] == 0 else t for p, t in proposal.before.items()}
        proposal = replace(proposal, before=before, notes=(*done, *proposal.notes))
    written = proposals.write(stored, proposal, given, given.out)
    if base:
        written += proposals.write(inputs.named[base - 1], proposal, given, given.base_out, base)
    return proposals.answer(proposal, given, written, inputs.found)


def _mended(
    content: CalibrationSet,
    tables: Sequence[str],
    base: CalibrationSet | None,
    allowed: Mapping[str, BoolArray] | None,
    *,
    told: bool,
) -> tuple[CalibrationSet, tuple[str, ...]]:
    """Mend what findings name as mistakes, if told to; refuse if not."""
    waiting = suited(content, tables, base, allowed)
    if waiting and not told:
        said = "\n".join(
            f"{w.finding.table}: {w.finding.message}\n    What suits: {w.remedy.text}"
            for w in waiting
        )
        refuse(
            f"The nearest values would hide what went wrong:\n{said}",
            "Give --remedy suited to do that first, or --remedy nearest to insist.",
        )
    return mended(content, tables, base, allowed) if waiting else (content, ())


def _base_number(base_mode: str, others: Sequence[CalibrationSet]) -> int:
    numbers = [n for n, other in enumerate(others, start=1) if other.mode == base_mode]
    if not numbers:
        refuse(
            f"No set of the base mode {base_mode} is given, so it cannot move.",
            "Name it with --against.",
        )
    return numbers[0]
