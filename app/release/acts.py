"""What the keys of the list and the forms make of chosen lines: changes, ready for the desk."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from app.desk import Desk
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Outcome, Places, Remark, Waiver
from calib_model.core.times import stamp
from calib_model.editing.change import Change, RecordEdit, record_change
from calib_model.errors import EditRefused
from calib_model.rules.check import Finding
from calib_model.rules.waivers import approved, waiver_for
from calib_model.session.programme import Programme
from calib_model.signoff.gate import Item, Obstacle

from .lines import Line


def now() -> str:
    """Return the present time as records keep it."""
    return stamp()


def tables_of(lines: Iterable[Line]) -> list[str]:
    """Return the ids of the tables that lines are about."""
    return list(dict.fromkeys(line.table for line in lines if line.table))


def findings_of(lines: Iterable[Line]) -> list[Finding]:
    """Return the findings that lines are about and that a waiver could cover."""
    return [
        line.about.finding
        for line in lines
        if isinstance(line.about, Item)
        and line.about.finding is not None
        and line.about.kind is Obstacle.FINDING
    ]


def queried(content: CalibrationSet, tables: Iterable[str]) -> list[str]:
    """Return those of some tables whose last decision is a query."""
    latest = content.record.latest_decisions
    return [id for id in tables if id in latest and latest[id].outcome is Outcome.QUERIED]


def owned(content: CalibrationSet, tables: Iterable[str], programme: Programme | None) -> list[str]:
    """Return those of some tables that only named keys may accept."""
    if programme is None:
        return []
    return [
        id
        for id in tables
        if id in content.tables and programme.owners_of(content.tables[id].function)
    ]


def waive(
    content: CalibrationSet,
    findings: Sequence[Finding],
    *,
    reason: str,
    author: str,
    approver: str,
    size: str,
    expires: str,
) -> Change:
    """Return the change that waives findings; a size is for one finding only.

    Raises
    ------
    EditRefused
    """
    if not findings:
        raise EditRefused("No finding is chosen.", "Choose one in the list.")
    edits = []
    for finding in findings:
        waiver = waiver_for(
            content,
            finding,
            reason=reason,
            author=author,
            approver=approver,
            size=_size(size) if len(findings) == 1 else None,
            expires=expires.strip(),
        )
        edits.append(RecordEdit(None, waiver))
    labels = dict.fromkeys(content[f.table].label for f in findings)
    rule = findings[0].rule.replace("_", " ")
    what = f"Waive {rule}" if len(findings) == 1 else f"Waive {len(findings)} findings"
    return Change(f"{what} in {', '.join(list(labels)[:3])}", tuple(edits), reason=reason.strip())


def _size(text: str) -> float | None:
    """Return a typed size; a comma is asked about, never guessed."""
    text = text.strip()
    if not text:
        return None
    try:
        if "," in text or "_" in text:
            raise ValueError
        value = float(text)
        if not np.isfinite(value):
            raise ValueError
    except ValueError:
        raise EditRefused(
            f"{text!r} is no size.", "Write digits with a point, such as 2.5."
        ) from None
    return value


def approve(waiver: Waiver, approver: str) -> Change:
    """Return the change that approves a waiver."""
    after = approved(waiver, approver)
    return record_change(waiver, after, f"Approve the waiver in {waiver.table}")


def remark(text: str, author: str, table: str, places: Places, label: str) -> Change:
    """Return the change that adds a remark.

    Raises
    ------
    EditRefused
        If it says nothing.
    """
    if not text.strip():
        raise EditRefused("The remark is empty.", "Say what is to be said.")
    made = Remark(text=text.strip(), author=author, time=now(), table=table, places=places)
    return record_change(None, made, f"Remark on {label or 'the set'}")


def answer(to: Remark, text: str, author: str) -> Change:
    """Return the change that answers a remark."""
    if not text.strip():
        raise EditRefused("The answer is empty.", "Say what is to be said.")
    made = Remark(
        text=text.strip(),
        author=author,
        time=now(),
        table=to.table,
        places=to.places,
        answers=to.id,
    )
    return record_change(None, made, "Answer a remark")


def close(remarks: Sequence[Remark], by: str) -> Change:
    """Return the change that closes open remarks, or opens closed ones again."""
    edits = []
    for one in remarks:
        after = (
            replace(one, settled_by=by or "unknown", settled_at=now())
            if one.is_open
            else replace(one, settled_by="", settled_at="")
        )
        edits.append(RecordEdit(one, after))
    verb = "Close" if remarks and remarks[0].is_open else "Open again"
    what = "a remark" if len(remarks) == 1 else f"{len(remarks)} remarks"
    return Change(f"{verb} {what}", tuple(edits))


def remove(content: CalibrationSet, items: Sequence[Remark | Waiver]) -> Change:
    """Return the change that removes waivers and remarks, answers included."""
    ids = {item.id for item in items if isinstance(item, Remark)}
    answers = [r for r in content.record.remarks if r.answers in ids]
    edits = tuple(RecordEdit(item, None) for item in (*items, *answers))
    kinds = {item.KIND for item in items}
    kind = kinds.pop() if len(kinds) == 1 else "item"
    what = f"a {kind}" if len(items) == 1 else f"{len(items)} {kind}s"
    return Change(f"Remove {what}", edits)


def selected_places(desk: Desk, table_id: str) -> Places:
    """Return the axis values of the cells selected in the table in work, if that is meant."""
    table = desk.table
    if table is None or table.id != table_id or not table.axes:
        return ()
    cells = np.argwhere(desk.selection)
    if len(cells) == table.values.size:
        return ()
    return tuple(tuple(table.coordinates(tuple(map(int, cell)))) for cell in cells)
