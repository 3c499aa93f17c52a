"""What the shaping verbs share: arguments, cells and weights, showing and writing a proposal."""

from __future__ import annotations

import argparse
import contextlib
import difflib
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from app.cli import company
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles, same_file
from app.cli.show import _grids
from app.cli.text import caution, count, listed, paragraph
from calib_model.core.numbers import short
from calib_model.core.people import login_name
from calib_model.core.plain_file import is_there
from calib_model.core.rule import KINDS
from calib_model.core.text_file import read_text
from calib_model.editing.change import apply, change_to_plain
from calib_model.editing.places import cells_at, parse_places
from calib_model.errors import FileProblem
from calib_model.shaping import AtOdds, explain
from calib_model.store import write_set

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.core.table import Table
    from calib_model.session.beside import Company
    from calib_model.shaping.proposal import Proposal
    from calib_model.store.reading import StoredSet

Lists = Mapping[str, list[dict[str, Any]]]
"""Plain data: lists of rows by name."""
Proposed = TypeVar("Proposed", bound="Proposal")

STATUS = (
    "Exit status: 0 done, 1 done but a rule does not hold afterwards or could not be looked at "
    "(it is\nnamed), 2 could not be done."
)

MOST_WEIGHTS = 64 << 20
"""Bytes of a file of weights: the largest table with 20 digits per cell."""


def add_arguments(made: VerbParser) -> None:
    """Add what every shaping verb takes."""
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument("table", metavar="TABLE", help="id of the table")
    made.add_argument(
        "-o",
        "--out",
        metavar="OUT",
        type=Path,
        help="set file to write (may be SET itself; no other file is replaced); without it the "
        "proposal is only shown",
    )
    made.add_argument(
        "--without",
        metavar="KIND",
        action="append",
        default=[],
        help="kind of rule to leave out, as `bitepoint check` names it; may be given several times",
    )
    made.add_argument("--author", metavar="NAME", help="who does it, for the set's history")
    made.add_argument("--reason", metavar="TEXT", default="", help="why, for the set's history")
    made.add_argument("--json", action="store_true", help="answer as one JSON object")


def add_cells(made: VerbParser) -> None:
    """Add the choice of cells."""
    made.add_argument(
        "--only",
        metavar="AXIS=LOW..HIGH",
        action="append",
        default=[],
        help="change only these cells, ends included; AXIS by quantity, name or number; "
        "several together narrow it down",
    )


def add_weights(made: VerbParser) -> None:
    """Add weights of cells."""
    made.add_argument(
        "--weights",
        metavar="FILE",
        type=Path,
        help="how much each cell's value counts: text with one number per cell, in the table's "
        "order",
    )


@dataclass(frozen=True)
class Inputs:
    """What a verb that solves under rules works with.

    Parameters
    ----------
    stored : StoredSet
        The set to shape.
    named : sequence of StoredSet
        Those that the user named with ``--against``, in that order.
    against : list of CalibrationSet
        The same, and then those of the programme beside the set.
    found : Company
        What was found beside it.
    """

    stored: StoredSet
    named: Sequence[StoredSet]
    against: list[CalibrationSet]
    found: Company


def read(given: argparse.Namespace) -> Inputs:
    """Read the set with those it has relations with, named or of the programme beside it."""
    with (
        SetFiles([given.set, *given.against]) as files,
        company.Neighbours(given.set, alone=given.alone, named=given.against) as neighbours,
    ):
        stored, *named = files.results()
        found = neighbours.company(stored.set)
    against = neighbours.others(found, [one.set for one in named])
    return Inputs(stored, named, against, found)


def table_of(content: CalibrationSet, path: Path, id: str) -> Table:
    """Return a table by id, or refuse with what is near."""
    if id not in content:
        near = difflib.get_close_matches(id, content.tables, 3)
        lists = f"`bitepoint show {path}` lists all."
        hint = f"Perhaps {' or '.join(near)}." if near else lists
        refuse(f"{path}: There is no table {id!r}.", hint)
    return content[id]


def kinds(given: Sequence[str]) -> tuple[str, ...]:
    """Return kinds of rule as the model names them; refuse what is none."""
    wanted = tuple(kind.replace(" ", "_") for kind in given)
    for kind in wanted:
        if kind not in KINDS:
            refuse(f"There is no kind of rule {kind!r}.", f"Known: {', '.join(sorted(KINDS))}.")
    return wanted


def cells(table: Table, given: Sequence[str]) -> np.ndarray | None:
    """Return the chosen cells as a mask, or None for all."""
    return cells_at(table, parse_places(table, given)) if given else None


def weights(table: Table, path: Path | None) -> np.ndarray | None:
    """Read weights from a text file."""
    if path is None:
        return None

    text = read_text(path, "a list of weights", MOST_WEIGHTS)
    words = text.replace(";", " ").replace(",", " ").split()
    try:
        numbers = np.array([float(word) for word in words])
    except ValueError as error:
        raise FileProblem(
            path, "", f"{str(error).capitalize()}.", "Give numbers with a decimal point only."
        ) from None
    if numbers.size != table.values.size:
        raise FileProblem(
            path,
            "",
            f"It holds {numbers.size} numbers; {table.id} has {table.values.size} cells.",
            "Give one number per cell, rows along the first axis.",
        )
    return numbers.reshape(table.shape)


@contextlib.contextmanager
def quiet() -> Iterator[None]:
    """Keep compiled libraries from writing to standard output, which belongs to the answer."""
    try:
        sys.stdout.flush()
        kept = os.dup(1)
        nowhere = os.open(os.devnull, os.O_WRONLY)
    except (OSError, ValueError, AttributeError):  # no such stream here
        yield
        return
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def proposed(make: Callable[[], Proposed]) -> Proposed:
    """Carry a tool out; where rules and locks are at odds, refuse with the explanation."""
    try:
        with quiet():
            return make()
    except AtOdds as problem:
        with quiet():
            found = explain(problem.system)
        if found is None:
            raise
        refuse(found.text, "Unlock a cell or change a rule.")


def shaped(
    given: argparse.Namespace,
    make: Callable[[CalibrationSet, Table], Proposed],
    more: Callable[[Proposed], Lists],
) -> Answer:
    """Carry out a tool that heeds no other set, from reading to the answer.

    Parameters
    ----------
    given : Namespace
    make : callable
        Makes the proposal for a table of a set.
    more : callable
        What its answer in JSON has besides.
    """
    check_out(given.set, given.out)
    with SetFiles([given.set]) as files:
        (stored,) = files.results()
    table = table_of(stored.set, given.set, given.table)
    proposal = proposed(lambda: make(stored.set, table))
    written = write(stored, proposal, given, given.out)
    return answer(proposal, given, written, more=more(proposal) if given.json else {})


def check_out(source: Path, out: Path | None) -> None:
    """Refuse to replace a file that is not the set itself."""
    if out is not None and is_there(out) and not same_file(source, out):
        refuse(f"{out}: There is such a file already.", "Give a new name with -o.")


def write(
    stored: StoredSet,
    proposal: Proposal,
    given: argparse.Namespace,
    out: Path | None,
    number: int = 0,
) -> list[Path]:
    """Write a set with the proposal applied and its history longer by one entry.

    Returns what was written: nothing without a file to write, or with nothing to change in place.
    """
    if out is None:
        return []
    source = given.set if number == 0 else given.against[number - 1]
    in_place = same_file(source, out)
    change = proposal.change(set_number=number)
    content, history = stored.set, stored.history
    if not change.is_empty:
        author = given.author if given.author is not None else login_name()
        change = change.stamped(author, given.reason)
        content = apply(content, change)
        history = history.with_entries([change_to_plain(change)])
    elif in_place:
        return []
    write_set(
        out,
        content,
        history,
        expected_stamp=stored.file_stamp if in_place else None,
        records=stored.records,
    )
    return [out]


def status_of(proposal: Proposal, found: Company | None = None) -> int:
    """Return the exit status: what was not looked at is no better than what does not hold."""
    lacking = found is not None and bool(found.problems)
    return DIFFERENT if proposal.diagnostics.broken or lacking else GOOD


def answer(
    proposal: Proposal,
    given: argparse.Namespace,
    written: Sequence[Path],
    found: Company | None = None,
    more: Lists = MappingProxyType({}),
) -> Answer:
    """Return the answer of a shaping verb; `found` lies beside the set, where that was read."""
    status = status_of(proposal, found)
    if given.json:
        return Answer(status, json_text({**plain(proposal, written, found), **more}))
    return Answer(status, words(proposal, written, found))


def plain(
    proposal: Proposal, written: Sequence[Path], found: Company | None = None
) -> dict[str, list[dict[str, Any]]]:
    """Return a proposal as plain data."""
    beside = {} if found is None else {"beside": company.plain(found)}
    d = proposal.diagnostics
    tables = []
    for (number, id), table in proposal.after.items():
        old = proposal.before.get((number, id))  # none for a table that is added
        tables.append(
            {
                "table": id,
                "set": number,
                "axes": [axis.values.tolist() for axis in table.axes],
                "before": None if old is None else old.values.tolist(),
                "values": table.values.tolist(),
                "storage": str(table.storage),
            }
        )
    outcome = {
        "strength": d.strength,
        "effective_degrees_of_freedom": d.edf,
        "solver": d.solver,
        "residual": d.residual,
        **{key.replace(" ", "_"): value for key, value in d.figures.items()},
    }
    return {
        "tables": tables,
        "settings": [dict(proposal.settings)],
        "outcome": [outcome],
        "held_by": [_part(p) for p in d.active],
        "broken": [_part(p) for p in d.broken],
        "not_stated": [{"text": text} for text in d.not_stated],
        "notes": [{"text": text} for text in _notes(proposal, found)],
        **beside,
        "written": [{"file": str(path)} for path in written],
    }


def _part(part: Any) -> dict[str, Any]:
    return {
        "rule": part.kind,
        "table": part.place[1],
        "set": part.place[0],
        "cells": [[id, cell] for (_, id), cell in part.cells],
        "text": part.text,
    }


def _notes(proposal: Proposal, found: Company | None) -> tuple[str, ...]:
    return (*proposal.notes, *(found.problems if found is not None else ()))


def words(proposal: Proposal, written: Sequence[Path], found: Company | None = None) -> str:
    """Return a proposal for reading."""
    d = proposal.diagnostics
    said = ", ".join(f"{key} {_said(value)}" for key, value in proposal.settings.items())
    rows = [("Outcome", proposal.summary or "nothing changes")]
    if said:
        rows.append(("Settings", said))
    if d.strength is not None and d.edf is not None:
        rows.append(
            ("Strength", f"lambda {short(d.strength, 4)}, {short(d.edf, 4)} degrees of freedom")
        )
    if d.active:
        rows.append(("Held back by", "\n".join(p.text for p in d.active)))
    rows += [("Note", note) for note in _notes(proposal, found)]
    parts = [f"{proposal.title}.", listed(rows)]
    if found is not None and found.words:
        parts.append(paragraph(company.words(found)))
    parts += [_values(table) for place, table in proposal.after.items() if place[0] == 0]
    if written:
        parts.append(f"Wrote {' and '.join(str(path) for path in written)}.")
    else:
        parts.append(
            "Nothing is written: nothing changes."
            if proposal.is_empty
            else "Nothing is written; name a file with -o."
        )
    parts.append(caution())
    return "\n\n".join(parts) + "\n"


def _said(value: Any) -> str:
    return " and ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)


def _values(table: Table) -> str:
    """Return a table's proposed values as `bitepoint show` prints them."""
    heading = f"{table.id}, {count(table.values.size, 'cell')}, as proposed"
    if not table.axes:
        return f"{heading}: {table.said(float(table.values))}"
    return "\n\n".join([heading, *_grids(table)])
