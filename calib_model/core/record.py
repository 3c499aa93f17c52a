"""The record of a set: remarks, waivers, decisions, maturity, complaints, drives, sign-offs.

A set is content (tables, axes, rules, bindings) and record.  The digest covers the content only.
Every item is a value with a stable id; items are added, exchanged and removed by edits that can
be undone, except sign-offs, which stay.

Cells are named by their axis values (`places`), so that an item still means the same cell after
a breakpoint was put in elsewhere.  An empty tuple of places means the whole table.
"""

from __future__ import annotations

import json
import math
import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from enum import StrEnum
from functools import cached_property
from typing import Any, ClassVar

from ..errors import ModelError
from .numbers import one_form

Place = tuple[float, ...]
Places = tuple[Place, ...]


def new_id() -> str:
    """Return an id for a new item: ten random hexadecimal digits."""
    return secrets.token_hex(5)


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
_CLASSES: dict[str, type[Item]] = {
    cls.KIND: cls for cls in (Remark, Waiver, Decision, Maturity, Trial, Complaint, Drive, SignOff)
}
_FIELD_OF = {
    "remark": "remarks",
    "waiver": "waivers",
    "decision": "decisions",
    "maturity": "maturities",
    "trial": "trials",
    "complaint": "complaints",
    "drive": "drives",
    "sign-off": "sign_offs",
}


@dataclass(frozen=True)
class Record:
    """All items of a set, each kind in the order in which they were made.

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
        for kind, name in _FIELD_OF.items():
            ids = [item.id for item in getattr(self, name)]
            if len(set(ids)) != len(ids):
                raise ModelError(f"The record has two of {kind} with one id.", "Remove one.")

    def __bool__(self) -> bool:
        return any(getattr(self, name) for name in _FIELD_OF.values())

    @property
    def items(self) -> tuple[Item, ...]:
        """Every item, kind by kind."""
        return tuple(item for name in _FIELD_OF.values() for item in getattr(self, name))

    def get(self, kind: str, id: str) -> Item | None:
        """Return an item by kind and id, or None."""
        return next((i for i in getattr(self, _FIELD_OF[kind]) if i.id == id), None)

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
                mine: tuple[Item, ...] = getattr(self, _FIELD_OF[item.KIND])
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
        new: Any = {_FIELD_OF[kind]: tuple(items.values()) for kind, items in kinds.items()}
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
        """The last decision on each table."""
        return {decision.table: decision for decision in self.decisions}

    @cached_property
    def latest_maturities(self) -> Mapping[str, Maturity]:
        """The last level given to each table."""
        return {maturity.table: maturity for maturity in self.maturities}


EMPTY_RECORD = Record()


def rule_text(plain: Mapping[str, Any]) -> str:
    """Return a rule's plain form as one text, the same for equal settings.

    Parameters
    ----------
    plain : mapping
        As `calib_model.core.rule.Rule.to_plain` gives it.
    """
    return json.dumps(_one_form(plain), ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def _one_form(value: Any) -> Any:
    """Return plain data in which 1 and 1.0 are one, and no number is infinite."""
    if isinstance(value, Mapping):
        return {str(key): _one_form(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_one_form(part) for part in value]
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    return one_form(value)


# -- plain form --------------------------------------------------------------------------


def item_to_plain(item: Item) -> dict[str, Any]:
    """Return an item as plain data, empty fields left out."""
    plain: dict[str, Any] = {}
    for entry in fields(item):
        value = getattr(item, entry.name)
        if entry.name == "id" or value != entry.default:
            plain[entry.name] = _plain(value)
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, StrEnum):
        return str(value)
    return [_plain(part) for part in value] if isinstance(value, tuple) else value


def item_from_plain(kind: str, plain: Mapping[str, Any]) -> Item:
    """Read back what `item_to_plain` gave.

    Raises
    ------
    ModelError
        If the kind is not known, or a field is unknown, missing or of another type.
    """
    cls = _CLASSES.get(kind)
    if cls is None:
        raise ModelError(f"A record of kind {kind!r} is not known.")
    known = {entry.name: entry for entry in fields(cls)}
    if "id" not in plain or not set(plain) <= set(known):
        raise ModelError(f"A {kind} in the record is damaged.")
    given = {name: _read(kind, str(known[name].type), value) for name, value in plain.items()}
    return cls(**given)


def _read(kind: str, type_text: str, value: Any) -> Any:
    try:
        if type_text == "Outcome":
            return Outcome(value)
        if type_text == "Level":
            return Level(value)
        if type_text == "Standing":
            return Standing(value)
        if type_text == "float":
            return _number(value)
        if type_text == "Places":
            return tuple(tuple(_number(x) for x in place) for place in _listed(value))
        if type_text.startswith("tuple"):
            return tuple(_string(text) for text in _listed(value))
        return _string(value)
    except (TypeError, ValueError, OverflowError):  # the last: a whole number beyond all floats
        raise ModelError(f"A {kind} in the record is damaged.") from None


def _listed(value: Any) -> Sequence[Any]:
    if not isinstance(value, list | tuple):
        raise TypeError
    return value


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise TypeError
    return float(value) + 0.0


def _string(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def record_to_plain(record: Record) -> list[tuple[str, dict[str, Any]]]:
    """Return the items as (kind, plain data), as files keep them."""
    return [(item.KIND, item_to_plain(item)) for item in record.items]


def record_from_plain(
    listed: Iterable[tuple[str, Mapping[str, Any]]],
) -> tuple[Record, tuple[tuple[str, Mapping[str, Any]], ...]]:
    """Read back what `record_to_plain` gave.

    Returns
    -------
    Record
    tuple of (kind, plain data)
        What this version does not know or cannot read; to be kept as it is.
    """
    found: dict[str, list[Item]] = {name: [] for name in _FIELD_OF.values()}
    seen: set[tuple[str, str]] = set()
    unknown = []
    for kind, plain in listed:
        try:
            item = item_from_plain(kind, plain)
        except ModelError:
            unknown.append((kind, plain))
            continue
        if (kind, item.id) in seen:
            unknown.append((kind, plain))
            continue
        seen.add((kind, item.id))
        found[_FIELD_OF[kind]].append(item)
    record = Record(**{name: tuple(items) for name, items in found.items()})  # type: ignore[arg-type]
    return (record if record else EMPTY_RECORD), tuple(unknown)
