"""What a record holds: remarks, waivers, decisions, maturity, complaints, drives, sign-offs.

Every item is a value with a stable id.  Cells are named by their axis values (`places`), so that
an item still means the same cell after a breakpoint was put in elsewhere.  An empty tuple of
places means the whole table.
"""

from __future__ import annotations

import secrets
import threading
import time
from dataclasses import dataclass, field
from enum import StrEnum
from typing import ClassVar

Place = tuple[float, ...]
Places = tuple[Place, ...]


_last_id = 0
_making = threading.Lock()


def new_id() -> str:
    """Return an id for a new item: 20 hexadecimal digits, later ids sorting later.

    As in a UUID of version 7 (RFC 9562, section 5.7): milliseconds, then what is random.  So of
    two items of one second the later is the one with the greater id.
    """
    global _last_id
    with _making:
        made = (time.time_ns() // 1_000_000 << 32) + secrets.randbits(32)
        _last_id = max(made, _last_id + 1)
        return f"{_last_id:020x}"


class Outcome(StrEnum):
    """What a reviewer says of a table."""

    ACCEPTED = "accepted"
    QUERIED = "queried"


class Level(StrEnum):
    """How a table's values are known, the weakest first."""

    ESTIMATED = "estimated"
    DESK_CHECKED = "desk-checked"
    BENCH_MEASURED = "bench-measured"
    DRIVEN = "driven"

    @property
    def rank(self) -> int:
        """Place in the order, 0 for the weakest."""
        return list(Level).index(self)


@dataclass(frozen=True, kw_only=True)
class Remark:
    """Something to be said about a table or some of its cells.

    Parameters
    ----------
    id : str
    text : str
    author, time : str
        Who and when (ISO 8601, UTC).
    table : str
        Id of a table; empty for the whole set.
    places : tuple of tuple of float
        Axis values of the cells; empty for the whole table.
    answers : str
        Id of the remark that this one answers; empty for none.
    settled_by, settled_at : str
        Who closed it and when; empty while it is open.
    """

    KIND: ClassVar[str] = "remark"

    id: str = field(default_factory=new_id)
    text: str = ""
    author: str = ""
    time: str = ""
    table: str = ""
    places: Places = ()
    answers: str = ""
    settled_by: str = ""
    settled_at: str = ""

    @property
    def is_open(self) -> bool:
        """Whether nobody has closed it."""
        return not self.settled_by


@dataclass(frozen=True, kw_only=True)
class Waiver:
    """Acceptance of a rule's breach at named cells up to a stated size.

    Parameters
    ----------
    id : str
    table : str
        Id of the table whose finding is accepted.
    rule : str
        The rule's plain form as JSON text, see `rule_text`: another setting is another rule.
    places : tuple of tuple of float
        Axis values of the cells.
    size : float
        Largest breach that is accepted, in `unit`.
    unit : str
    reason : str
        Why it may stay.
    author, time : str
        Who asked for it, and when it was last decided on.
    approver : str
        Who accepted it, another person than the author; empty until someone has.
    expires : str
        Last day it holds (ISO 8601); empty for no end.
    """

    KIND: ClassVar[str] = "waiver"

    id: str = field(default_factory=new_id)
    table: str = ""
    rule: str = ""
    places: Places = ()
    size: float = 0.0
    unit: str = "-"
    reason: str = ""
    author: str = ""
    time: str = ""
    approver: str = ""
    expires: str = ""


@dataclass(frozen=True, kw_only=True)
class Decision:
    """What a reviewer decided on a table as it was.

    Parameters
    ----------
    id : str
    table : str
    outcome : Outcome
    digest : str
        `calib_model.core.canonical.table_digest` of the table it is about; once the table is
        edited the decision is about another table.
    by, time : str
    comment : str
        What is asked, for a query.
    signature : str
        SSHSIG over the decision (`calib_model.signoff.decisions`); empty if it was not signed.
    """

    KIND: ClassVar[str] = "decision"

    id: str = field(default_factory=new_id)
    table: str = ""
    outcome: Outcome = Outcome.ACCEPTED
    digest: str = ""
    by: str = ""
    time: str = ""
    comment: str = ""
    signature: str = ""


@dataclass(frozen=True, kw_only=True)
class Maturity:
    """How a table's values are known.

    Parameters
    ----------
    id : str
    table : str
    level : Level
    digest : str
        Of the table as it was then; see `Decision`.
    by, time, note : str
        Who said so, when, and from what evidence.
    """

    KIND: ClassVar[str] = "maturity"

    id: str = field(default_factory=new_id)
    table: str = ""
    level: Level = Level.ESTIMATED
    digest: str = ""
    by: str = ""
    time: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Trial:
    """Values that left the desk for one vehicle and trip, unsigned.

    Parameters
    ----------
    id : str
    vehicle, trip : str
    expires : str
        Last day the values may be in the vehicle (ISO 8601).
    digest : str
        Of the content that left.
    changed : tuple of str
        What differs from the state it is measured against, one line per cell or part.
    by, time : str
    """

    KIND: ClassVar[str] = "trial"

    id: str = field(default_factory=new_id)
    vehicle: str = ""
    trip: str = ""
    expires: str = ""
    digest: str = ""
    changed: tuple[str, ...] = ()
    by: str = ""
    time: str = ""


class Standing(StrEnum):
    """How far a complaint has come."""

    OPEN = "open"
    ANSWERED = "answered"
    PROVED = "proved"
    DROPPED = "dropped"


@dataclass(frozen=True, kw_only=True)
class Complaint:
    """Something the vehicle did, the change that answers it, and the proof after it.

    Parameters
    ----------
    id : str
    number : str
        What the team calls it; unique within the set.
    recording, sha256 : str
        Name and SHA-256 of the recording it is heard in; empty if there is none.
    moment : float
        Seconds from the recording's start.
    note : str
        What was felt or seen.
    standing : Standing
    tables : tuple of str
        Ids of the tables that decided at that moment, or were changed for it.
    answer : str
        The change that answers it, in words.
    proof_recording, proof_sha256, proof_note : str
        The recording after the change, and what it shows.
    proof_moment : float
    by, time : str
        Who raised it and when (ISO 8601, UTC).
    """

    KIND: ClassVar[str] = "complaint"

    id: str = field(default_factory=new_id)
    number: str = ""
    recording: str = ""
    sha256: str = ""
    moment: float = 0.0
    note: str = ""
    standing: Standing = Standing.OPEN
    tables: tuple[str, ...] = ()
    answer: str = ""
    proof_recording: str = ""
    proof_sha256: str = ""
    proof_moment: float = 0.0
    proof_note: str = ""
    by: str = ""
    time: str = ""


@dataclass(frozen=True, kw_only=True)
class Drive:
    """Which cells a drive used, and with which values in the vehicle.

    Parameters
    ----------
    id : str
    source : str
        ``recording`` for a drive on the road, ``manoeuvre`` for one at the desk.
    name, sha256 : str
        Of the recording's file, or the manoeuvre.
    set_digest : str
        Digest of the content that was in the vehicle (or was driven at the desk).
    date : str
        When it was driven (ISO 8601); empty if unknown.
    seconds : float
        How long.
    visits : str
        JSON text, see `calib_model.evidence.grades`: per table the places that were used, for how
        long, for how long they decided, and the values then in force.
    by, time : str
        Who added it and when.
    """

    KIND: ClassVar[str] = "drive"

    id: str = field(default_factory=new_id)
    source: str = "recording"
    name: str = ""
    sha256: str = ""
    set_digest: str = ""
    date: str = ""
    seconds: float = 0.0
    visits: str = ""
    by: str = ""
    time: str = ""


@dataclass(frozen=True, kw_only=True)
class SignOff:
    """A signed statement about the set (`calib_model.signoff.statement`).

    Parameters
    ----------
    id : str
    statement : str
        The JSON text that was signed, to the last byte.
    signature : str
        SSHSIG over it, armoured.
    """

    KIND: ClassVar[str] = "sign-off"

    id: str = field(default_factory=new_id)
    statement: str = ""
    signature: str = ""


Item = Remark | Waiver | Decision | Maturity | Trial | Complaint | Drive | SignOff

FIELD_OF = {
    "remark": "remarks",
    "waiver": "waivers",
    "decision": "decisions",
    "maturity": "maturities",
    "trial": "trials",
    "complaint": "complaints",
    "drive": "drives",
    "sign-off": "sign_offs",
}
"""The field of a record that holds each kind, in the order in which files list them."""
