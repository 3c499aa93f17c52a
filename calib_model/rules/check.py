"""Check a set: evaluate every rule in force and say in words what does not hold.

Tables are grouped by shape, so that 30,000 are checked in one sweep; after an edit only the
rules that read a changed table are evaluated again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date
from functools import cached_property

import numpy as np

from ..core.arrays import cell_tuples
from ..core.calibration_set import CalibrationSet
from ..core.rule import Breach, NotChecked, Rule, Severity, Stack
from ..core.table import Table
from ..errors import BitepointError
from . import limits, one_role, plausibility, relations, waivers

ALWAYS: tuple[Rule, ...] = (
    plausibility.Finite(),
    plausibility.AxisOrder(),
    limits.Limits(),
    plausibility.OnRaster(),
    plausibility.AxisOnRaster(),
    plausibility.Flattened(),
    plausibility.Outlier(),
)
"""Rules in force for every table."""

MODE_RELATION = relations.ModeRelation()
ONE_ROLE = one_role.OneRole()
_ORDER = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}


@dataclass(frozen=True)
class Finding:
    """One rule that does not hold in one table.

    Parameters
    ----------
    table : str
    rule : str
        Kind of the rule.
    severity : Severity
    cells : tuple of index tuples
    axis_values : tuple of tuples of float
        Axis values at those cells.
    amount, unit : float, str
        Size of the largest breach.
    message : str
        A sentence a person can act on.
    remedies : tuple of str
        Kinds of remedy that suit it, best first.
    waived : bool
    source : Rule
        The rule itself.
    places : int
        How many rows of the rule do not hold.
    mode : str
        The drive mode whose relation is meant; empty for every other rule.
    waiver : str
        Id of the waiver that covers it.
    """

    table: str
    rule: str
    severity: Severity
    cells: tuple[tuple[int, ...], ...]
    axis_values: tuple[tuple[float, ...], ...]
    amount: float
    unit: str
    message: str
    remedies: tuple[str, ...] = ()
    waived: bool = False
    source: Rule = field(default=ALWAYS[0], repr=False)
    places: int = 1
    mode: str = ""
    waiver: str = ""


@dataclass(frozen=True)
class NotCheckedRule:
    """A rule that could not be evaluated: what was not looked at is not sound.

    Parameters
    ----------
    table : str
    rule : str
        Kind of the rule.
    reason : str
        In a sentence.
    mode : str
        The drive mode whose relation is meant; empty for every other rule.
    """

    table: str
    rule: str
    reason: str
    mode: str = ""


@dataclass(frozen=True)
class Report:
    """What a check found.

    Parameters
    ----------
    by_table : mapping of table id to tuple of Finding
    not_checked_by_table : mapping of table id to tuple of NotCheckedRule
    """

    by_table: Mapping[str, tuple[Finding, ...]]
    not_checked_by_table: Mapping[str, tuple[NotCheckedRule, ...]]

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, the gravest first, else in the set's order."""
        everything = [f for found in self.by_table.values() for f in found]
        return tuple(sorted(everything, key=lambda f: _ORDER[f.severity]))

    @cached_property
    def not_checked(self) -> tuple[NotCheckedRule, ...]:
        """Rules that could not be evaluated."""
        return tuple(n for group in self.not_checked_by_table.values() for n in group)

    def of(self, table_id: str) -> tuple[Finding, ...]:
        """Findings of one table."""
        return self.by_table.get(table_id, ())

    def counts(self, table_id: str | None = None) -> tuple[int, int, int]:
        """Return the numbers of unwaived errors, warnings and notes."""
        found = self.findings if table_id is None else self.of(table_id)
        totals = [0, 0, 0]
        for finding in found:
            if not finding.waived:
                totals[_ORDER[finding.severity]] += 1
        return totals[0], totals[1], totals[2]

    @property
    def sound(self) -> bool:
        """Whether there is no unwaived error or warning (notes do not count)."""
        errors, warnings, _ = self.counts()
        return not errors and not warnings

    @property
    def complete(self) -> bool:
        """Whether every rule could be evaluated."""
        return not any(self.not_checked_by_table.values())


def check(
    content: CalibrationSet, against: Sequence[CalibrationSet] = (), *, day: date | None = None
) -> Report:
    """Check a whole set; its waivers are honoured.

    Parameters
    ----------
    content : CalibrationSet
    against : sequence of CalibrationSet
        Sets of other modes, for the mode relations: the base set if `content` is a mode set;
        any mode sets if `content` is the base.
    day : date, optional
        The day to judge waivers by; the present one by default.

    Returns
    -------
    Report
    """
    return Checker(content, against, day=day).report


def with_findings(report: Report, more: Iterable[Finding]) -> Report:
    """Return a report with findings that come from beside the rules.

    Parameters
    ----------
    report : Report
    more : iterable of Finding
        Of tables that may be gone.
    """
    by_table = dict(report.by_table)
    for finding in more:
        by_table[finding.table] = (*by_table.get(finding.table, ()), finding)
    return Report(by_table, report.not_checked_by_table)


class Surroundings:
    """What rules may read; see `calib_model.core.rule.Context`."""

    def __init__(self, content: CalibrationSet, base: CalibrationSet | None) -> None:
        self.content = content
        self.base = base

    def table(self, id: str) -> Table:
        if id not in self.content:
            raise NotChecked(f"The set has no table {id}.")
        return self.content.tables[id]

    def base_table(self, id: str) -> Table | None:
        if self.base is None:
            raise NotChecked(f"No {self.content.base_mode or 'base'} set is given to compare with.")
        return self.base.tables.get(id)

    @property
    def mode(self) -> str:
        return self.content.mode

    @property
    def base_mode(self) -> str:
        return self.content.base_mode


class Checker:
    """Keeps a set's findings up to date.

    Parameters
    ----------
    content, against
        See `check`.
    only : iterable of str, optional
        Ids of the tables to look at; all by default.
    day
        See `check`.
    """

    def __init__(
        self,
        content: CalibrationSet,
        against: Sequence[CalibrationSet] = (),
        *,
        only: Iterable[str] | None = None,
        day: date | None = None,
    ) -> None:
        self.content = content
        self.against = tuple(against)
        self.day = day
        self.report = Report({}, {})
        self._readers: dict[str, set[str]] | None = None
        self._claims = one_role.Claims(content)
        self._evaluate(content.tables if only is None else only)

    def update(self, content: CalibrationSet, changed: Iterable[str]) -> Report:
        """Evaluate again what reads the changed tables; return the new report.

        Parameters
        ----------
        content : CalibrationSet
            The set after the edit.
        changed : iterable of str
            Ids of tables edited, added or removed.
        """
        changed = list(changed)
        before = self.content
        self.content = content
        if self._readers is not None and any(
            before.tables.get(i) is None
            or content.tables.get(i) is None
            or before.tables[i].rules is not content.tables[i].rules
            for i in changed
        ):
            self._readers = None
        readers = self._reading()
        again = dict.fromkeys(changed)
        for id in changed:
            again.update(dict.fromkeys(readers.get(id, ())))
            concerned = self._claims.exchange(before.tables.get(id), content.tables.get(id))
            again.update(dict.fromkeys(sorted(concerned)))
        self._evaluate(again)
        return self.report

    def _reading(self) -> dict[str, set[str]]:
        """Tables whose rules read a table, by that table's id."""
        if self._readers is None:
            self._readers = defaultdict(set)
            for table in self.content:
                for rule in table.rules_in_force:
                    for id in rule.reads():
                        self._readers[id].add(table.id)
        return self._readers

    def _evaluate(self, ids: Iterable[str]) -> None:
        found: dict[str, list[Finding]] = {id: [] for id in ids}
        missed: dict[str, list[NotCheckedRule]] = {id: [] for id in found}
        tables = [self.content.tables[id] for id in found if id in self.content]
        own = Surroundings(self.content, None)
        # Empty cells and infinities are findings of their own; what they spoil holds no row.
        with np.errstate(all="ignore"):
            for rule, stack in _grouped(tables):
                _apply(rule, stack, own, found, missed)
            for table in tables:
                if others := self._claims.others(table):
                    breach = Breach(0, (), float(len(others)), tuple(others))
                    found[table.id].append(_finding(ONE_ROLE, table, [breach], own))
            self._honour(self.content, found)
            for mode_set, base in self._pairs():
                related: dict[str, list[Finding]] = {id: [] for id in found}
                _apply_relation(mode_set, base, list(found), related, missed)
                self._honour(mode_set, related)
                for id, findings in related.items():
                    found[id] += findings
        self._note_unchecked_relations(missed)
        by_table = {**self.report.by_table, **{id: tuple(f) for id, f in found.items()}}
        not_checked = {
            **self.report.not_checked_by_table,
            **{id: tuple(n) for id, n in missed.items()},
        }
        for id in found:
            if id not in self.content:
                by_table.pop(id)
                not_checked.pop(id)
        before = self.report.by_table
        if before and any(id not in before for id in found):  # added: in the set's order again
            order = [id for id in self.content.tables if id in by_table]
            by_table = {id: by_table[id] for id in order}
            not_checked = {id: not_checked[id] for id in order}
        self.report = Report(by_table, not_checked)

    def _note_unchecked_relations(self, missed: dict[str, list[NotCheckedRule]]) -> None:
        """List the relations that the base set states and that were not evaluated, in place.

        The mode's own table says which relation counts.  So that no promise goes with a set that
        is not at hand, a table taken out of it, or a relation set free there, what the base set
        states of it is held against that.
        """
        content, pairs = self.content, self._pairs()
        there = {other.mode for other, _ in pairs} | {content.mode}
        if content.is_base:
            for id in missed:
                table = content.tables.get(id)
                for mode, sense in table.relations.items() if table is not None else ():
                    if mode not in there and sense != "free":
                        reason = f"No {mode} set is given, whose relation to this one is stated."
                        missed[id].append(NotCheckedRule(id, MODE_RELATION.kind, reason, mode))
        for mode_set, base in pairs:
            mode = mode_set.mode
            if base is None:
                continue
            for id in missed:
                told = base.tables[id].relations.get(mode, "free") if id in base.tables else "free"
                own = mode_set.tables.get(id)
                if told == "free" or (own is not None and own.relations.get(mode) == told):
                    continue
                said = "it has no such table" if own is None else "its own set states another"
                reason = f"The base set states a relation ({told}) of mode {mode}, but {said}."
                missed[id].append(NotCheckedRule(id, MODE_RELATION.kind, reason, mode))

    def _honour(self, content: CalibrationSet, found: dict[str, list[Finding]]) -> None:
        """Mark the findings that the set's waivers cover, in place."""
        if not content.record.waivers:
            return
        day = self.day or waivers.today()
        for id, mine in content.record.waivers_by_table.items():
            if found.get(id):
                found[id] = waivers.honoured(found[id], mine, content[id], day)

    def _pairs(self) -> list[tuple[CalibrationSet, CalibrationSet | None]]:
        """Mode set and base set of every relation that can be told from the sets at hand."""
        content = self.content
        if content.is_base:
            others = [s for s in self.against if not s.is_base and s.base_mode == content.mode]
            return [(other, content) for other in others]
        bases = [s for s in self.against if s.mode == content.base_mode]
        return [(content, base) for base in bases] or [(content, None)]


def _grouped(tables: Iterable[Table]) -> Iterable[tuple[Rule, Stack]]:
    """Yield each rule with tables that may be stacked for it; stacks are shared where they can."""
    by_shape: dict[tuple[int, ...], list[Table]] = defaultdict(list)
    by_rule: dict[tuple[int, object, object], list[Table]] = defaultdict(list)
    alone: list[tuple[Rule, Stack]] = []
    # Rules are hashed once per object: tables of a set mostly share them.
    numbers: dict[int, int] = {}
    distinct: dict[Rule, int] = {}
    places: dict[tuple[int, object], object] = {}
    for table in tables:
        by_shape[table.shape].append(table)
        if not table.rules:
            continue
        layout = tuple([(a.quantity, a.name) for a in table.axes])
        for rule in table.rules:
            if rule.off:
                continue
            if not rule.stackable():
                alone.append((rule, Stack([table])))
                continue
            number = numbers.get(id(rule))
            if number is None:
                number = numbers[id(rule)] = distinct.setdefault(rule, len(distinct))
            where = places.get((number, layout))
            if where is None:
                where = places[(number, layout)] = _named_axes(rule, table)
            by_rule[(number, table.shape, where)].append(table)
    for group in by_shape.values():
        stack = Stack(group)
        for rule in ALWAYS:
            yield rule, stack
    stacks: dict[tuple[str, ...], Stack] = {}
    rules = list(distinct)
    for (number, _, _), group in by_rule.items():
        ids = tuple([t.id for t in group])
        if ids not in stacks:
            stacks[ids] = Stack(group)
        yield rules[number], stacks[ids]
    yield from alone


def _named_axes(rule: Rule, table: Table) -> tuple[int, ...]:
    """Which axis each text of a rule names, if any: the same for all tables of a stack."""
    texts = [value for f in fields(rule) if isinstance(value := getattr(rule, f.name), str)]
    texts += [part.axis for part in rule.scope]
    return tuple(
        next((n for n, a in enumerate(table.axes) if text in (a.quantity, a.name)), -1)
        for text in texts
    )


def _apply(
    rule: Rule,
    stack: Stack,
    context: Surroundings,
    found: dict[str, list[Finding]],
    missed: dict[str, list[NotCheckedRule]],
) -> None:
    try:
        breaches = rule.breaches(stack, context)
    except (NotChecked, BitepointError) as problem:
        for table in stack.tables:
            mode = context.mode if rule is MODE_RELATION else ""
            missed[table.id].append(NotCheckedRule(table.id, rule.kind, str(problem), mode))
        return
    by_index: dict[int, list[Breach]] = defaultdict(list)
    for breach in breaches:
        by_index[breach.index].append(breach)
    for index, mine in by_index.items():
        table = stack.tables[index]
        found[table.id].append(_finding(rule, table, mine, context))


def _apply_relation(
    mode_set: CalibrationSet,
    base: CalibrationSet | None,
    ids: list[str],
    found: dict[str, list[Finding]],
    missed: dict[str, list[NotCheckedRule]],
) -> None:
    context = Surroundings(mode_set, base)
    for id in ids:
        table = mode_set.tables.get(id)
        if table is None:
            continue
        sense = MODE_RELATION.sense(table, mode_set.mode)
        if not sense or (
            base is not None and relations.holds_plainly(table, base.tables.get(id), sense)
        ):
            continue
        _apply(MODE_RELATION, Stack([table]), context, found, missed)


def _finding(rule: Rule, table: Table, breaches: list[Breach], context: Surroundings) -> Finding:
    worst = max(breaches, key=lambda b: abs(b.amount))
    reached = (c for breach in breaches for c in (*breach.cells, *breach.others))
    flat = list(dict.fromkeys([*worst.cells, *reached]))
    places = sum(breach.places for breach in breaches)
    cells = cell_tuples(flat, table.shape) if table.axes else ((),) * min(1, len(flat))
    message = rule.sentence(table, worst, context)
    if places > 1:
        others = places - 1
        message += f" The same at {others} more place{'' if others == 1 else 's'}."
    if rule.reason:
        message += f" ({rule.reason[:1].upper()}{rule.reason[1:].rstrip('.')}.)"
    return Finding(
        table.id,
        rule.kind,
        rule.severity,
        cells,
        tuple(table.coordinates(c) for c in cells),
        float(worst.amount),
        rule.amount_unit(table),
        message,
        rule.suited(),
        source=rule,
        places=places,
        mode=context.mode if rule is MODE_RELATION else "",
    )


__all__ = ["Checker", "Finding", "NotCheckedRule", "Report", "check"]
