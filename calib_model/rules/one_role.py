"""One part of the controller, one table: a role that several tables play has no meaning.

Which of them drives would be a matter of their order, which no digest covers.  The check looks at
the whole set, so it is no rule of a table and cannot be written in a rule sheet.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

from ..core.calibration_set import CalibrationSet
from ..core.roles import ROLES
from ..core.rule import Breach, Context, Stack
from ..core.table import Table
from .plausibility import Check

_KNOWN = frozenset(ROLES)


@dataclass(frozen=True)
class OneRole(Check):
    """No other table plays the table's part of the controller."""

    kind: ClassVar[str] = "one_role"

    def breaches(self, stack: Stack, context: Context) -> list[Breach]:
        """See `Rule.breaches`; a table alone breaks nothing."""
        return []

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return f"no other table plays {table.role}"

    def amount_unit(self, table: Table) -> str:
        """Tables too many are counted."""
        return "-"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        return repeated_words(table, breach.detail)


def repeated_words(table: Table, others: Iterable[str]) -> str:
    """Say which other tables play a table's part."""
    named = sorted(others)
    more = f" and {len(named) - 3} more" if len(named) > 3 else ""
    return (
        f"{', '.join(named[:3])}{more} also play{'' if len(named) > 1 or more else 's'} the part "
        f"{table.role}: the controller reads one table for it, so none is used. Leave the role to "
        "one of them."
    )


class Claims:
    """Which tables play each known part, kept up to date.

    Parameters
    ----------
    content : CalibrationSet
    """

    def __init__(self, content: CalibrationSet) -> None:
        self._tables: dict[str, set[str]] = {}
        for table in content:
            if table.role in _KNOWN:
                self._tables.setdefault(table.role, set()).add(table.id)

    def others(self, table: Table) -> set[str]:
        """Return the ids of the other tables that play a table's part."""
        return self._tables.get(table.role, set()) - {table.id}

    def exchange(self, before: Table | None, after: Table | None) -> set[str]:
        """Note an edit of one table; return the ids of all tables whose finding it may change."""
        role, new = (table.role if table is not None else "" for table in (before, after))
        if role == new:
            return set()
        concerned: set[str] = set()
        if before is not None and role in self._tables:
            self._tables[role].discard(before.id)
            concerned |= self._tables[role]
        if after is not None and new in _KNOWN:
            mine = self._tables.setdefault(new, set())
            concerned |= mine
            mine.add(after.id)
        return concerned
