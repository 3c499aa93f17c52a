"""What stands between a set and its sign-off, as one list that empties."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum

from ..core.arrays import same_values
from ..core.calibration_set import CalibrationSet
from ..core.canonical import table_digests
from ..core.record import Decision, Level, Outcome
from ..core.rule import Severity
from ..core.table import Table
from ..rules.check import Finding, Report
from ..rules.waivers import NOT_WAIVABLE
from ..session.history import Entry
from ..session.programme import Milestone, Programme
from .authors import Authors, authors_of, own_edits
from .decisions import signer_of
from .people import hints
from .signers import AllowedSigners
from .statement import NAMESPACE, REVIEWER, Statement
from .verification import CLOCK_SLACK, changed_tables, checked_chain
from .wire import SignatureProblem
from .withdrawn_since import withdrawn_since_sign_off

CONFIRM = "Look at it and confirm it: `bitepoint programme FILE --confirm`, or in Release."
RASTER_RULES = frozenset({"on_raster", "axis_on_raster"})


class Obstacle(StrEnum):
    """Kinds of thing that a sign-off waits for."""

    CHAIN = "sign-offs"
    FINDING = "finding"
    RASTER = "storage raster"
    NOT_CHECKED = "not checked"
    COMMON = "common table"
    DECISION = "awaits a decision"
    QUERY = "query"
    RIGHTS = "rights"
    MATURITY = "maturity"
    EVIDENCE = "evidence"
    NAMES = "names"
    WITHDRAWN = "rules withdrawn"
    REMARK = "open remark"


_MANY = {
    Obstacle.CHAIN: ("trouble with the sign-offs",) * 2,
    Obstacle.FINDING: ("finding", "findings"),
    Obstacle.RASTER: ("table off its storage raster", "tables off their storage raster"),
    Obstacle.NOT_CHECKED: ("rule not checked", "rules not checked"),
    Obstacle.COMMON: ("common table that differs", "common tables that differ"),
    Obstacle.DECISION: ("table that awaits a decision", "tables that await a decision"),
    Obstacle.QUERY: ("open query", "open queries"),
    Obstacle.RIGHTS: ("table without its owner's key", "tables without their owner's key"),
    Obstacle.MATURITY: ("table below its maturity", "tables below their maturity"),
    Obstacle.EVIDENCE: ("table with edits not driven", "tables with edits not driven"),
    Obstacle.NAMES: ("pair of names that look alike", "pairs of names that look alike"),
    Obstacle.WITHDRAWN: ("thing that no longer looks at it", "things that no longer look at it"),
    Obstacle.REMARK: ("open remark", "open remarks"),
}


AUTHOR_MEETS = frozenset(
    {
        Obstacle.CHAIN,
        Obstacle.FINDING,
        Obstacle.RASTER,
        Obstacle.NOT_CHECKED,
        Obstacle.COMMON,
    }
)
"""What an author has to clear before submitting; a reviewer has to see all of it cleared."""


@dataclass(frozen=True)
class Item:
    """One thing that is to be done before a sign-off.

    Parameters
    ----------
    kind : Obstacle
    table : str
        Id; empty where no table is meant.
    text : str
        What it is, in a sentence.
    remedy : str
        What to do about it.
    severity : Severity
    cells : tuple of index tuples
        Where to jump to.
    finding : Finding or None
    blocks : bool
        False for what is worth a look only: notes, names that look alike, open remarks.
    """

    kind: Obstacle
    table: str
    text: str
    remedy: str
    severity: Severity = Severity.ERROR
    cells: tuple[tuple[int, ...], ...] = ()
    finding: Finding | None = None
    blocks: bool = True


@dataclass(frozen=True)
class Unproven:
    """Edited cells of a table that no drive shows with their present values.

    Parameters
    ----------
    table : str
    cells : tuple of index tuples
    text : str
        How many there are and what stands behind them, in a sentence.
    """

    table: str
    cells: tuple[tuple[int, ...], ...]
    text: str


def counted(items: Iterable[Item]) -> str:
    """Say how many things of each kind there are, such as ``2 findings, 1 open query``."""
    counts = Counter(item.kind for item in items)
    return ", ".join(f"{number} {_MANY[kind][number != 1]}" for kind, number in counts.items())


@dataclass(frozen=True)
class Gate:
    """The list, and how far it has emptied.

    Parameters
    ----------
    items : tuple of Item
        The gravest first.
    changed : mapping of table id to str
        Tables that changed since the last trusted sign-off, and how (`Changed.how`).
    accepted : tuple of str
        Those of them whose present values a reviewer accepted.
    since : Statement or None
        That sign-off; None if there is none: then every table counts as changed.
    authors : mapping of table id to names
        Who edited each table since then; they do not accept it.
    """

    items: tuple[Item, ...]
    changed: Mapping[str, str] = field(default_factory=dict)
    accepted: tuple[str, ...] = ()
    since: Statement | None = None
    authors: Authors = field(default_factory=dict)

    def blocking(self, role: str = REVIEWER) -> tuple[Item, ...]:
        """Return what a sign-off in a role has to wait for."""
        return tuple(
            item
            for item in self.items
            if item.blocks and (role == REVIEWER or item.kind in AUTHOR_MEETS)
        )

    @property
    def is_open(self) -> bool:
        """Whether a reviewer may sign."""
        return not self.blocking()

    @property
    def done(self) -> int:
        """How much of `total` is done: the changed tables that are accepted."""
        return len(self.accepted)

    @property
    def total(self) -> int:
        """All that a reviewer's sign-off asks for: what is done and what is still to do.

        This is the one count: the bar, the list and the command line all show it.
        """
        return self.done + len(self.blocking())

    @property
    def words(self) -> str:
        """How far it is, such as ``30 of 43 done. To do: 12 tables that await a decision, ...``."""
        if self.total:
            head = f"{self.done} of {self.total} done."
        else:
            head = "No table changed since the last sign-off."
        rest = counted(self.blocking())
        return f"{head} To do: {rest}." if rest else head


def gate(
    content: CalibrationSet,
    report: Report,
    *,
    signers: AllowedSigners | None = None,
    programme: Programme | None = None,
    milestone: str = "",
    others: Sequence[CalibrationSet] = (),
    unproven: Sequence[Unproven] = (),
    undriven: Mapping[str, str] | None = None,
    entries: Sequence[Entry] = (),
    unread: Sequence[str] = (),
    unconfirmed: Sequence[str] = (),
    now: datetime | None = None,
) -> Gate:
    """Return what stands between a set and its sign-off.

    Parameters
    ----------
    content : CalibrationSet
    report : Report
        `check` of the set against the sets of the other modes.
    signers : AllowedSigners, optional
        Whose earlier sign-offs and signed decisions count; without it none do.
    programme : Programme, optional
        For owners, common tables and milestones.
    milestone : str
        Name of the milestone that has to be met; empty for none.
    others : sequence of CalibrationSet
        The sets that the report was made against.
    unproven : sequence of Unproven
        Edits that were not driven.  They are listed as a warning, and block where the milestone
        asks for the table to be driven.
    undriven : mapping of table id to str, optional
        Why tables that somebody called driven are not; see `calib_model.evidence.gaps`.
    entries : sequence of Entry
        The set's history, oldest first: it tells who edited what.
    unread : sequence of str
        Why sets of the programme could not be checked with (`calib_model.session.beside`).
    unconfirmed : sequence of str
        What a programme says of owners and signers that was not confirmed on this machine.
    now : datetime, optional

    Raises
    ------
    FileProblem
        If the programme has no such milestone.
    """
    moment = now or datetime.now(UTC)
    items: list[Item] = []
    since = None
    try:
        since = _trusted(content, signers, moment)
    except SignatureProblem as problem:
        items.append(Item(Obstacle.CHAIN, "", problem.problem, problem.remedy))
    digests = table_digests(content)
    changed = {c.what: c.how for c in changed_tables(digests, since.tables if since else {})}
    if since is None:
        changed = dict.fromkeys(content.tables, "never signed off")
    items += _findings(report)
    items += _not_checked(content, report, programme, others)
    items += (Item(Obstacle.NOT_CHECKED, "", text, "Mend that file.") for text in unread)
    items += (Item(Obstacle.RIGHTS, "", text, CONFIRM) for text in unconfirmed)
    if programme is not None:
        items += _common(content, programme, others)
    authors = authors_of(content, entries, since)
    accepted: list[str] = []
    for id in changed:
        decision = content.record.latest_decisions.get(id)
        item = _undecided(content, id, changed[id], digests.get(id, ""), decision)
        if item is None and decision is not None:
            item = _by_its_author(content, id, decision, authors)
        if item is None and decision is not None:
            item = _without_right(content, id, decision, programme, signers)
        if item is None:
            accepted.append(id)
        else:
            items.append(item)
    if milestone and programme is not None:
        items += _immature(content, digests, programme.milestone(milestone))
    items += _called_driven(content, undriven or {})
    items += _not_driven(content, unproven, must_be_driven(content, programme, milestone))
    items += [
        Item(Obstacle.NAMES, "", hint, "Ask them.", Severity.WARNING, blocks=False)
        for hint in hints(content)
    ]
    # They do not block by themselves: each such table awaits a decision, which settles it.
    items += [
        Item(
            Obstacle.WITHDRAWN,
            f.table,
            f.message,
            "Put it back, or accept the table.",
            f.severity,
            blocks=False,
        )
        for f in withdrawn_since_sign_off(content, entries, of_present=True)
        if not f.waived
    ]
    items += _remarks(content)
    order = list(Obstacle)
    weight = list(Severity)
    items.sort(key=lambda i: (not i.blocks, order.index(i.kind), weight.index(i.severity)))
    return Gate(tuple(items), changed, tuple(accepted), since, authors)


def _trusted(
    content: CalibrationSet, signers: AllowedSigners | None, now: datetime
) -> Statement | None:
    """Return the last statement of a reviewer who may sign."""
    chain = checked_chain(content.record.sign_offs)
    if signers is None:
        return None
    for statement, key in reversed(chain):
        if (
            statement.role == REVIEWER
            and (statement.programme, statement.mode) == (content.programme, content.mode)
            and statement.moment <= now + CLOCK_SLACK
            and not signers.objection(key, statement.name, statement.moment, NAMESPACE)
        ):
            return statement
    return None


def _findings(report: Report) -> Iterator[Item]:
    for finding in report.findings:
        if finding.waived:
            continue
        raster = finding.rule in RASTER_RULES
        note = finding.severity is Severity.NOTE
        if raster:
            remedy = "Round to storage."
        else:
            first = finding.remedies[0] if finding.remedies else "mend it"
            remedy = first[:1].upper() + first[1:]
            remedy += "." if finding.rule in NOT_WAIVABLE else ", or waive it."
        yield Item(
            Obstacle.RASTER if raster else Obstacle.FINDING,
            finding.table,
            finding.message,
            "" if note else remedy,
            finding.severity,
            finding.cells,
            finding,
            blocks=raster or not note,
        )


def _not_checked(
    content: CalibrationSet,
    report: Report,
    programme: Programme | None,
    others: Sequence[CalibrationSet],
) -> Iterator[Item]:
    for entry in report.not_checked:
        rule = entry.rule.replace("_", " ")
        yield Item(
            Obstacle.NOT_CHECKED,
            entry.table,
            f"The rule {rule} was not checked: {entry.reason}",
            "Open the other mode's set as reference."
            if entry.rule == "mode_relation"
            else "Mend the rule.",
        )
    if programme is not None and content.is_base:
        there = {other.mode for other in others} | {entry.mode for entry in report.not_checked}
        for mode, path in programme.sets.items():
            if mode not in (content.mode, *there):
                yield Item(
                    Obstacle.NOT_CHECKED,
                    "",
                    f"The relations of mode {mode} to this base set were not checked.",
                    f"Check against {path.name}.",
                )


def _common(
    content: CalibrationSet, programme: Programme, others: Sequence[CalibrationSet]
) -> Iterator[Item]:
    for other in others:
        for table in content:
            twin = other.tables.get(table.id)
            if programme.is_common(table.id) and not (
                twin is not None and _same_numbers(table, twin)
            ):
                yield Item(
                    Obstacle.COMMON,
                    table.id,
                    f"{table.label} is common to all modes, but the {other.mode} set's differs.",
                    "Carry the change to the other set.",
                )


def _same_numbers(a: Table, b: Table) -> bool:
    return same_values(a.values, b.values) and all(
        same_values(x.values, y.values) for x, y in zip(a.axes, b.axes, strict=False)
    )


def _undecided(
    content: CalibrationSet, id: str, how: str, digest: str, decision: Decision | None
) -> Item | None:
    table = content.tables.get(id)
    label = table.label if table is not None else id
    if decision is None:
        return Item(
            Obstacle.DECISION, id, f"{label} was {how}.", "Accept or query it.", Severity.WARNING
        )
    if decision.outcome is Outcome.QUERIED:
        return Item(
            Obstacle.QUERY,
            id,
            f"{label} was queried by {decision.by}: {decision.comment}",
            "Answer or mend it; then it can be accepted.",
            Severity.WARNING,
        )
    if decision.digest != digest:
        return Item(
            Obstacle.DECISION,
            id,
            f"{label} was edited after {decision.by} accepted it.",
            "Accept or query it again.",
            Severity.WARNING,
        )
    return None


def _by_its_author(
    content: CalibrationSet, id: str, decision: Decision, authors: Authors
) -> Item | None:
    if not own_edits([id], decision.by, authors):
        return None
    label = content.tables[id].label if id in content.tables else id
    return Item(
        Obstacle.DECISION,
        id,
        f"{label} was accepted by {decision.by}, who edited it or signed as its author.",
        "Another person accepts or queries it.",
        Severity.WARNING,
    )


def _without_right(
    content: CalibrationSet,
    id: str,
    decision: Decision,
    programme: Programme | None,
    signers: AllowedSigners | None,
) -> Item | None:
    table = content.tables.get(id)
    if programme is None or table is None:
        return None
    owners = programme.owners_of(table.function)
    if not owners:
        return None
    key = signer_of(content, decision)
    names = " or ".join(owners)
    if key is None:
        text = f"{table.label} ({table.function}) was accepted without a key."
    elif signers is None:
        text = f"{table.label} ({table.function}): no list of signers says whose key accepted it."
    elif not signers.belongs_to(key, owners):
        text = f"{table.label} ({table.function}) was accepted with a key that may not."
    else:
        return None
    return Item(Obstacle.RIGHTS, id, text, f"Needs the acceptance of {names}, with their key.")


def _immature(
    content: CalibrationSet, digests: Mapping[str, str], milestone: Milestone
) -> Iterator[Item]:
    for table in content:
        asked = milestone.asks(table)
        given = content.record.latest_maturities.get(table.id)
        level = given.level if given is not None else Level.ESTIMATED
        text = ""
        if level.rank < asked.rank:
            text = f"{table.label} is {level}; milestone {milestone.name} asks for {asked}."
        elif given is not None and asked.rank and given.digest != digests[table.id]:
            text = f"{table.label} was {level}, but was edited since {given.time[:10]}."
        if text:
            yield Item(Obstacle.MATURITY, table.id, text, "Give its level again.", Severity.WARNING)


def _called_driven(content: CalibrationSet, undriven: Mapping[str, str]) -> Iterator[Item]:
    for id, why in undriven.items():
        given = content.record.latest_maturities.get(id)
        if id in content.tables and given is not None and given.level is Level.DRIVEN:
            yield Item(
                Obstacle.MATURITY,
                id,
                f"{content[id].label} was called driven by {given.by}, but {why}",
                "Drive it, and add the drive in Road; or give another level.",
                Severity.WARNING,
            )


def must_be_driven(
    content: CalibrationSet, programme: Programme | None, milestone: str
) -> frozenset[str]:
    """Return the ids of the tables that a milestone asks to be driven.

    Raises
    ------
    FileProblem
        If the programme has no such milestone.
    """
    if programme is None or not milestone:
        return frozenset()
    asked = programme.milestone(milestone)
    return frozenset(t.id for t in content if asked.asks(t) is Level.DRIVEN)


def _not_driven(
    content: CalibrationSet, unproven: Sequence[Unproven], asked: frozenset[str]
) -> Iterator[Item]:
    for mine in unproven:
        table = content.tables.get(mine.table)
        if table is None:
            continue
        demand = " The milestone asks for it to be driven." if mine.table in asked else ""
        yield Item(
            Obstacle.EVIDENCE,
            mine.table,
            f"{table.label}: {mine.text}{demand}",
            "Drive these cells with these values, and add the drive in Road.",
            Severity.WARNING,
            mine.cells,
            blocks=mine.table in asked,
        )


def _remarks(content: CalibrationSet) -> Iterator[Item]:
    for remark in content.record.remarks:
        if remark.is_open and not remark.answers:
            yield Item(
                Obstacle.REMARK,
                remark.table,
                f"{remark.author}: {remark.text}",
                "Answer it and settle it.",
                Severity.NOTE,
                _cells(content.tables.get(remark.table), remark.places),
                blocks=False,
            )


def _cells(
    table: Table | None, places: tuple[tuple[float, ...], ...]
) -> tuple[tuple[int, ...], ...]:
    """Return the cells at axis values; those that the table has no more are left out."""
    if table is None:
        return ()
    found = []
    for place in places:
        if len(place) != len(table.axes):
            continue
        index = [
            next((i for i, x in enumerate(axis.values.tolist()) if x == value), -1)
            for axis, value in zip(table.axes, place, strict=True)
        ]
        if min(index, default=0) >= 0:
            found.append(tuple(index))
    return tuple(found)
