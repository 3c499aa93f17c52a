"""Repair: the nearest values that satisfy every rule in force.

"Nearest" is weighted least squares in shares of each table's range.  The nearest values are the
wrong remedy for a slipped digit, exchanged branches or a wrong axis; `calib_model.remedies` offers
what suits a finding, and these values last.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short
from ..core.rule import Stack, at_cell
from ..core.table import Table
from ..errors import BitepointError
from ..rules.check import Surroundings
from .problem import Place, RuleSystem, Source, gather
from .proposal import Diagnostics, Proposal
from .solve import Solution, minimise
from .storing import SECONDS, Stored, to_storage
from .tools import REPAIR
from .words import Part, label, parts_of

ROUND_OFF = 1e-12
"""What share of a table's span counts as the solver's rounding."""
PASSES = 5
"""How often values that rules use as factors are brought up to date."""


def repair(
    content: CalibrationSet,
    tables: str | Iterable[str | Place],
    *,
    against: Sequence[CalibrationSet] = (),
    allowed: Mapping[str, BoolArray] | None = None,
    weights: Mapping[str, Any] | None = None,
    without: Iterable[str] = (),
    on_raster: bool = True,
    seconds: float = SECONDS,
) -> Proposal:
    """Return the nearest values that satisfy every rule in force.

    Parameters
    ----------
    content : CalibrationSet
    tables : table id, or iterable of ids or (number of set, id)
        The tables that may move; all others stay.  (1, id) is the table in the first set of
        `against`: both sides of a relation between modes may move.
    against : sequence of CalibrationSet
        Sets of other modes, for the relation between modes.
    allowed : mapping of table id to bool array
        Cells that may move; all by default.  Locked and empty cells never do.
    weights : mapping of table id to array, not negative
        How dear each cell's move is; 1 by default.
    without : iterable of str
        Kinds of rule to leave out.
    on_raster : bool
        Whether the values are to be such as storage can hold.
    seconds : float
        Time to look for stored values that keep rules which rounding breaks; 0 for none.

    Raises
    ------
    EditRefused
        If the time is below zero.
    AtOdds
        If locks and rules cannot all hold; see `calib_model.shaping.explain.explain`.
    NotSolved
        If no answer was found.
    """
    REPAIR["seconds"].check(seconds)
    named = [tables] if isinstance(tables, str) else list(tables)
    left_out = tuple(without)
    target: FloatArray | None = None
    sets = (content, *against)
    first: RuleSystem | None = None
    for turn in range(PASSES):
        system = gather(sets[0], named, against=sets[1:], allowed=allowed, without=left_out)
        system.allowed[np.isnan(system.values)] = False
        if target is None or first is None:
            first, target = system, system.values
        weight = system.stacked(weights or {}, 1.0)
        if turn == 0 and _obeys(system, on_raster):
            solution = Solution(system.values, "", 0.0, np.empty(0, dtype=np.int64), True)
            stored = Stored(system.values, np.empty(0, dtype=np.int64), "as it is")
        else:
            solution = _nearest(system, target, weight)
            stored = (
                to_storage(system, solution.values, target, weight, seconds=seconds)
                if on_raster
                else Stored(solution.values, np.empty(0, dtype=np.int64), "unrounded")
            )
            stored = _still(system, target, stored)
        sets = with_values(system, stored.values)
        again = broken_factors(system, sets)
        # Only where the reading table moves too can another pass help.
        if turn == PASSES - 1 or not any(s.place in system.places for s in again):
            break
    assert first is not None
    return _proposal(first, system, solution, stored, sets, left_out, weights, allowed, on_raster)


def _obeys(system: RuleSystem, on_raster: bool) -> bool:
    """Whether the present values obey every rule, and are stored as they are."""
    if system.broken(system.values).size or system.reduced.clash:
        return False
    if not on_raster:
        return True
    parts = system.unstacked(system.values)
    return all(
        (t.storage.representable(v) | ~np.isfinite(v)).all()
        for t, v in zip(system.tables, parts.values(), strict=True)
    )


def _still(system: RuleSystem, target: FloatArray, stored: Stored) -> Stored:
    """Put cells back that moved by a solver's rounding only, where the rules allow it."""
    moved = stored.values - target
    with np.errstate(invalid="ignore"):
        near = (moved != 0) & (np.abs(moved) <= ROUND_OFF * system.span)
    if not near.any():
        return stored
    values = np.where(near, target, stored.values)
    if system.broken(values).size > system.broken(stored.values).size:
        return stored
    return replace(stored, values=values)


def saturated(system: RuleSystem, wanted: FloatArray, stored: Stored) -> tuple[str, ...]:
    """Say which cells are beyond what their storage holds, and so take its end."""
    said = []
    now, aim = system.unstacked(stored.values), system.unstacked(wanted)
    for place, table in zip(system.places, system.tables, strict=True):
        low, high = table.storage.range
        hair = (
            ROUND_OFF * (high - low) if table.storage.is_integer else 0.0
        )  # a solver's last digit
        with np.errstate(invalid="ignore"):
            beyond = ((aim[place] > high + hair) & (now[place] == high)) | (
                (aim[place] < low - hair) & (now[place] == low)
            )
        cells = np.flatnonzero(beyond)
        if cells.size and stored.method != "unrounded":
            value = table.said(float(aim[place].flat[cells[0]]))
            more = f" and {cells.size - 1} more" if cells.size > 1 else ""
            said.append(
                f"{table.label}: {value} {at_cell(table, int(cells[0]))}{more} is beyond what "
                f"{table.storage} holds ({short(low)} to {table.said(high)}) and takes "
                "its end."
            )
    return tuple(said)


def _nearest(system: RuleSystem, target: FloatArray, weight: FloatArray) -> Solution:
    from scipy.sparse import diags_array

    # A cell of no weight still has one place to be: a hair's pull to where it was.
    share = np.maximum(weight, 1e-6 * max(float(weight.max(initial=0.0)), 1e-300))
    hessian = diags_array(share / system.span**2).tocsr()
    return minimise(system, hessian, -(hessian @ np.nan_to_num(target)))


def with_values(system: RuleSystem, values: FloatArray) -> tuple[CalibrationSet, ...]:
    """Return the system's sets with other values in the tables that may move."""
    sets = list(system.sets)
    for (number, id), array in system.unstacked(values).items():
        sets[number] = sets[number].with_table(sets[number].tables[id].with_values(array))
    return tuple(sets)


def broken_factors(system: RuleSystem, sets: Sequence[CalibrationSet]) -> list[Source]:
    """Rules that use moved values as factors and do not hold for the new ones."""
    found = []
    for source in system.read_as_factor:
        number, id = source.place
        context = Surroundings(sets[number], None)
        try:
            with np.errstate(all="ignore"):
                bad = source.rule.breaches(Stack([sets[number].tables[id]]), context)
                before = source.rule.breaches(
                    Stack([system.sets[number].tables[id]]), Surroundings(system.sets[number], None)
                )
        except BitepointError:
            continue
        if len(bad) > (0 if source.place in system.places else len(before)):
            found.append(source)
    return found


def before_and_after(
    system: RuleSystem, values: FloatArray
) -> tuple[dict[Place, Table], dict[Place, Table]]:
    """Return the tables that may move, as they are and with other values."""
    before = dict(zip(system.places, system.tables, strict=True))
    after = {
        place: before[place].with_values(array) for place, array in system.unstacked(values).items()
    }
    return before, after


def not_stated(system: RuleSystem) -> tuple[str, ...]:
    """Say which rules could not be taken into account."""
    return tuple(
        f"{label(system, m.place)}: {m.rule.kind.replace('_', ' ')}: {m.reason}"
        for m in system.missing
    )


def broken_parts(system: RuleSystem, stored: Stored) -> tuple[Part, ...]:
    """Return what does not hold afterwards: rules, and prescribed values no storage holds."""
    rows = np.concatenate([stored.broken, system.reduced.beyond])
    return (*parts_of(system, rows.tolist()), *_unstorable(system, stored))


def _unstorable(system: RuleSystem, stored: Stored) -> tuple[Part, ...]:
    """Cells at which locks or rules prescribe a value between two stored ones."""
    found = []
    held = system.allowed.copy()
    held[system.reduced.free] = False
    parts = system.unstacked(stored.values)
    for number, (place, table) in enumerate(zip(system.places, system.tables, strict=True)):
        start, stop = system.starts[number : number + 2]
        values = parts[place].reshape(-1)
        off = held[start:stop] & np.isfinite(values) & ~table.storage.representable(values)
        cells = np.flatnonzero(off).tolist()
        if cells and stored.method != "unrounded":
            value = table.said(float(values[cells[0]]))
            more = f" and {len(cells) - 1} more" if len(cells) > 1 else ""
            text = (
                f"{label(system, place)}: locks or rules prescribe {value} "
                f"{at_cell(table, cells[0])}{more}, which {table.storage} cannot hold."
            )
            found.append(
                Part(text, "on_raster", place, tuple((place, c) for c in cells), len(cells))
            )
    return tuple(found)


def remarks(
    system: RuleSystem, stored: Stored, sets: Sequence[CalibrationSet], done: str
) -> tuple[str, ...]:
    """Return what is to be known about an outcome, in sentences."""
    said = []
    if not system.reduced.free.size:
        said.append("Every cell is held by a lock or a rule, or may not move.")
    if stored.broken.size:
        said.append(
            f"Rounding to storage breaks {_rows(stored.broken.size)} "
            f"({'; '.join(p.text.rstrip('.') for p in parts_of(system, stored.broken.tolist()))})."
        )
    said += [part.text for part in _unstorable(system, stored)]
    beyond = system.reduced.beyond
    if beyond.size:
        said.append(
            f"{_rows(beyond.size).capitalize()} cannot be mended by the cells that may move."
        )
    for source in broken_factors(system, sets):
        table = sets[source.place[0]].tables[source.place[1]]
        said.append(
            f"{table.label} no longer keeps to a rule that reads the {done} values: "
            f"{source.rule.statement(table)}."
        )
    missing = not_stated(system)
    if missing:
        said.append(f"Not taken into account: {'; '.join(m.rstrip('.') for m in missing)}.")
    return tuple(said)


def _rows(count: int) -> str:
    return f"a rule at {count} place{'' if count == 1 else 's'}"


def _proposal(
    first: RuleSystem,
    system: RuleSystem,
    solution: Solution,
    stored: Stored,
    sets: Sequence[CalibrationSet],
    without: tuple[str, ...],
    weights: Mapping[str, Any] | None,
    allowed: Mapping[str, BoolArray] | None,
    on_raster: bool,
) -> Proposal:
    before, after = before_and_after(first, stored.values)
    settings: dict[str, Any] = {"tables": [label(first, p) for p in first.places]}
    if without:
        settings["without"] = list(without)
    if weights:
        settings["weights"] = "given"
    if allowed:
        settings["cells that may move"] = int(first.allowed.sum())
    settings["rounded to storage"] = "yes" if on_raster else "no"
    diagnostics = Diagnostics(
        solver=solution.solver,
        residual=solution.residual,
        active=parts_of(system, solution.active.tolist()),
        broken=broken_parts(system, stored),
        not_stated=not_stated(system),
        figures={"stored": stored.method},
    )
    names = " and ".join(dict.fromkeys(label(first, p) for p in first.places))
    return Proposal(
        f"Repair {names}: nearest values under the rules",
        before,
        after,
        settings,
        diagnostics,
        (*saturated(first, first.values, stored), *remarks(system, stored, sets, "repaired")),
        {
            p: ideal
            for p, ideal in replace(first).unstacked(solution.values).items()
            if not np.array_equal(ideal, after[p].values, equal_nan=True)
        },
    )
