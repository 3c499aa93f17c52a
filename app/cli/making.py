"""What the verbs share that make and edit tables: arguments, what changes shown, the file."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import GOOD, Answer, json_text
from app.cli.edits import write_change
from app.cli.parser import VerbParser
from app.cli.text import aligned, caution, count, listed, paragraph
from calib_model.compare.fields import table_fields
from calib_model.core.arrays import cell_tuples
from calib_model.core.numbers import short
from calib_model.editing.change import CellsEdit, Change, SharedAxisEdit, TableEdit, cells_edit
from calib_model.foreign_text import plain_line

if TYPE_CHECKING:
    from calib_model.core.arrays import BoolArray
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.core.table import Table
    from calib_model.store.reading import StoredSet

STATUS = "Exit status: 0 done, 2 could not be done."
MOST_CELLS = 200
"""Cells that are listed for reading; JSON has them all."""


def add_set(made: VerbParser) -> None:
    """Add the set that is edited."""
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")


def add_writing(made: VerbParser) -> None:
    """Add the file to write, and who does it and why."""
    made.add_argument(
        "-o",
        "--out",
        metavar="OUT",
        type=Path,
        help="set file to write (may be SET itself; no other file is replaced); without it the "
        "change is only shown",
    )
    made.add_argument("--author", metavar="NAME", help="who does it, for the set's history")
    made.add_argument("--reason", metavar="TEXT", default="", help="why, for the set's history")
    made.add_argument("--json", action="store_true", help="answer as one JSON object")


def cells_words(table: Table, chosen: BoolArray) -> str:
    """Return which cells are meant: ``torque at −10 °C, 40 %``, ``3 cells of torque``."""
    many = int(chosen.sum())
    if many == 1 and table.axes:
        (cell,) = cell_tuples(chosen.reshape(-1).nonzero()[0], table.shape)
        return f"{table.label} at {_place(table, cell)}"
    if not table.axes:
        return table.label
    return f"{'all ' if many == chosen.size else ''}{count(many, 'cell')} of {table.label}"


def answer(stored: StoredSet, change: Change, given: argparse.Namespace) -> Answer:
    """Write the set with a change, if a file is named, and show what changes."""
    written = write_change(stored, given.set, given.out, change, given.author, given.reason)
    if given.json:
        return Answer(GOOD, json_text(_plain(stored.set, change, written)))
    return Answer(GOOD, _words(stored.set, change, written, given.out is not None))


def _plain(
    content: CalibrationSet, change: Change, written: Path | None
) -> dict[str, list[dict[str, Any]]]:
    return {
        "change": [{"title": change.title, "note": change.note}] if not change.is_empty else [],
        "cells": [
            {
                "table": table.id,
                "cell": list(cell),
                "at": list(table.coordinates(cell)),
                "before": before,
                "after": after,
                "difference": after - before,
            }
            for table, edit in _cell_edits(content, change)
            for cell, before, after in _rows(table, edit)
        ],
        "tables": [
            {
                "table": edit.table,
                "before": None if edit.before is None else list(edit.before.shape),
                "after": None if edit.after is None else list(edit.after.shape),
            }
            for edit in change.edits
            if isinstance(edit, TableEdit)
        ],
        "written": [{"file": str(written)}] if written is not None else [],
    }


def _words(content: CalibrationSet, change: Change, written: Path | None, asked: bool) -> str:
    if change.is_empty:
        tail = "the file is as it was" if asked and written is None else "nothing is written"
        parts = ["Nothing changes." if written else f"Nothing changes: {tail}."]
    else:
        parts = [f"{plain_line(change.title)}."]
        parts += [_cells(table, edit) for table, edit in _cell_edits(content, change)]
        if facts := _facts(change):
            parts.append(listed(facts))
        if change.note:
            parts.append(paragraph(plain_line(change.note)))
    if written is not None:
        parts.append(f"Wrote {written}.")
    elif not change.is_empty:
        parts.append("Nothing is written; name a file with -o.")
    return "\n\n".join([*parts, caution()]) + "\n"


def _cell_edits(content: CalibrationSet, change: Change) -> list[tuple[Table, CellsEdit]]:
    """Return the values that change, of tables whose cells stay where they are."""
    found = []
    for edit in change.edits:
        if isinstance(edit, CellsEdit):
            found.append((content[edit.table], edit))
        elif isinstance(edit, TableEdit) and edit.before is not None and edit.after is not None:
            same = edit.before.shape == edit.after.shape and edit.before.unit == edit.after.unit
            if same and all(
                (a.values == b.values).all()
                for a, b in zip(edit.before.axes, edit.after.axes, strict=True)
            ):
                cells = cells_edit(edit.before, edit.after.values)
                if cells.cells.size:
                    found.append((edit.after, cells))
    return found


def _rows(table: Table, edit: CellsEdit) -> list[tuple[tuple[int, ...], float, float]]:
    places = cell_tuples(edit.cells, table.shape)
    return list(zip(places, edit.before.tolist(), edit.after.tolist(), strict=True))


def _cells(table: Table, edit: CellsEdit) -> str:
    rows = [[axis.label for axis in table.axes] + ["before", "after", "difference"]]
    for cell, before, after in _rows(table, edit)[:MOST_CELLS]:
        difference = after - before
        sign = "+" if difference > 0 else ""
        rows.append(
            [
                *(a.said(x) for a, x in zip(table.axes, table.coordinates(cell), strict=True)),
                table.said_exactly(before),
                table.said_exactly(after),
                f"{sign}{short(difference)}" if difference == difference else "",
            ]
        )
    lines = aligned(rows)
    if (more := edit.cells.size - MOST_CELLS) > 0:
        lines.append(f"and {count(more, 'more cell')}; --json lists all.")
    return "\n".join(lines)


def _facts(change: Change) -> list[tuple[str, str]]:
    """Say what becomes of tables and shared axes as a whole."""
    facts = []
    for edit in change.edits:
        if isinstance(edit, SharedAxisEdit):
            gone = "removed" if edit.after is None else "changed"
            kind = "added" if edit.before is None else gone
            facts.append((f"shared axis {edit.id}", kind))
        if not isinstance(edit, TableEdit):
            continue
        before, after = edit.before, edit.after
        if before is None or after is None:
            one = after or before
            assert one is not None
            shape = " × ".join(map(str, one.shape))
            kind = f"{one.kind} {shape}".strip()
            facts.append((edit.table, f"{'added' if before is None else 'removed'}: {kind}"))
        else:
            facts.append((edit.table, "; ".join(_differences(before, after)) or "values changed"))
    return facts


def _differences(before: Table, after: Table) -> list[str]:
    return [field.words() for field in table_fields(before, after)]


def _place(table: Table, cell: tuple[int, ...]) -> str:
    coordinates = table.coordinates(cell)
    return ", ".join(a.said(x) for a, x in zip(table.axes, coordinates, strict=True))
