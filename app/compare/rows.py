"""Rows of the summary: the tables of both sets that match what is asked for, sorted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any

import numpy as np
from PySide6.QtCore import QAbstractListModel, QModelIndex, QObject, QPersistentModelIndex, Qt

from app.plain import plain_tip
from calib_model.compare import Comparison, State, TableComparison, Threshold
from calib_model.core.table import Table
from calib_model.core.units import shown

from .words import STATES, counted, in_short, signed

Index = QModelIndex | QPersistentModelIndex
_NOWHERE = QModelIndex()
_ANY_SIZE = np.inf


class Order(StrEnum):
    """How rows are sorted."""

    OF_SET = "order of the set"
    ABSOLUTE = "largest difference"
    PERCENT = "percent of range"
    STEPS = "storage steps"
    NAME = "name"


NO_THRESHOLD = Threshold()
DIFFERING, EVERYTHING = "all that differ", "all tables"


@dataclass
class Asked:
    """What rows are to be shown.

    Parameters
    ----------
    words : tuple of str
        Each must be held by a table's id, name, function, unit or role.
    state : str
        A `State`, or `DIFFERING` or `EVERYTHING`.
    function : str or None
        A function group, or None for all.
    breaches : bool
        Only tables in breach of the relation between the modes.
    threshold : Threshold
        Tables whose values differ by no more, and in nothing else, count as the same.
    order : Order
    """

    words: tuple[str, ...] = ()
    state: str = DIFFERING
    function: str | None = None
    breaches: bool = False
    threshold: Threshold = NO_THRESHOLD
    order: Order = Order.PERCENT

    @property
    def narrows(self) -> bool:
        """Whether anything but the standard is asked for."""
        return bool(self.words or self.function is not None or self.breaches) or (
            self.state != DIFFERING or self.threshold.amount > 0
        )


@dataclass
class Prepared:
    """A comparison made ready for filtering and sorting: one entry for each table.

    Parameters
    ----------
    comparison : Comparison
    pairs : list of TableComparison
    texts : list of str
        What words are looked for in.
    largest, step, span : float arrays
        Size of the largest difference (0 for none, infinite where a cell is empty in one of the
        two), storage step and range.
    """

    comparison: Comparison
    pairs: list[TableComparison]
    texts: list[str]
    largest: np.ndarray
    step: np.ndarray
    span: np.ndarray

    @classmethod
    def of(cls, comparison: Comparison, before: Prepared | None = None) -> Prepared:
        """Prepare a comparison; what an earlier one had of the same tables is used again."""
        pairs = list(comparison.tables.values())
        if before is not None and len(before.pairs) == len(pairs):
            texts = before.texts.copy()
            arrays = [before.largest.copy(), before.step.copy(), before.span.copy()]
            news = [n for n, (a, b) in enumerate(zip(pairs, before.pairs, strict=True)) if a is b]
            places: Iterable[int] = sorted(set(range(len(pairs))) - set(news))
        else:
            texts = [""] * len(pairs)
            arrays = [np.zeros(len(pairs)) for _ in range(3)]
            places = range(len(pairs))
        for n in places:
            pair = pairs[n]
            texts[n] = search_text(pair.table)
            arrays[0][n] = _size(pair)
            arrays[1][n] = pair.table.storage.resolution
            # The range costs a pass over the values: only where a percentage is asked for.
            arrays[2][n] = pair.table.span if arrays[0][n] else 0.0
        return cls(comparison, pairs, texts, *arrays)

    def percent(self) -> np.ndarray:
        """Largest differences in percent of range; 0 where there is no range."""
        with np.errstate(divide="ignore", invalid="ignore"):
            share = 100 * self.largest / self.span
        return np.where(self.span > 0, share, np.where(np.isinf(self.largest), np.inf, 0.0))

    def steps(self) -> np.ndarray:
        """Largest differences in storage steps; 0 for float storage."""
        with np.errstate(divide="ignore", invalid="ignore"):
            share = self.largest / self.step
        return np.where(self.step > 0, share, np.where(np.isinf(self.largest), np.inf, 0.0))

    def below(self, threshold: Threshold) -> np.ndarray:
        """Tell which tables differ in values alone, and by no more than a threshold."""
        if threshold.amount == 0:
            return np.zeros(len(self.pairs), dtype=bool)
        scale = self.span / 100 if threshold.percent else self.step
        return self._plain & (self.largest <= threshold.amount * scale * (1 + 1e-9))

    @cached_property
    def _plain(self) -> np.ndarray:
        return np.array(
            [p.state in (State.CHANGED, State.ROUNDING) and not p.fields for p in self.pairs],
            dtype=bool,
        )


def _size(pair: TableComparison) -> float:
    if pair.emptied:
        return _ANY_SIZE
    return abs(pair.largest) if pair.largest is not None else 0.0


def search_text(table: Table) -> str:
    """Return what the filter's words are looked for in, in lower case."""
    text = f"{table.id} {table.name} {table.function} {table.unit} {shown(table.unit)} {table.role}"
    return text.casefold()


class ComparedRows(QAbstractListModel):
    """The rows: an own list, since a proxy model takes a third of a second per key stroke."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.asked = Asked()
        self.prepared: Prepared | None = None
        self._rows: list[int] = []
        self._row_of: dict[str, int] = {}
        self._below = np.zeros(0, dtype=bool)
        self.hidden_by_threshold = 0

    # -- what is asked for -----------------------------------------------------------------------

    def show_prepared(self, prepared: Prepared | None) -> None:
        """Show another comparison."""
        self.prepared = prepared
        self.select()

    def ask(self, **wanted: Any) -> None:
        """Ask for other rows, by the fields of `Asked`."""
        before = vars(self.asked).copy()
        for key, value in wanted.items():
            setattr(self.asked, key, value)
        if vars(self.asked) != before:
            self.select()

    def select(self) -> None:
        """Find the rows again."""
        self.beginResetModel()
        self._rows = self._matches()
        pairs = self.prepared.pairs if self.prepared is not None else []
        self._row_of = {pairs[number].id: row for row, number in enumerate(self._rows)}
        self.endResetModel()

    def _matches(self) -> list[int]:
        prepared, asked = self.prepared, self.asked
        if prepared is None:
            self.hidden_by_threshold = 0
            return []
        pairs, texts = prepared.pairs, prepared.texts
        self._below = prepared.below(asked.threshold)
        found: list[int] = list(range(len(pairs)))
        if asked.state == DIFFERING:
            found = [n for n in found if pairs[n].state is not State.SAME]
        elif asked.state != EVERYTHING:
            found = [n for n in found if pairs[n].state == asked.state]
        for word in asked.words:
            found = [n for n in found if word in texts[n]]
        if asked.function is not None:
            found = [n for n in found if pairs[n].table.function == asked.function]
        if asked.breaches:
            found = [n for n in found if pairs[n].breaches]
        if asked.threshold.amount > 0:
            below = self._below
            # A breach is shown however small it is.
            kept = [n for n in found if not below[n] or pairs[n].breaches]
            self.hidden_by_threshold = len(found) - len(kept)
            if asked.state != EVERYTHING:
                found = kept
            else:
                self.hidden_by_threshold = 0
        else:
            self.hidden_by_threshold = 0
        return self._sorted(found)

    def _sorted(self, found: list[int]) -> list[int]:
        prepared, order = self.prepared, self.asked.order
        assert prepared is not None
        if order is Order.OF_SET or not found:
            return found
        if order is Order.NAME:
            pairs = prepared.pairs
            return sorted(found, key=lambda n: (pairs[n].table.label.casefold(), pairs[n].id))
        sizes = {
            Order.ABSOLUTE: lambda: prepared.largest,
            Order.PERCENT: prepared.percent,
            Order.STEPS: prepared.steps,
        }[order]()
        numbers = np.array(found)
        return numbers[np.argsort(-sizes[numbers], kind="stable")].tolist()  # type: ignore[no-any-return]

    # -- rows ------------------------------------------------------------------------------------

    def pair_at(self, row: int) -> TableComparison | None:
        """Return the compared table in a row."""
        if self.prepared is None or not 0 <= row < len(self._rows):
            return None
        return self.prepared.pairs[self._rows[row]]

    def row_of(self, table_id: str) -> int:
        """Return a table's row, -1 if it is not shown."""
        return self._row_of.get(table_id, -1)

    def ids(self) -> list[str]:
        """Return the ids of all rows."""
        return list(self._row_of)

    @property
    def total(self) -> int:
        """Number of tables in both sets."""
        return len(self.prepared.pairs) if self.prepared is not None else 0

    def functions(self) -> list[str]:
        """Return the function groups, in the sets' order."""
        if self.prepared is None:
            return []
        return list(dict.fromkeys(p.table.function for p in self.prepared.pairs))

    def counts(self) -> Mapping[State, int]:
        """Return how many tables are in each state."""
        found: dict[State, int] = dict.fromkeys(State, 0)
        for pair in self.prepared.pairs if self.prepared is not None else ():
            found[pair.state] += 1
        return found

    def size_words(self, pair: TableComparison) -> tuple[str, str]:
        """Return the largest difference, and how it stands to what the rows are sorted by."""
        if pair.emptied:
            return "empty", counted(pair.emptied, "cell")
        if pair.largest is None:
            return "", ""
        steps, percent = pair.storage_steps, pair.percent_of_range
        if self.asked.order is Order.STEPS and steps is not None:
            more = f"{steps:.4g} step" + ("" if steps == 1 else "s")
        else:
            more = f"{percent:.3g} %" if percent is not None else ""
        return signed(pair.largest, pair.unit), more

    # -- Qt's questions --------------------------------------------------------------------------

    def rowCount(self, parent: Index = _NOWHERE) -> int:
        """Return the number of rows."""
        return 0 if parent.isValid() else len(self._rows)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return a row in words."""
        pair = self.pair_at(index.row()) if index.isValid() else None
        if pair is None:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return pair.table.label
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return self._spoken(pair)
        if role == Qt.ItemDataRole.ToolTipRole:
            said = f"{pair.table.label} ({pair.id})\n{pair.words() or STATES[pair.state]}"
            return plain_tip(said)
        return None

    def _spoken(self, pair: TableComparison) -> str:
        said = [f"{pair.table.label}, {pair.id}", in_short(pair)]
        size, more = self.size_words(pair)
        if size:
            said.append(f"largest {size}" + (f", {more}" if more else ""))
        if pair.breaches:
            said.append("breaches the mode relation")
        return "; ".join(said)
