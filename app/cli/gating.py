"""What several verbs need to say what stands between a set and its sign-off."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.parser import VerbParser
from app.cli.text import count, listed

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.session.history import Entry
    from calib_model.session.programme import Programme
    from calib_model.signoff.gate import Gate, Item
    from calib_model.signoff.signers import AllowedSigners


def add_against(parser: VerbParser) -> None:
    """Add ``--against``."""
    parser.add_argument(
        "--against",
        metavar="SET",
        type=Path,
        action="append",
        default=[],
        help="set of another mode, for the relations between modes; may be given several times",
    )


def add_trust(parser: VerbParser) -> None:
    """Add ``--signers`` and ``--programme``."""
    parser.add_argument(
        "--signers",
        metavar="FILE",
        type=Path,
        help="list of allowed signers: whose earlier sign-offs count",
    )
    parser.add_argument(
        "--programme", metavar="FILE", type=Path, help="programme file: owners, milestones, signers"
    )


def trust(given: Any) -> tuple[AllowedSigners | None, Programme | None]:
    """Return the signers and the programme that were named."""
    programme = None
    if given.programme is not None:
        from calib_model.session.programme import read_programme

        programme = read_programme(given.programme)
    path = given.signers or (programme.signers if programme is not None else None)
    if path is None:
        return None, programme
    from calib_model.signoff.signers import read_signers

    return read_signers(path), programme


def gate_of(
    content: CalibrationSet,
    others: Sequence[CalibrationSet],
    signers: AllowedSigners | None,
    programme: Programme | None,
    milestone: str,
    entries: Sequence[Entry] = (),
) -> Gate:
    """Return what stands between a set and its sign-off; its history tells which cells are edits.

    Parameters
    ----------
    entries : sequence of Entry
        Of the set's history, oldest first.
    """
    from calib_model.evidence.gaps import unproven
    from calib_model.rules.check import check
    from calib_model.session.since import before_changes
    from calib_model.signoff.gate import gate, must_be_driven

    report = check(content, others)
    base, _ = before_changes(content, entries)
    return gate(
        content,
        report,
        signers=signers,
        programme=programme,
        milestone=milestone,
        others=others,
        unproven=unproven(content, base, must_be_driven(content, programme, milestone)),
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
    from calib_model.signoff.gate import counted

    first = items[0]
    place = f"{first.table}: " if first.table else ""
    return (
        f"{path}: Not signed: {count(len(items), 'thing')} in the way ({counted(items)}). "
        f"First: {place}{first.text} {first.remedy} "
        f"`bitepoint sign {path} --list` lists all."
    )
