"""Which table plays which role, and which input an axis reads: suggested, never assumed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np

from ..core.calibration_set import CalibrationSet
from ..core.table import Table
from .fit import IMPOSSIBLE, Evidence, TableFits
from .profiles import profiles

LEAST = 3.2
"""Weight below which nothing is suggested."""
AHEAD = 0.7
"""By how much what is sure stands before the next table, and the next role."""


class Surely(StrEnum):
    """How certain a suggestion is."""

    SURE = "sure"
    """Name, units, axes, range and shape agree, and nothing else comes near."""
    LIKELY = "likely"
    POSSIBLE = "possible"


@dataclass(frozen=True)
class Suggestion:
    """A role for a table, with the inputs of its axes.

    Parameters
    ----------
    table, role : str
    inputs : tuple of str
        Per axis; empty for an axis that is not understood.
    surely : Surely
    reasons, doubts : tuple of str
        What speaks for it and against it.
    instead : tuple of str
        Roles that this table might play otherwise, and tables that might play the role.
    weight : float
    """

    table: str
    role: str
    inputs: tuple[str, ...]
    surely: Surely
    reasons: tuple[str, ...]
    doubts: tuple[str, ...]
    instead: tuple[str, ...] = ()
    weight: float = 0.0


@dataclass(frozen=True)
class AxisSuggestion:
    """An input for an axis of a table that no role is suggested for.

    Parameters
    ----------
    table : str
    axis : int
    quantity : str
    surely : Surely
    reasons : tuple of str
    """

    table: str
    axis: int
    quantity: str
    surely: Surely
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Suggestions:
    """What can be said of a whole set.

    Parameters
    ----------
    roles : tuple of Suggestion
        In the order of the set's tables; each role and each table at most once.
    axes : tuple of AxisSuggestion
    """

    roles: tuple[Suggestion, ...]
    axes: tuple[AxisSuggestion, ...]

    @property
    def sure(self) -> tuple[Suggestion, ...]:
        """Those that may be confirmed together."""
        return tuple(one for one in self.roles if one.surely is Surely.SURE)

    @property
    def by_table(self) -> Mapping[str, Suggestion]:
        """By the table's id."""
        return MappingProxyType({one.table: one for one in self.roles})


def suggest_roles(content: CalibrationSet) -> Suggestions:
    """Suggest roles for the tables that play none, and inputs for the axes that read none.

    The whole set is looked at together: each role goes to one table and each table gets one role
    so that the weights together are largest (linear assignment).  Roles that are played, and
    tables that play one, are left alone.

    Parameters
    ----------
    content : CalibrationSet

    Examples
    --------
    >>> import calib_model as cm
    >>> gain = cm.Table("KP", [[90.0, 60], [80, 50]], (
    ...     cm.Axis([0, 160], "veh spd", "kph"), cm.Axis([0, 8], "slip error", "km/h"),
    ... ), "Slip gain", "Nm/kph")
    >>> (one,) = cm.suggest_roles(cm.CalibrationSet([gain])).roles
    >>> one.role, str(one.surely), one.inputs
    ('slip_gain', 'sure', ('vehicle_speed', 'slip_error'))
    >>> print(one.reasons[0])
    its name says gain slip
    """
    every = profiles().roles
    played = {table.role for table in content if table.role}
    open_roles = [role for role in every if role not in played]
    tables = [table for table in content if not table.role]
    fits = [TableFits(table) for table in tables]
    found = [[one.of(every[role]) for role in open_roles] for one in fits]
    weights = np.array([[e.weight for e in row] for row in found]).reshape(
        len(tables), len(open_roles)
    )
    pairs = _assigned(weights)
    roles = tuple(
        _suggestion(tables, open_roles, found, weights, row, column) for row, column in pairs
    )
    taken = {row: roles[n] for n, (row, _) in enumerate(pairs)}
    axes = tuple(
        suggested
        for row, table in enumerate(tables)
        if row not in taken
        for suggested in _axes(table, fits[row])
    )
    bound = tuple(s for t in content if t.role for s in _axes(t, TableFits(t)))
    return Suggestions(roles, axes + bound)


def _assigned(weights: np.ndarray) -> list[tuple[int, int]]:
    from scipy.optimize import linear_sum_assignment

    if not weights.size:
        return []
    gain = np.where(weights >= LEAST, weights - LEAST + 1e-6, 0.0)
    rows, columns = linear_sum_assignment(gain, maximize=True)
    pairs = [(int(r), int(c)) for r, c in zip(rows, columns, strict=True) if gain[r, c] > 0]
    return sorted(pairs)


def _suggestion(
    tables: list[Table],
    roles: list[str],
    found: list[list[Evidence]],
    weights: np.ndarray,
    row: int,
    column: int,
) -> Suggestion:
    evidence = found[row][column]
    other_roles = _next(weights[row], column)
    other_tables = _next(weights[:, column], row)
    ahead = evidence.weight - max((weights[row, n] for n in other_roles), default=IMPOSSIBLE)
    before = evidence.weight - max((weights[n, column] for n in other_tables), default=IMPOSSIBLE)
    surely = Surely.POSSIBLE
    if min(ahead, before) >= 0.3 and evidence.name >= 0.4:
        surely = Surely.LIKELY
    if min(ahead, before) >= AHEAD and _certain(evidence):
        surely = Surely.SURE
    instead = [
        f"{tables[row].id} may be {roles[n]}"
        for n in other_roles
        if weights[row, n] > evidence.weight - AHEAD
    ]
    instead += [
        f"{tables[n].id} may be {roles[column]}"
        for n in other_tables
        if weights[n, column] > evidence.weight - AHEAD
    ]
    return Suggestion(
        tables[row].id,
        roles[column],
        evidence.axes,
        surely,
        evidence.reasons,
        evidence.doubts,
        tuple(instead[:4]),
        float(evidence.weight),
    )


def _certain(evidence: Evidence) -> bool:
    return (
        evidence.name >= 0.7
        and evidence.clean >= 0.9
        and evidence.units
        and evidence.inside
        and not any("does not" in doubt for doubt in evidence.doubts)
    )


def _next(weights: np.ndarray, but: int) -> list[int]:
    """Places of the three largest weights beside one that are possible at all."""
    order = np.argsort(-weights, kind="stable")
    return [int(n) for n in order[:4] if n != but and weights[n] > IMPOSSIBLE][:3]


def _axes(table: Table, fits: TableFits) -> list[AxisSuggestion]:
    suggested = []
    for number, axis in enumerate(table.axes):
        if axis.quantity:
            continue
        ranked = sorted(
            ((fits.axis_fits[number, name].weight, name) for name in profiles().inputs),
            reverse=True,
        )
        (best, name), (second, _) = ranked[:2]
        if best < 0.5:
            continue
        evidence = fits.axis_fits[number, name]
        clear = best - second >= 0.2
        sure = clear and evidence.name >= 0.7 and evidence.clean >= 0.7
        surely = Surely.POSSIBLE
        if clear and evidence.name > 0:
            surely = Surely.LIKELY
        if sure and evidence.units and evidence.inside:
            surely = Surely.SURE
        suggested.append(AxisSuggestion(table.id, number, name, surely, evidence.reasons))
    return suggested
