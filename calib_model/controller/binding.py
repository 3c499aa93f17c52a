"""Which table plays which part: a set bound to the torque law."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np

from calib_model.controller.constants import Constants
from calib_model.controller.inputs import INPUT_INDEX
from calib_model.controller.needs import ROLE_UNITS
from calib_model.core import units
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import QUANTITIES, ROLES
from calib_model.core.table import Table
from calib_model.errors import UnitProblem
from calib_model.lookup.bank import Bank


@dataclass(frozen=True, eq=False)
class Bound:
    """A set's tables by the part they play; made by `bind`.

    Parameters
    ----------
    bank : Bank
        One slot per role, in the order of `ROLES`.  It holds values as the controller stores
        them: the nearest to the set's values on each table's raster (or float type).
    tables : mapping of role to Table
        The usable ones.
    missing : tuple of str
        Roles that nobody plays.
    unusable : mapping of role to str
        Roles whose table cannot be used, with the reason; they count as missing.
    repeated : mapping of role to tuple of str
        Roles that several tables claim, with their ids; none of these is used.
    strangers : mapping of table id to str
        Tables bound to a role that is not known, with that role.
    constants : Constants
    tick_s : float
        Controller tick in s: the set's, or else the constants'.
    """

    bank: Bank
    tables: Mapping[str, Table]
    missing: tuple[str, ...]
    unusable: Mapping[str, str]
    repeated: Mapping[str, tuple[str, ...]]
    strangers: Mapping[str, str]
    constants: Constants
    tick_s: float

    @cached_property
    def _roles_by_table(self) -> dict[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        for role, table in self.tables.items():
            found[table.id] = (*found.get(table.id, ()), role)
        return found

    def roles_of_table(self, id: str) -> tuple[str, ...]:
        """Return the roles that a table plays; none if it is not in use."""
        return self._roles_by_table.get(id, ())


def bind(content: CalibrationSet, constants: Constants) -> Bound:
    """Bind a set to the torque law.

    Nothing is refused: what is missing or cannot be used is named in the result.

    Parameters
    ----------
    content : CalibrationSet
    constants : Constants
    """
    claims: dict[str, list[Table]] = {}
    strangers: dict[str, str] = {}
    for table in content:
        if table.role in ROLE_UNITS:
            claims.setdefault(table.role, []).append(table)
        elif table.role:
            strangers[table.id] = table.role
    repeated = {r: tuple(sorted(t.id for t in f)) for r, f in claims.items() if f[1:]}
    unusable = {role: why for role, found in claims.items() if (why := _why_not(role, found))}
    tables = {role: claims[role][0] for role in ROLES if role in claims and role not in unusable}
    tick = tables.get("controller_tick")
    return Bound(
        Bank.of([tables.get(role) for role in ROLES], INPUT_INDEX, stored=True),
        MappingProxyType(tables),
        tuple(role for role in ROLES if role not in claims),
        MappingProxyType(unusable),
        MappingProxyType(repeated),
        MappingProxyType(strangers),
        constants,
        float(tick.values) / 1000.0 if tick is not None else constants.tick,
    )


def _why_not(role: str, found: list[Table]) -> str:
    if found[1:]:  # the first would be a matter of their order, which no digest covers
        named = " and ".join(sorted(table.id for table in found))
        return f"{len(found)} tables play it ({named}), so none is used: leave the role to one"
    return not_usable(role, found[0])


def not_usable(role: str, table: Table) -> str:
    """Say why the controller cannot use a table in a role; empty if it can."""
    empty = int(np.count_nonzero(~np.isfinite(table.values)))
    if empty:
        cells = "1 cell is" if empty == 1 else f"{empty} cells are"
        return f"{cells} not filled in table {table.id}: fill them"
    if not _alike(table.unit, ROLE_UNITS[role]):
        return (
            f"Table {table.id} is in {table.unit}, the controller reads {ROLE_UNITS[role]}: "
            "convert its values"
        )
    for axis in table.axes:
        if not axis.ordered:
            return f"Axis {axis.label} of table {table.id} is out of order: put it in order"
        if axis.quantity not in QUANTITIES:
            said = f"reads {axis.quantity!r}, no known input" if axis.quantity else "is not bound"
            return f"Axis {axis.label} of table {table.id} {said}: bind it to an input"
        unit = QUANTITIES[axis.quantity]
        if not _alike(axis.unit, unit):
            return (
                f"Axis {axis.label} of table {table.id} is in {axis.unit}, the controller reads "
                f"{axis.quantity} in {unit}: convert the axis"
            )
    if role in ("controller_tick", "plate_heat_capacity") and not (table.values > 0).all():
        return f"Table {table.id} must be above zero: correct it"
    if role == "controller_tick" and table.axes:
        return f"Table {table.id} has axes, but the controller has one tick: make it a scalar"
    return ""


def _alike(unit: str, wanted: str) -> bool:
    """Whether numbers in one unit mean the same in the other."""
    if unit == wanted or {unit, wanted} <= {"-", "", "0/1"}:
        return True
    try:
        return bool(np.array_equal(units.convert([0.0, 1.0], unit, wanted), [0.0, 1.0]))
    except UnitProblem:
        return False
