"""The rules that come along with a role: offered, never added without being asked for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from types import MappingProxyType
from typing import Any

from ..core.calibration_set import CalibrationSet
from ..core.roles import QUANTITIES
from ..core.rule import Rule, Severity
from ..core.rule_plain import rule_from_plain
from ..core.rule_settings import In, Of, settings_of
from ..core.table import Table
from ..core.unit_words import alike
from ..editing.change import Change
from ..editing.rule_changes import set_rules
from ..rules.plausibility import Covers
from .profiles import InputProfile, RoleProfile, profiles


@dataclass(frozen=True)
class Waiting:
    """A rule of the starting sheet that cannot be offered yet.

    Parameters
    ----------
    table : str
    kind : str
    reason : str
        What it waits for.
    """

    table: str
    kind: str
    reason: str


@dataclass(frozen=True)
class Starting:
    """What the starting sheet has for the tables of a set.

    Parameters
    ----------
    rules : mapping of table id to tuple of Rule
        That the table does not have yet in any form.
    waiting : tuple of Waiting
    """

    rules: Mapping[str, tuple[Rule, ...]]
    waiting: tuple[Waiting, ...]

    def change(self, content: CalibrationSet, ids: Iterable[str] | None = None) -> Change:
        """Return the change that adds the rules, of some tables or all.

        Parameters
        ----------
        content : CalibrationSet
        ids : iterable of str, optional
        """
        chosen = set(self.rules if ids is None else ids)
        mine = {id: rules for id, rules in self.rules.items() if id in chosen}
        count = sum(map(len, mine.values()))
        tables = f"{len(mine)} table{'' if len(mine) == 1 else 's'}"
        return set_rules(content, mine, f"Add {count} starting rules to {tables}")


def starting_rules(content: CalibrationSet, ids: Iterable[str] | None = None) -> Starting:
    """Return the rules that the starting sheet has for tables that play a role.

    Parameters
    ----------
    content : CalibrationSet
    ids : iterable of str, optional
        By default all tables.

    Notes
    -----
    A rule is not offered where the table has one of its kind for the same axis and place: what a
    user settled on stands.  A role that two tables play belongs to neither, so nothing comes of it.
    """
    rules: dict[str, tuple[Rule, ...]] = {}
    waiting: list[Waiting] = []
    players = _players(content)
    for id in content.tables if ids is None else dict.fromkeys(ids):
        table = content[id]
        role = profiles().roles.get(table.role)
        if role is None or players.get(table.role) != id:
            continue
        offered: list[Rule] = []
        for plain in role.rules:
            found = _made(table, role, plain, players)
            if isinstance(found, str):
                waiting.append(Waiting(id, plain["kind"], found))
            else:
                offered.append(found)
        offered += _coverage(table, waiting)
        new = tuple(rule for rule in offered if not any(_settles(r, rule) for r in table.rules))
        if new:
            rules[id] = new
    return Starting(MappingProxyType(rules), tuple(waiting))


def _players(content: CalibrationSet) -> dict[str, str]:
    claims: dict[str, list[str]] = {}
    for table in content:
        if table.role:
            claims.setdefault(table.role, []).append(table.id)
    return {role: ids[0] for role, ids in claims.items() if len(ids) == 1}


def _made(
    table: Table, role: RoleProfile, plain: Mapping[str, Any], players: Mapping[str, str]
) -> Rule | str:
    """Return a rule with tables in place of their roles, or what it waits for."""
    rule = rule_from_plain(plain)
    named: dict[str, Any] = {}
    for setting in settings_of(type(rule)):
        value = getattr(rule, setting.name)
        if setting.of is Of.TABLE and value:
            if value not in players:
                return f"no table plays {value} yet"
            named[setting.name] = players[value]
        if setting.of is Of.AXIS and value:
            number = table.axis_of(value)
            if number < 0:
                return f"no axis reads {value}"
            if setting_in_axis_unit(rule) and not _reads(table, number):
                return f"{value} is read in {table.axes[number].unit}, not {QUANTITIES[value]}"
        if setting.unit is In.TABLE and value and alike(table.unit, role.unit) != "same":
            return f"the table is in {table.unit}, not {role.unit}"
        if setting.of is Of.POINT and len(value) != len(table.axes):
            return f"it is stated for {len(value)} axes"
    for part in rule.scope:
        number = table.axis_of(part.axis)
        if number < 0:
            return f"no axis reads {part.axis}"
        if not _reads(table, number):
            return f"{part.axis} is read in {table.axes[number].unit}, not {QUANTITIES[part.axis]}"
    return replace(rule, **named)


def setting_in_axis_unit(rule: Rule) -> bool:
    """Whether a rule holds a number in the unit of its axis."""
    return any(
        s.unit in (In.AXIS, In.PER_AXIS, In.AXIS_PER_SECOND) and getattr(rule, s.name)
        for s in settings_of(type(rule))
    )


def _reads(table: Table, number: int) -> bool:
    axis = table.axes[number]
    return alike(axis.unit, QUANTITIES[axis.quantity]) == "same"


def _coverage(table: Table, waiting: list[Waiting]) -> list[Rule]:
    """Return what an axis has to reach: the declared range of its input."""
    found: list[Rule] = []
    for number, axis in enumerate(table.axes):
        one = profiles().inputs.get(axis.quantity)
        if one is None:
            continue
        if not _reads(table, number):
            reason = f"{one.name} is read in {axis.unit}, not {one.unit}"
            waiting.append(Waiting(table.id, Covers.kind, reason))
            continue
        found += _reaching(one)
    return found


def _reaching(one: InputProfile) -> list[Rule]:
    reason = "the declared range of the input; beyond it the last value is held"
    if one.low_severity is one.high_severity:
        return [Covers(one.name, one.low, one.high, severity=one.low_severity, reason=reason)]
    ends: tuple[tuple[float, Severity], ...] = (
        (one.low, one.low_severity),
        (one.high, one.high_severity),
    )
    return [Covers(one.name, end, end, severity=severity, reason=reason) for end, severity in ends]


def _settles(mine: Rule, offered: Rule) -> bool:
    """Whether a table's rule, on or off, says already what an offered one is about."""
    if type(mine) is not type(offered):
        return False
    if isinstance(mine, Covers) and isinstance(offered, Covers):
        return mine.axis == offered.axis and (
            (mine.low <= offered.low and offered.high <= mine.high) or mine.low == offered.low
        )
    about = [f.name for f in fields(offered) if f.name in ("axis", "other", "scope", "band",
                                                            "capability", "end")]  # fmt: skip
    return all(getattr(mine, name) == getattr(offered, name) for name in about)
