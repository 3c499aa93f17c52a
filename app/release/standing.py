"""How a set stands: what is to do before its sign-off, who signed it, what changed since.

Worked out from values alone, in a thread; the widgets only show it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from app.company_in_use import Brought, CompanyInUse
from app.needs import Memory
from app.work.control import Control
from calib_model.compare import compare, compare_tables
from calib_model.compare.result import TableComparison
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Record
from calib_model.core.table import Table
from calib_model.editing.change import Change, change_to_plain
from calib_model.errors import BitepointError, FileProblem
from calib_model.evidence.gaps import called_driven, undriven, unproven
from calib_model.rules.check import Checker, Report
from calib_model.session.history import Entry, HistoryLike
from calib_model.session.programme import Programme, read_programme
from calib_model.session.since import at_sign_off, before_changes
from calib_model.signoff.confirmed import missing, taken
from calib_model.signoff.gate import Gate, gate, must_be_driven
from calib_model.signoff.signers import AllowedSigners, read_signers
from calib_model.signoff.verification import Verification, verify

MOST_LINES = 200


@dataclass(frozen=True)
class Trust:
    """What the user chose: files that say who may sign, and what is asked.

    Parameters
    ----------
    signers, programme : Path or None
    milestone : str
        Of the programme; empty for none.
    brought : Brought or None
        What a programme file beside the set brings: it counts where none is chosen.
    """

    signers: Path | None = None
    programme: Path | None = None
    milestone: str = ""
    brought: Brought | None = None


@dataclass(frozen=True)
class Known:
    """What the files of a `Trust` say.

    Parameters
    ----------
    signers : AllowedSigners or None
    programme : Programme or None
    milestone : str
    problems : tuple of str
        Files that could not be read, in words.
    claimed : Programme or None
        The programme as its file has it, where owners or signers of it were left out because
        nobody confirmed them on this machine.
    notes : tuple of str
        What was left out, in words.
    unconfirmed : tuple of str
        Those of them that a reviewer's sign-off waits for.
    unread : tuple of str
        What of the programme beside the set could not be checked with.
    """

    signers: AllowedSigners | None = None
    programme: Programme | None = None
    milestone: str = ""
    problems: tuple[str, ...] = ()
    claimed: Programme | None = None
    notes: tuple[str, ...] = ()
    unconfirmed: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()


def remembered_trust(memory: Memory, company: CompanyInUse | None = None) -> Trust:
    """Return what the user chose last, with what the programme beside the set brings."""
    signers, programme, milestone = (
        memory.remembered(f"release/{key}") for key in ("signers", "programme", "milestone")
    )
    return Trust(
        Path(signers) if signers else None,
        Path(programme) if programme else None,
        milestone,
        company.brought if company is not None else None,
    )


def read_trust(trust: Trust) -> Known:
    """Read the files; what cannot be read is told and left out."""
    problems: list[str] = []
    notes: list[str] = []
    unconfirmed: list[str] = []
    programme, signers, claimed = None, None, None
    brought = trust.brought
    try:
        programme = _programme(trust)
        if programme is not None:
            took = taken(programme, with_signers=trust.signers is None)
            claimed = programme if took.note else None
            programme, signers = took.programme, took.signers
            notes += [took.note] * bool(took.note)
            unconfirmed += [took.note] * took.blocks
        if brought is not None:
            gone = missing(brought.set_path, programme)
            notes += gone
            unconfirmed += gone
        if trust.signers is not None:
            signers = read_signers(trust.signers)
    except BitepointError as error:
        problems.append(str(error))
    milestone = trust.milestone
    if programme is None or milestone not in programme.milestones:
        milestone = ""
    return Known(
        signers,
        programme,
        milestone,
        tuple(problems),
        claimed,
        tuple(notes),
        tuple(unconfirmed),
        brought.problems if brought is not None else (),
    )


def _programme(trust: Trust) -> Programme | None:
    """Return the programme that was chosen, else the one beside the set.

    Raises
    ------
    FileProblem
        If it cannot be read, or several programmes beside the set name it.
    """
    if trust.programme is not None:
        return read_programme(trust.programme)
    beside = trust.brought.programmes if trust.brought is not None else ()
    if len(beside) > 1:
        names = " and ".join(one.path.name for one in beside)
        raise FileProblem(
            beside[0].path.parent,
            "",
            f"Several programme files name the set: {names}.",
            "Choose the one that counts.",
        )
    return beside[0] if beside else None


@dataclass(frozen=True)
class Past:
    """What a set's history is made of: its saved entries and the changes since.

    Parameters
    ----------
    history : HistoryLike
    pending : tuple of Change
    saved : tuple of Entry, optional
        The history's entries, if they were read already (`read`).
    """

    history: HistoryLike
    pending: tuple[Change, ...] = ()
    saved: tuple[Entry, ...] | None = field(default=None, repr=False, compare=False)

    def read(self, before: Past | None) -> Past:
        """Return the same with its saved entries read, taken from before if it is that history.

        Parameters
        ----------
        before : Past or None
            What was read for an earlier look.

        Raises
        ------
        BitepointError
            If the history is damaged.
        """
        if before is not None and before.saved is not None and before.history is self.history:
            return replace(self, saved=before.saved)
        return replace(self, saved=tuple(Entry(plain, True) for plain in self.history.views()))

    def entries(self) -> list[Entry]:
        """Return all entries, oldest first."""
        saved = self.saved if self.saved is not None else self.read(None).saved or ()
        return [*saved, *(Entry(change_to_plain(change), False) for change in self.pending)]

    def whole(self) -> HistoryLike:
        """Return one history with everything in it."""
        return self.history.with_entries([change_to_plain(change) for change in self.pending])


@dataclass(frozen=True)
class Standing:
    """How a set stands.

    Parameters
    ----------
    content : CalibrationSet
    checker : Checker
        For the next time; it goes on in another thread, so that nobody else may use it.
    report : Report
        Findings of the set.
    others : tuple of CalibrationSet
        Sets of the programme's other modes that it was checked against.
    known : Known
    gate : Gate
    verification : Verification
    since : mapping of table id to tuple of str
        What changed in each table since the last sign-off, in words.
    signed : CalibrationSet or None
        The set as it was last signed, if the history tells.
    begun : CalibrationSet or None
        For a set without a sign-off: as it was at the beginning of its history, if that tells.
    evidence_base : CalibrationSet or None
        The state that edits count from, where evidence is asked for; None if that is not known.
    edits : mapping of table id to tuple of str
        What changed in each table since the last sign-off or, without one, since the beginning of
        the history, in words.
    past : Past or None
        What it was worked out from, its saved entries read.
    """

    content: CalibrationSet
    checker: Checker
    report: Report
    others: tuple[CalibrationSet, ...]
    known: Known
    gate: Gate
    verification: Verification
    since: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    signed: CalibrationSet | None = None
    begun: CalibrationSet | None = None
    evidence_base: CalibrationSet | None = None
    edits: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    past: Past | None = None


def stand(
    control: Control,
    content: CalibrationSet,
    others: tuple[CalibrationSet, ...],
    trust: Trust,
    past: Past,
    before: Standing | None,
) -> Standing:
    """Work out how a set stands.

    Parameters
    ----------
    before : Standing or None
        An earlier answer for the same document, to go on from; it is not to be used any more.
    """
    control.check()
    checker = _checked(content, others, before)
    report = checker.report
    control.check()
    known = read_trust(trust)
    verification = verify(content, known.signers)
    with suppress(BitepointError):  # a damaged history: what needs it says so itself
        past = past.read(before.past if before is not None else None)
    since: Mapping[str, tuple[str, ...]] = {}
    signed = begun = None
    if verification.changed_since:
        signed = _as_signed(content, past, before)
        if signed is not None:
            since = changes_in_words(signed, content)
    if not content.record.sign_offs:
        begun = _as_begun(content, past, before)
    evidence_base = _evidence_base(content, verification, signed, begun)
    found = gate(
        content,
        report,
        signers=known.signers,
        programme=known.programme,
        milestone=known.milestone,
        others=others,
        unproven=unproven(
            content,
            evidence_base,
            must_be_driven(content, known.programme, known.milestone),
        ),
        undriven=undriven(content, evidence_base, called_driven(content)),
        entries=_entries(past),
        unread=known.unread,
        unconfirmed=known.unconfirmed,
    )
    return Standing(
        content, checker, report, others, known, found, verification, since, signed, begun,
        evidence_base, since or _edits(begun, content, before), past,
    )  # fmt: skip


def _edits(
    begun: CalibrationSet | None, content: CalibrationSet, before: Standing | None
) -> Mapping[str, tuple[str, ...]]:
    """Return what was edited since the beginning; only what is another object can differ."""
    if begun is None:
        return {}
    found: dict[str, tuple[str, ...]] = {}
    known = before if before is not None and before.begun is begun else None
    for id in {**begun.tables, **content.tables}:
        first, second = begun.tables.get(id), content.tables.get(id)
        if first is second:
            continue
        if known is not None and known.content.tables.get(id) is second:
            words = known.edits.get(id, ())
        else:
            words = _pair_words(first, second)
        if words:
            found[id] = words
    return found


def _pair_words(first: Table | None, second: Table | None) -> tuple[str, ...]:
    if first is None or second is None:
        return ("The table was added." if first is None else "The table was removed.",)
    return table_words(compare_tables(first, second))


def _entries(past: Past) -> list[Entry]:
    """Return the history; none if it is damaged, which other lists tell."""
    try:
        return past.entries()
    except BitepointError:
        return []


def _evidence_base(
    content: CalibrationSet,
    verification: Verification,
    signed: CalibrationSet | None,
    begun: CalibrationSet | None,
) -> CalibrationSet | None:
    """Return the state that edits count from, where evidence is asked for; None if unknown."""
    if not content.record.sign_offs:
        return begun
    return signed if verification.changed_since else content


def _as_begun(
    content: CalibrationSet, past: Past, before: Standing | None
) -> CalibrationSet | None:
    if before is not None and before.begun is not None and not before.content.record.sign_offs:
        return before.begun  # the beginning of a document's history does not change
    try:
        return before_changes(content, past.entries())[0]
    except BitepointError:
        return None


def _checked(
    content: CalibrationSet, others: tuple[CalibrationSet, ...], before: Standing | None
) -> Checker:
    if before is None or before.others != others:
        return Checker(content, others)
    old = before.content
    ids = {**old.tables, **content.tables}
    changed = {id for id in ids if old.tables.get(id) is not content.tables.get(id)}
    changed |= _waived_otherwise(old.record, content.record)
    if len(changed) > max(20, len(content) // 2):
        return Checker(content, others)
    if changed or old is not content:
        before.checker.update(content, sorted(changed))
    return before.checker


def _waived_otherwise(before: Record, after: Record) -> set[str]:
    if before is after:
        return set()
    old, new = before.waivers_by_table, after.waivers_by_table
    return {id for id in {*old, *new} if old.get(id) != new.get(id)}


def _as_signed(
    content: CalibrationSet, past: Past, before: Standing | None
) -> CalibrationSet | None:
    last = content.record.sign_offs[-1]
    if (
        before is not None
        and before.signed is not None
        and before.content.record.sign_offs[-1:] == (last,)
    ):
        return before.signed  # as it was signed does not change
    try:
        return at_sign_off(content, past.entries(), last.id)
    except BitepointError:
        return None


def changes_in_words(
    earlier: CalibrationSet, content: CalibrationSet
) -> dict[str, tuple[str, ...]]:
    """Return what differs in each table, one line per field or cell."""
    return {table.id: table_words(table) for table in compare(earlier, content).differing}


def table_words(table: TableComparison) -> tuple[str, ...]:
    """Return what differs in one table, one line per field or cell."""
    if table.first is None or table.second is None:
        return ("The table was added." if table.first is None else "The table was removed.",)
    lines = [f.words() for f in table.fields] + [c.words() for c in table.cells]
    if len(lines) > MOST_LINES:
        lines = [*lines[:MOST_LINES], f"and {len(lines) - MOST_LINES} more"]
    return tuple(lines)


def others_of(
    content: CalibrationSet, contents: Sequence[CalibrationSet]
) -> tuple[CalibrationSet, ...]:
    """Return the open sets of the programme's other modes, one per mode, the first of each.

    A sign-off asks for the relations to every mode, so not the reference set alone.
    """
    found: dict[str, CalibrationSet] = {}
    for other in contents:
        alike = other.programme == content.programme and other.mode not in ("", content.mode)
        if other is not content and alike:
            found.setdefault(other.mode, other)
    return tuple(found.values())
