"""Accept or query tables, and say how their values are known.

A decision is about a table as it is: it holds the table's digest.  Where a function group names
the keys that may accept its tables, the decision is signed with one of them.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime

from ..core.calibration_set import CalibrationSet
from ..core.canonical import table_digest
from ..core.record import Decision, Level, Maturity, Outcome
from ..core.record_plain import item_to_plain
from ..core.times import stamp_after
from ..editing.change import Change, RecordEdit
from ..errors import EditRefused
from . import sshsig
from .authors import Authors, own_edits
from .keys import PrivateKey, PublicKey
from .wire import SignatureProblem

NAMESPACE = "bitepoint-decision"


def decide(
    content: CalibrationSet,
    tables: Iterable[str],
    outcome: Outcome,
    *,
    by: str,
    comment: str = "",
    key: PrivateKey | None = None,
    authors: Authors | None = None,
    now: datetime | None = None,
) -> Change:
    """Return the change that accepts or queries tables as they are.

    Parameters
    ----------
    content : CalibrationSet
    tables : iterable of str
        Ids; one that the set has no more stands for the table's removal.
    outcome : Outcome
    by : str
        Who decides.
    comment : str
        What is asked; needed for a query.
    key : PrivateKey, optional
        Signs the decisions, where a function group asks for it.
    authors : mapping of table id to names, optional
        Who edited what (`calib_model.signoff.authors`).  Without it the gate of the sign-off
        still tells.

    Raises
    ------
    EditRefused
        If nobody is named, a query asks nothing, or somebody would accept their own edits.
    """
    ids = list(dict.fromkeys(tables))
    if not by.strip():
        raise EditRefused("A decision needs a name.", "Say who decides.")
    if outcome is Outcome.QUERIED and not comment.strip():
        raise EditRefused("A query needs a question.", "Say what is to be answered.")
    before = content.record.latest_decisions
    own = own_edits(ids, by, authors or {}) if outcome is Outcome.ACCEPTED else []
    if own:
        named = ", ".join(own[:3]) + (f" and {len(own) - 3} more" if len(own) > 3 else "")
        raise EditRefused(
            f"{by.strip()} edited {named}, or signed as author, and cannot accept that.",
            "Let another person decide.",
        )
    edits = []
    for id in ids:
        table = content.tables.get(id)
        decision = Decision(
            table=id,
            outcome=outcome,
            digest=table_digest(table) if table is not None else "",
            by=by.strip(),
            time=stamp_after(before[id].time if id in before else "", now),
            comment=comment.strip(),
        )
        if key is not None:
            text = decision_text(content, decision)
            decision = replace(decision, signature=sshsig.sign(text, key, NAMESPACE))
        edits.append(RecordEdit(None, decision))
    verb = "Accept" if outcome is Outcome.ACCEPTED else "Query"
    return Change(f"{verb} {_counted(ids)}", tuple(edits))


def give_level(
    content: CalibrationSet,
    tables: Iterable[str],
    level: Level,
    *,
    by: str,
    note: str = "",
    undriven: Mapping[str, str] | None = None,
    now: datetime | None = None,
) -> Change:
    """Return the change that says how the values of tables are known.

    Parameters
    ----------
    content : CalibrationSet
    tables : iterable of str
    level : Level
    by, note : str
        Who vouches for it, and from what evidence.
    undriven : mapping of table id to str
        Needed for `Level.DRIVEN`: which of the tables no drive shows, and why
        (`calib_model.evidence.gaps.undriven`).

    Raises
    ------
    EditRefused
        If nobody is named, or a table is called driven that no drive in the record drove.
    ModelError
        If the set has no such table.
    """
    ids = list(dict.fromkeys(tables))
    if not by.strip():
        raise EditRefused("A maturity level needs a name.", "Say who vouches for it.")
    before = content.record.latest_maturities
    if level is Level.DRIVEN:
        if undriven is None:
            raise EditRefused("Only drives show that a table is driven.", "Give what they show.")
        for id in ids:
            if id in undriven:
                raise EditRefused(
                    f"{content[id].label} cannot be called driven: {undriven[id]}",
                    "Add the drives that used these values first (coverage --record, or Road).",
                )
    edits = tuple(
        RecordEdit(
            None,
            Maturity(
                table=id,
                level=level,
                digest=table_digest(content[id]),
                by=by.strip(),
                time=stamp_after(before[id].time if id in before else "", now),
                note=note.strip(),
            ),
        )
        for id in ids
    )
    return Change(f"Call {_counted(ids)} {level}", edits)


def _counted(ids: list[str]) -> str:
    return ids[0] if len(ids) == 1 else f"{len(ids)} tables"


def decision_text(content: CalibrationSet, decision: Decision) -> bytes:
    """Return what the signature of a decision is over: the decision and the set it is for."""
    plain = item_to_plain(replace(decision, signature=""))
    plain |= {"programme": content.programme, "mode": content.mode}
    return (json.dumps(plain, ensure_ascii=False, sort_keys=True) + "\n").encode()


def signer_of(content: CalibrationSet, decision: Decision) -> PublicKey | None:
    """Return the key that signed a decision on this set; None if none did."""
    if not decision.signature:
        return None
    try:
        return sshsig.verify(decision_text(content, decision), decision.signature, NAMESPACE)
    except SignatureProblem:
        return None
