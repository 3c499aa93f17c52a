"""What several verbs need to say what stands between a set and its sign-off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import refuse
from app.cli.company import Neighbours, words
from app.cli.parser import VerbParser
from app.cli.text import count, listed, paragraph
from calib_model.evidence.gaps import called_driven, undriven, unproven
from calib_model.rules.check import check
from calib_model.session.programme import read_programme
from calib_model.session.since import before_changes
from calib_model.signoff.confirmed import missing, taken
from calib_model.signoff.gate import counted, gate, must_be_driven
from calib_model.signoff.signers import read_signers

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.session.beside import Company
    from calib_model.session.history import Entry
    from calib_model.session.programme import Programme
    from calib_model.signoff.gate import Gate, Item
    from calib_model.signoff.signers import AllowedSigners


HOW_TO_CONFIRM = "See `bitepoint programme FILE`, and confirm it there with --confirm."


def add_trust(parser: VerbParser) -> None:
    """Add ``--signers`` and ``--programme``."""
    parser.add_argument(
        "--signers",
        metavar="FILE",
        type=Path,
        help="list of allowed signers: whose earlier sign-offs count",
    )
    parser.add_argument(
        "--programme",
        metavar="FILE",
        type=Path,
        help="programme file: sets, owners, milestones, signers; by default the one beside the set "
        "that names it; its owners and signers count once they were confirmed on this machine "
        "(`bitepoint programme`)",
    )


@dataclass(frozen=True)
class Grounds:
    """What a gate is judged by: the other sets, and whose word counts.

    Parameters
    ----------
    others : sequence of CalibrationSet
        Sets that the set is checked with.
    company : Company
        Those of them that a programme brought, and what is amiss with it.
    programme : Programme or None
        Without owners and list of signers, unless they were confirmed on this machine.
    signers : AllowedSigners or None
    notes : tuple of str
        What was left out, in words; to be said.
    unconfirmed : tuple of str
        Those notes that a reviewer's sign-off has to wait for.
    """

    others: Sequence[CalibrationSet]
    company: Company
    programme: Programme | None = None
    signers: AllowedSigners | None = None
    notes: tuple[str, ...] = ()
    unconfirmed: tuple[str, ...] = ()

    def told(self) -> list[str]:
        """Return paragraphs that say what was read beside the set, and what was left out."""
        lines = [words(self.company), *(f"{note} {HOW_TO_CONFIRM}" for note in self.notes)]
        return [paragraph(line) for line in lines if line]


def named_programme(given: Any) -> Programme | None:
    """Return the programme that was named with ``--programme``."""
    if given.programme is None:
        return None

    return read_programme(given.programme)


def grounds(
    given: Any, content: CalibrationSet, named: Sequence[CalibrationSet], neighbours: Neighbours
) -> Grounds:
    """Return what a set's gate is judged by.

    Parameters
    ----------
    given : Namespace
        With ``set``, ``signers``, ``programme``.
    content : CalibrationSet
    named : sequence of CalibrationSet
        Sets named with ``--against``.
    neighbours : Neighbours
    """
    found = neighbours.company(content)
    chosen = neighbours.programme
    naming = found.found.naming
    if chosen is None and naming:
        if len(naming) > 1:
            names = " and ".join(one.programme.path.name for one in naming)
            refuse(
                f"{given.set}: Several programme files beside it name it: {names}.",
                "Say which counts: --programme FILE.",
            )
        chosen = naming[0].programme
    notes, unconfirmed = [], []
    signers = None
    if chosen is not None:
        took = taken(chosen, with_signers=given.signers is None)
        chosen, signers = took.programme, took.signers
        notes += [took.note] * bool(took.note)
        unconfirmed += [took.note] * took.blocks
    gone = missing(given.set, chosen)
    notes += gone
    unconfirmed += gone
    if given.signers is not None:
        signers = read_signers(given.signers)
    others = neighbours.others(found, named)
    return Grounds(others, found, chosen, signers, tuple(notes), tuple(unconfirmed))


def gate_of(
    content: CalibrationSet, on: Grounds, milestone: str, entries: Sequence[Entry] = ()
) -> Gate:
    """Return what stands between a set and its sign-off.

    Parameters
    ----------
    content : CalibrationSet
    on : Grounds
    milestone : str
        Of the programme; empty for none.
    entries : sequence of Entry
        Of the set's history, oldest first: it tells which cells are edits, and whose.
    """
    report = check(content, on.others)
    base, _ = before_changes(content, entries)
    asked = must_be_driven(content, on.programme, milestone)
    return gate(
        content,
        report,
        signers=on.signers,
        programme=on.programme,
        milestone=milestone,
        others=on.others,
        unproven=unproven(content, base, asked),
        undriven=undriven(content, base, called_driven(content)),
        entries=entries,
        unread=on.company.problems,
        unconfirmed=on.unconfirmed,
    )


def gate_words(found: Gate, items: Sequence[Item]) -> str:
    """Return the list for reading."""
    parts = [found.words]
    if items:
        rows = [(str(i.kind), i.table, f"{i.text}\n{i.remedy}".strip()) for i in items]
        parts.append(listed(rows))
    return "\n\n".join(parts)


def blocked(items: Sequence[Item], path: Path) -> str:
    """Return in one line why a set cannot be signed."""
    first = items[0]
    place = f"{first.table}: " if first.table else ""
    return (
        f"{path}: Not signed: {count(len(items), 'thing')} to do ({counted(items)}). "
        f"First: {place}{first.text} {first.remedy} "
        f"`bitepoint sign {path} --list` lists all."
    )
