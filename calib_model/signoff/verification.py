"""Verify a set's sign-offs: who signed, whether they may, and what changed since."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from pathlib import Path

from ..core.calibration_set import CalibrationSet
from ..core.canonical import digest, digests
from ..core.names import look_alike_hints, same_person
from ..core.record import SignOff
from ..foreign_text import plain_line
from . import sshsig
from .keys import PublicKey
from .signers import AllowedSigners, read_signers
from .statement import AUTHOR, NAMESPACE, REVIEWER, Statement, chain_of, part_digests
from .wire import SignatureProblem

CLOCK_SLACK = timedelta(minutes=5)


class State(StrEnum):
    """How a set stands."""

    UNSIGNED = "unsigned"
    SIGNED = "signed"
    """Genuine, but not by both author and reviewer."""
    SIGNED_OFF = "signed off"
    ALTERED = "changed since its sign-off"
    NOT_GENUINE = "not genuine"


@dataclass(frozen=True)
class Signed:
    """One good signature over the set as it is.

    Parameters
    ----------
    name, role, decision, time, comment : str
    key : str
        Fingerprint.
    """

    name: str
    role: str
    decision: str
    time: str
    comment: str
    key: str


@dataclass(frozen=True)
class Changed:
    """One thing that changed since the last sign-off.

    Parameters
    ----------
    what : str
        Id of the table, or a part of the set in words (``the revision``).
    how : str
        ``changed``, ``added``, ``removed``, or from what to what.
    """

    what: str
    how: str


@dataclass(frozen=True)
class Verification:
    """What a verification found.

    Parameters
    ----------
    genuine : bool
        Every sign-off is good, was made by allowed signers, and is for exactly this set.
    digest : str
        Of the content as it is.
    signed_by : tuple of Signed
        Good signatures over the content as it is, oldest first; not only of allowed signers.
    changed_since : tuple of Changed
        Since the last sign-off.
    reason : str
        Why it is not genuine, or what is still missing; empty if it is signed off.
    state : State
    hints : tuple of str
        What people should look at, each in a sentence: names of signers that look alike without
        being one, keys that count by the time that their signer stated only.
    """

    genuine: bool
    digest: str
    signed_by: tuple[Signed, ...]
    changed_since: tuple[Changed, ...]
    reason: str
    state: State
    hints: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """Say it in one line."""
        names = plain_line(" and ".join(f"{s.name} ({s.role})" for s in self.signed_by))
        text = f"{self.state[:1].upper()}{self.state[1:]}"
        if self.state in (State.SIGNED, State.SIGNED_OFF):
            text = f"{text} by {names}" if self.genuine else f"Not verified as {self.state}"
        return plain_line(f"{text}. {self.reason}".strip())


def verify(
    content: CalibrationSet,
    signers: AllowedSigners | Path | str | None,
    *,
    now: datetime | None = None,
    at: datetime | None = None,
) -> Verification:
    """Verify a set.

    When a sign-off was made is its signer's own word.  A key that was listed then, but is not
    now, therefore counts with a hint; `at` judges the keys by a moment that is known otherwise.

    Parameters
    ----------
    content : CalibrationSet
    signers : AllowedSigners or path-like or None
        The team's list; without one nothing is genuine, and the state is what the set says.
    now : datetime, optional
        The present time, with its zone.
    at : datetime, optional
        The moment, with its zone, by which keys are judged in place of the signers' times.

    Returns
    -------
    Verification

    Raises
    ------
    FileProblem
        If the list cannot be read.
    """
    allowed = read_signers(signers) if isinstance(signers, Path | str) else signers
    if not content.record.sign_offs:
        reason = "The set is not signed."
        return Verification(False, digest(content), (), (), reason, State.UNSIGNED)
    mine, tables = digests(content)
    parts = part_digests(content.record)
    try:
        chain = checked_chain(content.record.sign_offs)
    except SignatureProblem as problem:
        return Verification(False, mine, (), (), str(problem), State.NOT_GENUINE)
    last, _ = chain[-1]
    alike = look_alike_hints(statement.name for statement, _ in chain)
    changed = _changed_since(content, last, mine, tables, parts)
    tail = _tail(chain, content, mine)
    signed_by = tuple(
        Signed(s.name, s.role, s.decision, s.time, s.comment, key.fingerprint) for s, key in tail
    )
    moment = now or datetime.now(UTC)
    if at is None:
        alike += _dated_back(tail, allowed, moment)
    problem_text = _objection(chain, tail, allowed, moment, at)
    if problem_text:
        return Verification(False, mine, signed_by, changed, problem_text, State.NOT_GENUINE, alike)
    if changed:
        words = _changed_words(content, last, changed)
        return Verification(False, mine, signed_by, changed, words, State.ALTERED, alike)
    missing = _missing(tail, parts)
    state = State.SIGNED if missing else State.SIGNED_OFF
    if allowed is None:
        missing = "No list of allowed signers is given to verify with."
    return Verification(allowed is not None, mine, signed_by, (), missing, state, alike)


def checked_chain(sign_offs: tuple[SignOff, ...]) -> list[tuple[Statement, PublicKey]]:
    """Return the statements with the keys that signed them, oldest first.

    Raises
    ------
    SignatureProblem
        If a statement or signature is damaged or altered, or the chain has a gap.
    """
    found = []
    for statement, sign_off in zip(chain_of(sign_offs), sign_offs, strict=True):
        try:
            key = sshsig.verify(statement.text.encode(), sign_off.signature, NAMESPACE)
        except SignatureProblem as problem:
            raise SignatureProblem(
                f"The sign-off of {statement.who} does not hold. {problem.problem}", problem.remedy
            ) from None
        found.append((statement, key))
    return found


def _tail(
    chain: list[tuple[Statement, PublicKey]], content: CalibrationSet, mine: str
) -> list[tuple[Statement, PublicKey]]:
    """Return the last sign-offs that are all for the set as it is."""
    found: list[tuple[Statement, PublicKey]] = []
    for statement, key in reversed(chain):
        signed = (statement.content, statement.set, statement.revision)
        if signed != (mine, content.called, content.revision):
            break
        found.insert(0, (statement, key))
    return found


def _objection(
    chain: list[tuple[Statement, PublicKey]],
    tail: list[tuple[Statement, PublicKey]],
    allowed: AllowedSigners | None,
    now: datetime,
    at: datetime | None,
) -> str:
    before: datetime | None = None
    for statement, _ in chain:
        if statement.moment > now + CLOCK_SLACK:
            return (
                f"The sign-off of {statement.who} is of {statement.time}, which is in the future. "
                "Check the clock of this machine, and of the one it was signed on."
            )
        if before is not None and statement.moment < before - CLOCK_SLACK:
            return f"The sign-off of {statement.who} is older than the one before it."
        before = statement.moment
    if allowed is None:
        return ""
    for statement, key in tail or chain[-1:]:
        problem = allowed.objection(key, statement.name, at or statement.moment, NAMESPACE)
        if problem:
            return problem
    return ""


def _dated_back(
    tail: list[tuple[Statement, PublicKey]], allowed: AllowedSigners | None, now: datetime
) -> tuple[str, ...]:
    """Return a sentence for every key that counts only because of the time its signer stated."""
    if allowed is None:
        return ()
    return tuple(
        f"The key of {statement.who} counts by the signer's own word only: the sign-off says that "
        f"it was made at {statement.time}, and the key is not valid now."
        for statement, key in tail
        if allowed.objection(key, statement.name, now, NAMESPACE)
        and not allowed.objection(key, statement.name, statement.moment, NAMESPACE)
    )


def changed_since(content: CalibrationSet, statement: Statement) -> tuple[Changed, ...]:
    """Return what differs between a set and what a statement was signed for."""
    return _changed_since(content, statement, *digests(content), part_digests(content.record))


def _changed_since(
    content: CalibrationSet,
    statement: Statement,
    mine: str,
    tables: Mapping[str, str],
    parts: Mapping[str, str],
) -> tuple[Changed, ...]:
    found = [
        Changed(f"the {label}", plain_line(f"{before or 'nothing'} → {after or 'nothing'}"))
        for label, before, after in (
            ("programme", statement.programme, content.programme),
            ("mode", statement.mode, content.mode),
            ("base mode", statement.base_mode, content.base_mode),
            ("name", statement.set, content.called),
            ("revision", statement.revision, content.revision),
        )
        if before != after
    ]
    found += changed_tables(tables, statement.tables)
    if not found and mine != statement.content:
        found.append(Changed("the shared axes", "changed"))
    for label, before, after in (
        ("waivers", statement.waivers, parts["waivers"]),
        ("decisions", statement.decisions, parts["decisions"]),
        ("maturity levels", statement.maturity, parts["maturity"]),
    ):
        if before != after:
            found.append(Changed(f"the {label}", "changed"))
    return tuple(found)


def changed_tables(now: Mapping[str, str], signed: Mapping[str, str]) -> list[Changed]:
    """Return the tables whose digests differ."""
    return [
        Changed(
            id,
            "added" if id not in signed else "removed" if id not in now else "changed",
        )
        for id in dict.fromkeys([*now, *signed])
        if now.get(id) != signed.get(id)
    ]


def _changed_words(content: CalibrationSet, last: Statement, changed: tuple[Changed, ...]) -> str:
    if (content.programme, content.mode) != (last.programme, last.mode):
        return (
            f"The sign-off of {last.who} is for {last.set} (programme {last.programme}, mode "
            f"{last.mode}), another set than this one (programme {content.programme}, mode "
            f"{content.mode})."
        )
    tables = [c for c in changed if c.what in content or c.how == "removed"]
    if last.tables and len([c for c in tables if c.what in last.tables]) == len(last.tables):
        return f"No table is as {last.who} signed it: the sign-off may be of another set."
    named = ", ".join(c.what if c.how == "changed" else f"{c.what} ({c.how})" for c in changed[:5])
    more = f" and {len(changed) - 5} more" if len(changed) > 5 else ""
    return f"Changed since the sign-off of {last.who} of {last.time}: {named}{more}."


def _missing(tail: list[tuple[Statement, PublicKey]], parts: Mapping[str, str]) -> str:
    """Return what is missing for the state ``signed off``; empty if nothing is."""
    authors = [(s, key) for s, key in tail if s.role == AUTHOR]
    # Decisions follow the author's sign-off, but a reviewer must have seen all there is.
    reviewers = [
        (s, key)
        for s, key in tail
        if s.role == REVIEWER and (s.waivers, s.decisions, s.maturity) == tuple(parts.values())
    ]
    if not reviewers:
        return "Not signed off: a reviewer's sign-off is missing."
    if not authors:
        return "Not signed off: the author's sign-off is missing."
    if not any(
        a_key != r_key and not same_person(a.name, r.name)
        for a, a_key in authors
        for r, r_key in reviewers
    ):
        return "Not signed off: author and reviewer are one person or one key."
    return ""
