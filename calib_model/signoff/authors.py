"""Who edited which table: nobody accepts their own edits."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from ..core.calibration_set import CalibrationSet
from ..core.names import same_person
from ..session.complaints import tables_of
from ..session.history import Entry
from .statement import AUTHOR, Statement, read_statement
from .wire import SignatureProblem

Authors = Mapping[str, Collection[str]]
"""Names by table id."""


def authors_of(
    content: CalibrationSet, entries: Sequence[Entry], since: Statement | None = None
) -> dict[str, tuple[str, ...]]:
    """Return who edited each table since a sign-off, as far as the set tells.

    The history names who made each edit.  Whoever signed as author since then stands for every
    table: also where there is no history, as for a set that came as text.

    Parameters
    ----------
    content : CalibrationSet
    entries : sequence of Entry
        Its history, oldest first.
    since : Statement, optional
        The sign-off; None for the beginning.
    """
    names: dict[str, dict[str, None]] = {}
    for entry in _after(content, entries, since):
        if entry.author.strip():
            for id in tables_of(entry):
                names.setdefault(id, {})[entry.author.strip()] = None
    signers = dict.fromkeys(s.name for s in _statements_after(content, since) if s.role == AUTHOR)
    if signers:
        for id in {**names, **content.tables}:
            names.setdefault(id, {}).update(signers)
    return {id: tuple(found) for id, found in names.items()}


def own_edits(tables: Iterable[str], by: str, authors: Authors) -> list[str]:
    """Return those of some tables that a person edited."""
    return [id for id in tables if any(same_person(by, one) for one in authors.get(id, ()))]


def _after(
    content: CalibrationSet, entries: Sequence[Entry], since: Statement | None
) -> Sequence[Entry]:
    if since is None:
        return entries
    ids = {s.id for s in content.record.sign_offs if s.statement == since.text}
    for number in range(len(entries) - 1, -1, -1):
        for edit in entries[number].plain.get("edits", ()):
            if edit.get("item") == "sign-off" and (edit.get("after") or {}).get("id") in ids:
                return entries[number + 1 :]
    return entries


def _statements_after(content: CalibrationSet, since: Statement | None) -> list[Statement]:
    found: list[Statement] = []
    for sign_off in content.record.sign_offs:
        try:
            statement = read_statement(sign_off.statement)
        except SignatureProblem:
            continue  # the gate says so
        if since is not None and statement.text == since.text:
            found = []
        else:
            found.append(statement)
    return found
