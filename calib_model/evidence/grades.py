"""What stands behind each changed cell: the grades of evidence.

A drive counts for the values that were in the vehicle.  A cell is *driven* if a drive on the road
used it with its present value and, where its table is part of the chain of maxima and minima
that makes the torque, the table decided there.  A visit to a limit that never limited proves
nothing, and neither does one on the desk where a vehicle is asked for.

`Drive.visits` holds what a drive visited, as JSON text::

    {"version": 1,
     "stated": false,
     "match": "agrees",
     "tables": {
       "pre_engage_torque": {
         "unit": "N.m",
         "axes": [["ambient_temperature", "degC"], ["pedal", "%"]],
         "chain": true,
         "places": [[-10, 40], [-10, 50]],
         "seconds": [3.2, 0.6],
         "decided": [2.5, 0],
         "values": [215, 240]}}}

``stated`` is true where a person, not the recording, said which set was in the vehicle; ``match``
says how far the replay agreed with the vehicle (`calib_model.evidence.trust.Level`).  Per table:
the unit of the values; the input quantity and unit of each axis; whether it is in the chain; and,
for every cell used, its axis values, the seconds for which it was the nearest, those for which
the table decided there, and the value then in force.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np

from ..compare.cells import NotComparable, differs, in_unit_of, same_grid
from ..core.arrays import BoolArray, cell_tuples, same_values
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short
from ..core.record import Drive, Place
from ..core.table import Table
from ..errors import BitepointError
from ..lookup.reference import lookup_values

VISITS_VERSION = 1
_MATCH_DOUBTS = {
    "not known": "the replay could not be held against the vehicle",
    "agrees in part": "the replay agreed with the vehicle in part only",
}
"""By `calib_model.evidence.trust.Level`, as a drive keeps it."""


class Grade(StrEnum):
    """What stands behind a cell's value, the best first."""

    DRIVEN = "driven with these values"
    VISITED = "visited with other values"
    DESK = "desk only"
    NONE = "no evidence"


@dataclass(frozen=True)
class CellGrade:
    """The evidence for one changed cell.

    Parameters
    ----------
    table : str
    cell : tuple of int
    place : tuple of float
        Its axis values.
    grade : Grade
    words : str
        What stands behind it, in a sentence.
    seconds, decided : float
        Of the drives that the grade rests on.
    drives : tuple of str
        Their names.
    never_decided : bool
        Visited, but another table always decided.
    """

    table: str
    cell: tuple[int, ...]
    place: Place
    grade: Grade
    words: str
    seconds: float = 0.0
    decided: float = 0.0
    drives: tuple[str, ...] = ()
    never_decided: bool = False


@dataclass(frozen=True)
class Grades:
    """The evidence for all changed cells of a set.

    Parameters
    ----------
    tables : mapping of table id to tuple of CellGrade
        Tables with changed cells, in the set's order.
    """

    tables: Mapping[str, tuple[CellGrade, ...]] = field(default_factory=dict)

    @property
    def cells(self) -> tuple[CellGrade, ...]:
        """Every changed cell."""
        return tuple(cell for cells in self.tables.values() for cell in cells)

    @property
    def lacking(self) -> dict[str, tuple[CellGrade, ...]]:
        """Per table, the cells that were not driven with their present values."""
        found = {
            id: tuple(c for c in cells if c.grade is not Grade.DRIVEN)
            for id, cells in self.tables.items()
        }
        return {id: cells for id, cells in found.items() if cells}

    def count(self, grade: Grade) -> int:
        """Return how many changed cells have a grade."""
        return sum(cell.grade is grade for cell in self.cells)

    @property
    def words(self) -> str:
        """Say it in one line."""
        total = len(self.cells)
        if not total:
            return "No cell changed."
        parts = ", ".join(f"{n} {grade}" for grade in Grade if (n := self.count(grade)))
        return f"{total} {'cell' if total == 1 else 'cells'} changed: {parts}."


# -- what a drive visited ------------------------------------------------------------------


@dataclass(frozen=True)
class TableVisits:
    """What a drive visited of one table; see the module.

    Parameters
    ----------
    unit : str
    axes : tuple of (str, str)
        Quantity and unit of each axis.
    chain : bool
    cells : mapping of Place to (seconds, decided, value)
    """

    unit: str
    axes: tuple[tuple[str, str], ...]
    chain: bool
    cells: Mapping[Place, tuple[float, float, float]]


@dataclass(frozen=True)
class Visits:
    """What a drive visited.

    Parameters
    ----------
    tables : mapping of table id to TableVisits
    stated : bool
        A person said which set was in the vehicle.
    match : str
        How far the replay agreed with the vehicle; empty for a drive at the desk.
    """

    tables: Mapping[str, TableVisits] = field(default_factory=dict)
    stated: bool = False
    match: str = ""

    @property
    def doubts(self) -> tuple[str, ...]:
        """What is to be said of a drive that rests on less than the rest."""
        found = []
        if self.stated:
            found.append("which set was in the vehicle was stated by hand")
        if self.match in _MATCH_DOUBTS:
            found.append(_MATCH_DOUBTS[self.match])
        return tuple(found)


def visits_text(visits: Visits) -> str:
    """Return visits as the JSON text that `Drive.visits` holds."""
    tables: dict[str, Any] = {}
    for id, mine in visits.tables.items():
        rows = mine.cells.values()
        tables[id] = {
            "unit": mine.unit,
            "axes": [list(axis) for axis in mine.axes],
            "chain": mine.chain,
            "places": [[_plain(x) for x in place] for place in mine.cells],
            "seconds": [_plain(round(seconds, 3)) for seconds, _, _ in rows],
            "decided": [_plain(round(decided, 3)) for _, decided, _ in rows],
            "values": [_plain(value) for _, _, value in rows],
        }
    plain = {
        "version": VISITS_VERSION,
        "stated": visits.stated,
        "match": visits.match,
        "tables": tables,
    }
    return json.dumps(plain, allow_nan=False, separators=(",", ":"))


def _plain(value: float) -> float | int:
    return int(value) if value == int(value) and abs(value) < 2**53 else float(value)


def visits_of(drive: Drive) -> Visits | None:
    """Read back what `visits_text` wrote; None for a text that is none of this version's."""
    try:
        plain = json.loads(drive.visits)
        if plain["version"] != VISITS_VERSION:
            return None
        return Visits(
            {str(id): _table_visits(mine) for id, mine in plain["tables"].items()},
            plain.get("stated") is True,
            str(plain.get("match", "")),
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def _table_visits(plain: Mapping[str, Any]) -> TableVisits:
    columns = [[_number(x) for x in plain[name]] for name in ("seconds", "decided", "values")]
    places = [tuple(_number(x) for x in place) for place in plain["places"]]
    return TableVisits(
        str(plain["unit"]),
        tuple((str(quantity), str(unit)) for quantity, unit in plain["axes"]),
        plain["chain"] is True,
        dict(zip(places, zip(*columns, strict=True), strict=True)) if places else {},
    )


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError
    return float(value)


# -- grades --------------------------------------------------------------------------------


def grades(
    content: CalibrationSet,
    base: CalibrationSet | None,
    drives: Iterable[Drive],
    tables: Iterable[str] | None = None,
) -> Grades:
    """Return the evidence for every cell that changed.

    Parameters
    ----------
    content : CalibrationSet
    base : CalibrationSet or None
        What changes count from, such as the state last signed off; None: every cell counts as
        changed.
    drives : iterable of Drive
        Such as ``content.record.drives``.
    tables : iterable of str, optional
        Ids to look at; all by default.
    """
    chosen = content.tables if tables is None else [id for id in tables if id in content.tables]
    known = [(drive, visits) for drive in drives if (visits := visits_of(drive)) is not None]
    found: dict[str, tuple[CellGrade, ...]] = {}
    for id in chosen:
        table = content.tables[id]
        before = base.tables.get(id) if base is not None else None
        if before is table:
            continue  # of 30,000 tables most are
        cells = np.flatnonzero(changed_cells(table, before))
        if cells.size:
            found[id] = _graded(table, cells.tolist(), known)
    return Grades(found)


def changed_cells(table: Table, before: Table | None) -> BoolArray:
    """Tell which cells changed, the table's shape.

    Where breakpoints differ, a cell changed if the earlier table read another value there.
    """
    everything = np.ones(table.shape, dtype=np.bool_)
    if before is table:
        return ~everything
    if before is None:
        return everything
    try:
        other = in_unit_of(table, before)
    except NotComparable:
        return everything
    if table.shape == other.shape and same_grid(table, other):
        if same_values(table.values, other.values):
            return ~everything
        return differs(other.values, table.values, other is not before)
    pairs = [(a.quantity or a.name, a.interpolation, a.below, a.above) for a in table.axes]
    if pairs != [(a.quantity or a.name, a.interpolation, a.below, a.above) for a in other.axes]:
        return everything
    try:
        grid = np.meshgrid(*(axis.values for axis in table.axes), indexing="ij")
        read = lookup_values(other.axes, other.values, grid, table.id)
    except BitepointError:
        return everything
    return differs(read, table.values, True)


def _graded(
    table: Table, cells: list[int], known: list[tuple[Drive, Visits]]
) -> tuple[CellGrade, ...]:
    axes = tuple((axis.quantity, axis.unit) for axis in table.axes)
    mine = [
        (drive, visits.tables[table.id], visits.doubts)
        for drive, visits in known
        if table.id in visits.tables and visits.tables[table.id].axes == axes
    ]
    found = []
    for cell in cell_tuples(cells, table.shape):
        place = tuple(float(axis.values[i]) + 0.0 for axis, i in zip(table.axes, cell, strict=True))
        found.append(_cell(table, cell, place, mine))
    return tuple(found)


@dataclass
class _Sum:
    """Drives of one kind at one cell, added up."""

    seconds: float = 0.0
    decided: float = 0.0
    names: list[str] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    doubts: dict[str, None] = field(default_factory=dict)

    def add(self, drive: Drive, row: tuple[float, float, float], doubts: tuple[str, ...]) -> None:
        self.seconds += row[0]
        self.decided += row[1]
        self.doubts |= dict.fromkeys(doubts)
        if drive.name not in self.names:
            self.names.append(drive.name)
        if row[2] not in self.values:
            self.values.append(row[2])


def _cell(
    table: Table,
    cell: tuple[int, ...],
    place: Place,
    mine: list[tuple[Drive, TableVisits, tuple[str, ...]]],
) -> CellGrade:
    value = float(table.values[cell])
    kinds = ("driven", "other", "desk", "desk other", "idle")
    sums = {kind: _Sum() for kind in kinds}
    chain = False
    for drive, visits, doubts in mine:
        row = visits.cells.get(place)
        if row is None or row[0] <= 0:
            continue
        chain |= visits.chain
        same = same_value(table, value, visits.unit, row[2])
        if visits.chain and row[1] <= 0:
            kind = "idle"
        elif drive.source == "manoeuvre":
            kind = "desk" if same else "desk other"
        else:
            kind = "driven" if same else "other"
        sums[kind].add(drive, row, doubts)
    for kind, grade in (
        ("driven", Grade.DRIVEN),
        ("other", Grade.VISITED),
        ("desk", Grade.DESK),
    ):
        if sums[kind].seconds > 0:
            words = _words(table, kind, sums[kind], chain)
            total = sums[kind]
            return CellGrade(
                table.id,
                cell,
                place,
                grade,
                words,
                total.seconds,
                total.decided,
                tuple(total.names),
            )
    idle, away = sums["idle"], sums["desk other"]
    if idle.seconds > 0:
        return CellGrade(
            table.id,
            cell,
            place,
            Grade.NONE,
            f"visited for {_time(idle.seconds)}, but never deciding: another table governed "
            f"({_names(idle)})",
            idle.seconds,
            0.0,
            tuple(idle.names),
            never_decided=True,
        )
    words = "no drive was here"
    if away.seconds > 0:
        words = f"driven at the desk with other values only ({_names(away)})"
    elif mine:
        words = "no drive used this cell"
    return CellGrade(table.id, cell, place, Grade.NONE, words)


def same_value(table: Table, value: float, unit: str, then: float) -> bool:
    """Whether a value in force then is what the controller stores today."""
    if unit != table.unit:
        return False
    step = table.storage.resolution
    if step > 0:
        return abs(value - then) < step * (1 - 1e-9)
    return math.isclose(value, then, rel_tol=1e-12, abs_tol=0.0)


def _words(table: Table, kind: str, total: _Sum, chain: bool) -> str:
    decided = f", deciding for {_time(total.decided)}" if chain else ""
    of = f"for {_time(total.seconds)}{decided} ({_names(total)})"
    if kind == "driven":
        return "; ".join([f"driven with this value {of}", *total.doubts])
    if kind == "desk":
        return f"driven at the desk only, with this value {of}"
    values = " and ".join(table.said(v) for v in sorted(total.values)[:3])
    return f"visited with another value, {values}, {of}"


def _time(seconds: float) -> str:
    return f"{short(round(seconds, 2), 4)} s"


def _names(total: _Sum) -> str:
    more = len(total.names) - 3
    return ", ".join(total.names[:3]) + (f" and {more} more" if more > 0 else "")
