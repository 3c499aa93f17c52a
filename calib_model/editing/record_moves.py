"""What the record says of a table, moved along when the table gets another id."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from ..core.record import Item, Record
from ..core.record_items import Complaint, Decision, Drive, Maturity, Remark, SignOff, Waiver
from ..core.record_plain import rule_text
from ..core.rule_plain import rule_from_plain
from ..errors import ModelError
from .change import RecordEdit
from .rule_moves import renamed


def moved_items(record: Record, old: str, new: str) -> tuple[list[RecordEdit], list[str]]:
    """Return the edits of a record for a table's new id, and what cannot follow.

    A decision and a maturity level are bound to the table as it was, id included: they follow,
    and count as made on an earlier state.  What was signed stays as it was signed.
    """
    edits: list[RecordEdit] = []
    bound = signed = 0
    for item in record.items:
        after = _moved(item, old, new)
        if after is item:
            signed += isinstance(item, SignOff | Decision) and _names(item, old)
            continue
        bound += isinstance(item, Decision | Maturity)
        edits.append(RecordEdit(item, after))
    said = []
    if bound:
        said.append(
            f"{bound} decision{'' if bound == 1 else 's'} or maturity levels follow it, made on an "
            "earlier state."
        )
    if signed:
        said.append(
            f"{signed} signed item{'' if signed == 1 else 's'} know it by its old id: it counts as "
            "changed since."
        )
    return edits, said


def _names(item: Item, id: str) -> bool:
    if isinstance(item, SignOff):
        return json.dumps(id) in item.statement
    return getattr(item, "table", "") == id


def _moved(item: Item, old: str, new: str) -> Item:
    match item:
        case Waiver():
            rule = _rule(item.rule, old, new)
            table = new if item.table == old else item.table
            if (table, rule) == (item.table, item.rule):
                return item
            return replace(item, table=table, rule=rule)
        case Decision() if item.signature:
            return item
        case Remark() | Decision() | Maturity():
            return replace(item, table=new) if item.table == old else item
        case Complaint() if old in item.tables:
            return replace(item, tables=tuple(new if id == old else id for id in item.tables))
        case Drive():
            visits = _visits(item.visits, old, new)
            return item if visits == item.visits else replace(item, visits=visits)
    return item


def _rule(text: str, old: str, new: str) -> str:
    """Return a waiver's rule with the other id; what cannot be read stays as it is."""
    if json.dumps(old, ensure_ascii=False) not in text:
        return text
    try:
        plain: dict[str, Any] = json.loads(text)
        extra: dict[str, Any] = {key: plain.pop(key) for key in ("mode", "sense") if key in plain}
        rule = renamed(rule_from_plain(plain), old, new)
    except (ValueError, TypeError, AttributeError, ModelError):
        return text
    return rule_text({**rule.to_plain(), **extra})


def _visits(text: str, old: str, new: str) -> str:
    if json.dumps(old) not in text:
        return text
    try:
        plain = json.loads(text)
        tables = plain["tables"]
        plain["tables"] = {new if id == old else id: mine for id, mine in tables.items()}
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return text
    return json.dumps(plain, ensure_ascii=False, separators=(",", ":"))
