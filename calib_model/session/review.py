"""Changes a reviewer makes to the record: remarks and waivers, each undoable like any edit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from ..core.calibration_set import CalibrationSet
from ..core.record import Places, Remark, Waiver
from ..core.table import Table
from ..core.times import stamp
from ..editing.change import Change, RecordEdit, record_change
from ..errors import EditRefused
from ..rules.check import Finding
from ..rules.waivers import approved, waiver_for


def places_of(table: Table, cells: Iterable[tuple[int, ...]]) -> Places:
    """Return the axis values of cells, by which the record names them."""
    return tuple(dict.fromkeys(table.coordinates(cell) for cell in cells))


def remark(
    content: CalibrationSet,
    text: str,
    *,
    author: str,
    table: str = "",
    cells: Iterable[tuple[int, ...]] = (),
    answers: Remark | None = None,
) -> Change:
    """Return the change that adds a remark.

    Parameters
    ----------
    content : CalibrationSet
    text, author : str
    table : str
        Id; empty for a remark on the whole set.
    cells : iterable of index tuples
        The cells it is about; none for the whole table.
    answers : Remark, optional
        The remark that it answers, whose table and cells it takes over.

    Raises
    ------
    EditRefused
        If it says nothing, or nobody says it.
    """
    if not text.strip():
        raise EditRefused("The remark is empty.", "Say what is to be noted.")
    if not author.strip():
        raise EditRefused("A remark needs a name.", "Say who makes it.")
    places = places_of(content[table], cells) if table else ()
    if answers is not None:
        table, places = answers.table, answers.places
    made = Remark(
        text=text.strip(),
        author=author.strip(),
        time=stamp(),
        table=table,
        places=places,
        answers=answers.id if answers is not None else "",
    )
    of = content[table].label if table in content else content.label
    return record_change(None, made, f"{'Answer a remark' if answers else 'Remark'} on {of}")


def settle(made: Remark, by: str) -> Change:
    """Return the change that closes a remark.

    Raises
    ------
    EditRefused
        If nobody closes it.
    """
    if not by.strip():
        raise EditRefused("Closing a remark needs a name.", "Say who closes it.")
    closed = replace(made, settled_by=by.strip(), settled_at=stamp())
    return record_change(made, closed, "Settle a remark")


def waive(
    content: CalibrationSet,
    findings: Sequence[Finding],
    *,
    reason: str,
    author: str,
    approver: str = "",
    size: float | None = None,
    expires: str = "",
) -> Change:
    """Return the one change that waives findings; see `calib_model.rules.waivers.waiver_for`.

    Raises
    ------
    EditRefused
        If one cannot be waived.
    """
    waivers = [
        waiver_for(
            content,
            finding,
            reason=reason,
            author=author,
            approver=approver,
            size=size,
            expires=expires,
        )
        for finding in findings
    ]
    what = f"{len(waivers)} findings" if len(waivers) != 1 else findings[0].rule.replace("_", " ")
    tables = list(dict.fromkeys(finding.table for finding in findings))
    where = f" in {content[tables[0]].label}" if len(tables) == 1 else ""
    edits = tuple(RecordEdit(None, waiver) for waiver in waivers)
    return Change(f"Waive {what}{where}", edits, reason=reason.strip())


def approve(waiver: Waiver, approver: str) -> Change:
    """Return the change by which another person approves a waiver.

    Raises
    ------
    EditRefused
        If that is its author, or nobody.
    """
    return record_change(waiver, approved(waiver, approver), f"Approve a waiver in {waiver.table}")


def withdraw(waiver: Waiver) -> Change:
    """Return the change that takes a waiver away."""
    return record_change(waiver, None, f"Withdraw a waiver in {waiver.table}")
