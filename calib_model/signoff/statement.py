"""The statement that is signed: a small JSON text about one state of a set.

It holds the digests of content, waivers, decisions and maturity, one digest per table, and the
digest of the statement before, so that statements form a chain.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from ..core.calibration_set import CalibrationSet
from ..core.canonical import digests
from ..core.record import Item, Record, SignOff
from ..core.record_plain import item_to_plain
from ..core.times import stamp
from ..foreign_text import plain_line
from .wire import SignatureProblem

FORMAT = "bitepoint sign-off"
VERSION = 1
NAMESPACE = "bitepoint-signoff"
AUTHOR, REVIEWER = "author", "reviewer"
DECISIONS = {AUTHOR: "submitted", REVIEWER: "accepted"}
"""What a role decides by signing; any other role takes note."""
MAX_STATEMENT = 12 << 20
MAX_TEXT = 4000

_DIGEST = re.compile(r"[0-9a-f]{64}")
_TEXTS = (
    "set", "programme", "mode", "base_mode", "revision",
    "decision", "role", "name", "time", "comment",
)  # fmt: skip
_DIGESTS = ("content", "waivers", "decisions", "maturity")


@dataclass(frozen=True)
class Statement:
    """What somebody signed.

    Parameters
    ----------
    set, programme, mode, base_mode, revision : str
        What the set calls itself.
    content : str
        Digest of the canonical text.
    waivers, decisions, maturity : str
        Digests of these parts of the record, see `part_text`.
    previous : str
        Digest of the statement before; empty for the first.
    decision, role, name, time, comment : str
    tables : mapping of id to digest
    text : str
        The JSON text itself, to the last byte.
    """

    set: str
    programme: str
    mode: str
    base_mode: str
    revision: str
    content: str
    waivers: str
    decisions: str
    maturity: str
    previous: str
    decision: str
    role: str
    name: str
    time: str
    comment: str
    tables: Mapping[str, str]
    text: str

    @property
    def digest(self) -> str:
        """SHA-256 of the text, by which the next statement refers to this one."""
        return sha256(self.text)

    @property
    def moment(self) -> datetime:
        """The time, with its zone."""
        return datetime.fromisoformat(self.time.replace("Z", "+00:00"))

    @property
    def who(self) -> str:
        """Name and role, for messages."""
        return plain_line(f"{self.name} ({self.role})")


def sha256(text: str) -> str:
    """Return the SHA-256 (hex) of a text's UTF-8 bytes."""
    return hashlib.sha256(text.encode()).hexdigest()


def part_text(items: Iterable[Item]) -> str:
    """Return items of the record as the text that a statement holds the digest of: JSON, by id."""
    listed = [item_to_plain(item) for item in sorted(items, key=lambda item: item.id)]
    return json.dumps(listed, ensure_ascii=False, indent=1, sort_keys=True) + "\n"


def part_digests(record: Record) -> dict[str, str]:
    """Return the digests of the record's parts that a statement covers, by their name."""
    return {
        "waivers": sha256(part_text(record.waivers)),
        "decisions": sha256(part_text(record.decisions)),
        "maturity": sha256(part_text(record.maturities)),
    }


def statement_text(
    content: CalibrationSet,
    *,
    previous: str,
    role: str,
    name: str,
    comment: str,
    time: datetime,
) -> str:
    """Return the text to sign for a set as it is now."""
    whole, tables = digests(content)
    plain = {
        "format": f"{FORMAT} {VERSION}",
        "set": content.called,
        "programme": content.programme,
        "mode": content.mode,
        "base_mode": content.base_mode,
        "revision": content.revision,
        "content": whole,
        **part_digests(content.record),
        "previous": previous,
        "decision": DECISIONS.get(role, "noted"),
        "role": role,
        "name": name,
        "time": stamp(time),
        "comment": comment,
        "tables": tables,
    }
    return json.dumps(plain, ensure_ascii=False, indent=1) + "\n"


def read_statement(text: str) -> Statement:
    """Read a statement.  Its signature is another matter.

    Raises
    ------
    SignatureProblem
        If it is no statement, or one of a newer version.
    """
    if len(text) > MAX_STATEMENT:
        raise SignatureProblem("A sign-off is too large to be one.")
    try:
        plain = json.loads(text, object_pairs_hook=_no_repeats)
    except (ValueError, RecursionError):
        raise _damaged() from None
    if not isinstance(plain, dict):
        raise _damaged()
    named = plain.pop("format", None)
    if named != f"{FORMAT} {VERSION}":
        if isinstance(named, str) and re.fullmatch(rf"{FORMAT} \d+", named):
            raise SignatureProblem("A sign-off was made by a newer version.", "Update Bitepoint.")
        raise _damaged()
    expected = {*_TEXTS, *_DIGESTS, "previous", "tables"}
    if set(plain) != expected:
        raise _damaged()
    if not all(isinstance(plain[key], str) and len(plain[key]) <= MAX_TEXT for key in _TEXTS):
        raise _damaged()
    tables = plain["tables"]
    if not isinstance(tables, dict) or not all(
        _is_digest(value) for value in (*tables.values(), *(plain[key] for key in _DIGESTS))
    ):
        raise _damaged()
    if plain["previous"] != "" and not _is_digest(plain["previous"]):
        raise _damaged()
    statement = Statement(**plain, text=text)
    try:
        if statement.moment.tzinfo is None:
            raise ValueError
    except ValueError:
        raise _damaged() from None
    return statement


def chain_of(sign_offs: tuple[SignOff, ...]) -> tuple[Statement, ...]:
    """Return the statements of a set's sign-offs, oldest first.

    Raises
    ------
    SignatureProblem
        If one is damaged, or they do not follow each other without a gap.
    """
    statements: list[Statement] = []
    for sign_off in sign_offs:
        statement = read_statement(sign_off.statement)
        before = statements[-1].digest if statements else ""
        if statement.previous != before:
            if not statements:
                problem = f"The sign-offs before that of {statement.who} are missing."
            elif statement.previous in {s.digest for s in statements[:-1]} | {""}:
                problem = f"The sign-off of {statement.who} does not follow the one before it."
            else:
                problem = f"A sign-off before that of {statement.who} is missing or was altered."
            raise SignatureProblem(problem, "Get the signed set again from whoever signed it.")
        statements.append(statement)
    return tuple(statements)


def _damaged() -> SignatureProblem:
    return SignatureProblem("A sign-off is damaged.", "Get the signed set again.")


def _is_digest(value: Any) -> bool:
    return isinstance(value, str) and _DIGEST.fullmatch(value) is not None


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):  # two readers could see two different statements
        raise ValueError
    return found
