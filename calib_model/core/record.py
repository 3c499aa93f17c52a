"""The record of a set: remarks, waivers, decisions, maturity, complaints, drives, sign-offs.

A set is content (tables, axes, rules, bindings) and record.  The digest covers the content only.
Items are added, exchanged and removed by edits that can be undone, except sign-offs, which stay.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from ..errors import ModelError
from .record_items import (
    FIELD_OF,
    Complaint,
    Decision,
    Drive,
    Item,
    Level,
    Maturity,
    Outcome,
    Place,
    Places,
    Remark,
    SignOff,
    Standing,
    Trial,
    Waiver,
    new_id,
)
from .record_order import in_chain, in_time

__all__ = [
    "EMPTY_RECORD",
    "Complaint",
    "Decision",
    "Drive",
    "Item",
    "Level",
    "Maturity",
    "Outcome",
    "Place",
    "Places",
    "Record",
    "Remark",
    "SignOff",
    "Standing",
    "Trial",
    "Waiver",
    "new_id",
]


@dataclass(frozen=True)
class Record:
    """All items of a set, each kind in the order of their times (`record_order`).

    The order in which they are given, or stand in a file, means nothing.

    Parameters
    ----------
    remarks, waivers, decisions, maturities, trials, complaints, drives, sign_offs : tuples
    """

    remarks: tuple[Remark, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    decisions: tuple[Decision, ...] = ()
    maturities: tuple[Maturity, ...] = ()
    trials: tuple[Trial, ...] = ()
    complaints: tuple[Complaint, ...] = ()
    drives: tuple[Drive, ...] = ()
    sign_offs: tuple[SignOff, ...] = ()

    def __post_init__(self) -> None:
        for kind, name in FIELD_OF.items():
            ids = [item.id for item in getattr(self, name)]
            if len(set(ids)) != len(ids):
                raise ModelError(f"The record has two of {kind} with one id.", "Remove one.")
            ordered = in_chain if kind == SignOff.KIND else in_time
            object.__setattr__(self, name, ordered(getattr(self, name)))

    def __bool__(self) -> bool:
        return any(getattr(self, name) for name in FIELD_OF.values())

    @property
    def items(self) -> tuple[Item, ...]:
        """Every item, kind by kind."""
        return tuple(item for name in FIELD_OF.values() for item in getattr(self, name))

    def get(self, kind: str, id: str) -> Item | None:
        """Return an item by kind and id, or None."""
        return next((i for i in getattr(self, FIELD_OF[kind]) if i.id == id), None)

    def exchanged(self, before: Item | None, after: Item | None) -> Record:
        """Return the record with an item added (`before` None), removed or exchanged.

        Raises
        ------
        ModelError
            If `before` is not in the record, or `after` is there already or has another id.
        """
        return self.changed([(before, after)])

    def changed(self, exchanges: Iterable[tuple[Item | None, Item | None]]) -> Record:
        """Return the record after several exchanges, in their order; see `exchanged`.

        Raises
        ------
        ModelError
            As `exchanged`.
        """
        kinds: dict[str, dict[str, Item]] = {}
        for before, after in exchanges:
            item = after if after is not None else before
            if item is None:
                continue
            now = kinds.get(item.KIND)
            if now is None:
                mine: tuple[Item, ...] = getattr(self, FIELD_OF[item.KIND])
                now = kinds[item.KIND] = {i.id: i for i in mine}
            if before is None:
                if item.id in now:
                    raise ModelError(f"The record has this {item.KIND} already.")
                now[item.id] = item
            elif now.get(before.id) != before or (after is not None and after.id != before.id):
                raise ModelError(f"The record does not have this {before.KIND} any more.")
            elif after is None:
                del now[before.id]
            else:
                now[before.id] = after
        new: Any = {FIELD_OF[kind]: tuple(items.values()) for kind, items in kinds.items()}
        return replace(self, **new)

    @cached_property
    def waivers_by_table(self) -> Mapping[str, tuple[Waiver, ...]]:
        """Waivers by the id of their table."""
        found: dict[str, list[Waiver]] = {}
        for waiver in self.waivers:
            found.setdefault(waiver.table, []).append(waiver)
        return {table: tuple(mine) for table, mine in found.items()}

    @cached_property
    def latest_decisions(self) -> Mapping[str, Decision]:
        """The last decision on each table, by time and then by id."""
        return {decision.table: decision for decision in self.decisions}

    @cached_property
    def latest_maturities(self) -> Mapping[str, Maturity]:
        """The last level given to each table, by time and then by id."""
        return {maturity.table: maturity for maturity in self.maturities}


EMPTY_RECORD = Record()
