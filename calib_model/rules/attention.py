"""How many rules look at each table and cell: what nothing looks at is not sound.

Counted are rules that were written down for a table and the relation to the base mode, where they
could be evaluated.  What holds for every table (finite, storable, ...) does not count, since nobody
thought of the table for it; limits are told apart, because they may be the range of a data type.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite
from types import MappingProxyType
from typing import Any

import numpy as np

from ..core.calibration_set import CalibrationSet
from ..core.rule import Rule
from ..core.table import Table
from .check import MODE_RELATION, NotCheckedRule, Report


@dataclass(frozen=True)
class Attention:
    """What rules look at.

    Parameters
    ----------
    tables, cells : mapping of int to int
        How many tables, and how many cells, so many rules look at.
    unchecked : tuple of str
        Ids of the tables that no rule looks at and that have no limits either.
    limits_only : tuple of str
        Ids of the tables that only their limits look at.
    off : int
        Rules that are turned off.
    """

    tables: Mapping[int, int]
    cells: Mapping[int, int]
    unchecked: tuple[str, ...]
    limits_only: tuple[str, ...]
    off: int

    @property
    def words(self) -> str:
        """The count in a sentence; it says first what nothing looks at."""
        cells = sum(self.cells.values())
        seen = cells - self.cells.get(0, 0)
        parts = [self._unchecked_words] if self.unchecked else []
        if self.limits_only:
            one = len(self.limits_only) == 1
            parts.append(f"{len(self.limits_only)} {'is' if one else 'are'} held by limits alone")
        parts.append(f"rules look at {seen} of {cells} cell{'' if cells == 1 else 's'}")
        return _sentence(parts + [self._off_words] * bool(self.off))

    @property
    def brief(self) -> str:
        """Only what nothing looks at and what is turned off, for a line; empty if neither is."""
        parts = [self._unchecked_words] if self.unchecked else []
        return _sentence(parts + [self._off_words] * bool(self.off))

    @property
    def _unchecked_words(self) -> str:
        count, total = len(self.unchecked), sum(self.tables.values())
        return (
            f"{count} of {total} table{'' if total == 1 else 's'} "
            f"{'is' if count == 1 else 'are'} not checked by any rule"
        )

    @property
    def _off_words(self) -> str:
        return f"{self.off} rule{' is' if self.off == 1 else 's are'} turned off"

    def plain(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "tables_by_rules": {str(n): self.tables[n] for n in sorted(self.tables)},
            "cells_by_rules": {str(n): self.cells[n] for n in sorted(self.cells)},
            "unchecked": list(self.unchecked),
            "limits_only": list(self.limits_only),
            "rules_off": self.off,
        }


def _sentence(parts: list[str]) -> str:
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def attention(content: CalibrationSet, report: Report) -> Attention:
    """Count the rules that look at each table and cell.

    Parameters
    ----------
    content : CalibrationSet
    report : Report
        Of a check of the whole set; rules that it could not evaluate look at nothing.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.CalibrationSet([cm.Table("gain", 2.0)])
    >>> print(cm.attention(content, cm.check(content)).words)
    1 of 1 table is not checked by any rule; rules look at 0 of 1 cell.
    """
    tables: Counter[int] = Counter()
    cells: Counter[int] = Counter()
    unchecked: list[str] = []
    limits_only: list[str] = []
    off = 0
    mode, missed_in, relation = content.mode, report.not_checked_by_table, MODE_RELATION.kind
    for table in content:
        told = missed_in.get(table.id)
        # Of a base set it is told which other modes are not at hand: no rule of its own.
        missed = {n.rule for n in told if n.rule != relation} if told else ()
        sense = table.relations.get(mode, "free")
        related = sense != "free" and not (told and _relation_missed(told, mode))
        everywhere = -1 if missed else _everywhere(table)
        if everywhere >= 0:
            count, mine = everywhere + related, 0
            cells[count] += table.values.size
        else:
            count, mine, by_cell = _counted(table, missed, related)
            for number, size in by_cell:
                cells[number] += size
        tables[count] += 1
        off += mine
        if not count:
            held = isfinite(table.lower) or isfinite(table.upper)
            (limits_only if held else unchecked).append(table.id)
    return Attention(
        MappingProxyType(dict(tables)),
        MappingProxyType(dict(cells)),
        tuple(unchecked),
        tuple(limits_only),
        off,
    )


@lru_cache(maxsize=256)
def _takes(kind: type[Rule]) -> int:
    """How many neighbours a kind takes, where that alone says what it looks at; else 0."""
    return kind.neighbours if kind.looks_at is Rule.looks_at else 0


def _everywhere(table: Table) -> int:
    """Return how many rules look at every cell of a table; -1 where a closer look is needed.

    Most tables are told so, without making an array: it is what keeps a check of 30,000 fast.
    """
    shape = table.shape
    shortest = min(shape) if shape else 1
    for rule in table.rules:
        takes = _takes(type(rule))
        if not takes or takes > shortest or rule.off or rule.scope:
            return -1
    return len(table.rules)


def _relation_missed(told: Collection[NotCheckedRule], mode: str) -> bool:
    return any(n.rule == MODE_RELATION.kind and n.mode == mode for n in told)


def _counted(
    table: Table, missed: Collection[str], related: bool
) -> tuple[int, int, tuple[tuple[int, int], ...]]:
    """Return how many rules look at a table, how many are off, and cells by number of rules."""
    everywhere = count = int(related)
    off = 0
    partly = np.zeros(table.shape, dtype=np.int64)
    for rule in table.rules:
        if rule.off:
            off += 1
            continue
        if rule.kind in missed:
            continue
        seen = rule.looks_at(table)
        if seen is None:
            everywhere += 1
            count += 1
        else:
            partly += seen
            count += int(bool(seen.any()) or rule.looks_at_axis)
    numbers, sizes = np.unique(partly + everywhere, return_counts=True)
    return count, off, tuple(zip(numbers.tolist(), sizes.tolist(), strict=True))


def alike(before: CalibrationSet, after: CalibrationSet) -> bool:
    """Whether two states of a set are looked at alike, told without counting: values do not matter.

    Parameters
    ----------
    before, after : CalibrationSet
        States of one set, which share the tables that did not change.
    """
    if len(before) != len(after) or before.mode != after.mode:
        return False
    return all(
        a is b
        or (
            a.id == b.id
            and a.rules is b.rules
            and a.shape == b.shape
            and a.axes is b.axes
            and a.relations is b.relations
            and (a.lower, a.upper) == (b.lower, b.upper)
        )
        for a, b in zip(before, after, strict=True)
    )
