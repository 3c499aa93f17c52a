"""What no longer looks at a set since a reviewer signed it."""

from __future__ import annotations

from collections.abc import Sequence

from ..core.calibration_set import CalibrationSet
from ..core.canonical import table_digests
from ..core.record import SignOff
from ..core.rule import Severity
from ..rules.check import Finding
from ..rules.withdrawn import Withdrawn, accepted, withdrawn
from ..session.history import Entry
from ..session.since import at_sign_off
from .statement import REVIEWER, Statement, read_statement
from .wire import SignatureProblem

_SOURCE = Withdrawn()
SINCE = "the last sign-off"


def withdrawn_since_sign_off(
    content: CalibrationSet, entries: Sequence[Entry], *, of_present: bool = False
) -> tuple[Finding, ...]:
    """Return what was taken away since the last sign-off of a reviewer, or of anybody.

    Whether that sign-off is genuine is another question (`calib_model.signoff.verify`).  The
    history, from which the state at that time comes, is not signed; but the statement holds a
    digest of every table, so a history that tells another story is found out.

    Parameters
    ----------
    content : CalibrationSet
    entries : sequence of Entry
        The set's history, oldest first.
    of_present : bool
        Only what the history tells of tables that are there: that a table is gone, or is another,
        is said by whoever lists changed tables.

    Returns
    -------
    tuple of Finding
        See `calib_model.rules.withdrawn`; empty for a set that was never signed.
    """
    last = _last(content)
    if last is None:
        return ()
    sign_off, statement = last
    now = table_digests(content)
    if now == dict(statement.tables):
        return ()
    earlier = at_sign_off(content, entries, sign_off.id)
    then = table_digests(earlier) if earlier is not None else {}
    told = {id for id, digest in statement.tables.items() if then.get(id) == digest}
    found: list[Finding] = []
    if earlier is not None:
        known = CalibrationSet(
            {id: table for id, table in earlier.tables.items() if id in told}, earlier.shared_axes
        )
        found += withdrawn(content, known, SINCE)
    if of_present:
        return tuple(one for one in found if one.table in content)
    for id, digest in statement.tables.items():
        if id in told or now.get(id) == digest:
            continue
        text = (
            "The table is gone" if id not in now else
            "It differs from what was signed, and the history does not tell which rules it had"
        )  # fmt: skip
        found.append(
            Finding(
                id, _SOURCE.kind, Severity.WARNING, (), (), 0.0, "-", f"{text} (since {SINCE}).",
                ("put it back",), accepted(content, id), _SOURCE,
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda f: f.severity is Severity.NOTE))


def _last(content: CalibrationSet) -> tuple[SignOff, Statement] | None:
    read: list[tuple[SignOff, Statement]] = []
    for sign_off in content.record.sign_offs:
        try:
            read.append((sign_off, read_statement(sign_off.statement)))
        except SignatureProblem:  # verification says so; here it only cannot be measured against
            continue
    reviewed = [one for one in read if one[1].role == REVIEWER]
    return (reviewed or read)[-1] if read else None
