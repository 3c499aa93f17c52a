"""`bitepoint compare A B`: which tables differ, where and by how much, and against which rule."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import DIFFERENT, GOOD, Answer, json_text
from app.cli.check import finding_plain
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution, count, listed, title

if TYPE_CHECKING:
    from calib_model.compare import Comparison, TableComparison

SUMMARY = "list every difference between two sets"


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "compare",
        "List every difference between two sets, and every breach of a relation between their\n"
        "modes.  Differences are B less A.",
        "Exit status: 0 same, 1 different, 2 could not be done.",
    )
    made.add_argument("a", metavar="A", type=Path, help="first calibration set file")
    made.add_argument("b", metavar="B", type=Path, help="second calibration set file")
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Compare two sets."""
    given = parser().parse_args(arguments)
    with SetFiles([given.a, given.b]) as files:
        from calib_model.compare import compare

        first, second = (stored.set for stored in files.results())
    result = compare(first, second)
    status = GOOD if result.same and not result.breaches else DIFFERENT
    if given.json:
        return Answer(status, json_text(plain(result)))
    return Answer(status, words(result, given.a, given.b))


def plain(result: Comparison) -> dict[str, Any]:
    """Return a comparison as plain data."""
    return {
        "tables": [
            {
                "table": table.id,
                "state": str(table.state),
                "cells_changed": table.cells_changed,
                "largest": table.largest,
                "unit": table.unit,
                "mode_relation_breaches": [finding_plain(b) for b in table.breaches],
            }
            for table in result.tables.values()
        ]
    }


def words(result: Comparison, first: Path, second: Path) -> str:
    """Return a comparison for reading."""
    from calib_model.compare import State

    states = ", ".join(f"{n} {state}" for state in State if (n := result.count(state)))
    head = (
        f"A: {title(result.first, first)}\nB: {title(result.second, second)}\n"
        f"{count(len(result.tables), 'table')}: {states or 'none'}."
    )
    parts = [head]
    if result.fields:
        changes = [(f.field, f.change) for f in result.fields]
        parts.append("Of the sets themselves\n" + listed(changes))
    if result.differing:
        overview = [(t.id, str(t.state), t.words()) for t in result.differing]
        parts.append("Tables that differ\n" + listed(overview))
    parts.append(_relation(result))
    details = [_details(t) for t in result.differing if t.fields or t.cells]
    if details:
        parts.append("Every difference\n" + "\n".join(details))
    parts.append(caution())
    return "\n\n".join(parts) + "\n"


def _relation(result: Comparison) -> str:
    """Return what came of the relation between the modes."""
    if not result.breaches:
        no_pair = result.relation.startswith("No ")
        return result.relation + ("" if no_pair else " No table is in breach.")
    heading = f"{result.relation} {count(len(result.breaches), 'table')} in breach:"
    return heading + "\n" + listed([(b.table, b.message) for b in result.breaches])


def _details(table: TableComparison) -> str:
    lines = [f.words() for f in table.fields]
    lines += [cell.words() for cell in table.cells]
    return f"{table.id} ({table.table.label})\n" + listed([("", line) for line in lines])
