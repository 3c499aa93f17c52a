"""`bitepoint set SET TABLE VALUE`: give cells a value, or change what they hold."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli import making
from app.cli.answer import Answer, refuse
from app.cli.parser import VerbParser
from app.cli.proposals import check_out, table_of
from app.cli.reading import SetFiles
from calib_model.core.text_file import read_text
from calib_model.editing.change import values_change
from calib_model.editing.entry import parse_entry
from calib_model.editing.notes import noted
from calib_model.editing.places import cells_at, parse_places
from calib_model.errors import EditRefused, FileProblem
from calib_model.exchange.blocks import parse_block, with_numbers

if TYPE_CHECKING:
    from calib_model.core.arrays import BoolArray, FloatArray
    from calib_model.core.table import Table

MOST_TEXT = 64 << 20


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "set",
        "Give cells of a table a value, or reckon it from what they hold.  Every cell that changes "
        "is shown\nbefore and after.\n\n"
        "VALUE is a number or a label; *1.1 or /2 scales, +5 (or +-5) adds, +3% and -3% change by "
        "a share,\n=2*30 is a sum, =x-5 a sum with x for what the cell holds.",
        "Without --at every cell is meant.  Locked cells keep their values.\n\n" + making.STATUS,
    )
    making.add_set(made)
    made.add_argument("table", metavar="TABLE", help="id of the table")
    made.add_argument("value", metavar="VALUE", nargs="?", help="see above")
    made.add_argument(
        "--at",
        metavar="AXIS=PLACE",
        action="append",
        default=[],
        help="only cells there: a breakpoint, a label, several with commas, or LOW..HIGH, ends "
        "included; AXIS by input, name or number; several together narrow it down",
    )
    made.add_argument(
        "--values",
        metavar="FILE",
        dest="block",
        help="take the values from a file in place of VALUE: lines of tab-separated numbers, one "
        "for each chosen cell",
    )
    making.add_writing(made)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Set values."""
    given = parser().parse_args(_shielded(arguments))
    if (given.value is None) == (given.block is None):
        refuse("Neither a value nor a file of values, or both.", "Give VALUE, or --values FILE.")
    check_out(given.set, given.out)
    with SetFiles([given.set]) as files:
        (stored,) = files.results()
    table = table_of(stored.set, given.set, given.table)
    chosen = cells_at(table, parse_places(table, given.at))
    where = making.cells_words(table, chosen)
    if given.block is not None:
        values = _block(table, chosen, Path(given.block))
        title = f"Set {where} from {Path(given.block).name}"
    else:
        entry = parse_entry(given.value, table.labels)
        values, title = entry.values(table, chosen), entry.title(where, table)
    change = noted(table, values_change(table, values, title))
    return making.answer(stored, change, given)


def _shielded(arguments: Sequence[str]) -> list[str]:
    """Let ``-3%`` pass for a value: a minus and a figure begin no option of this verb."""
    return [f" {a}" if a[:1] == "-" and a.endswith("%") else a for a in arguments]


def _block(table: Table, chosen: BoolArray, path: Path) -> FloatArray:
    text = read_text(path, "a block of values", MOST_TEXT)
    try:
        block = parse_block(with_numbers(text, table.labels))
    except EditRefused as problem:
        said = problem.problem.replace("Nothing was pasted: ", "")
        raise FileProblem(
            path, "", said, "Write numbers with a decimal point, apart by tabs."
        ) from None
    if block.row_axis is not None or block.column_axis is not None:
        raise FileProblem(
            path, "", "It has breakpoints beside its values.", "Leave them out, and give --at."
        )
    count = int(chosen.sum())
    if block.values.size != count:
        raise FileProblem(
            path,
            "",
            f"It holds {block.values.size} numbers for {count} chosen cells of {table.id}.",
            "Give one number per cell, rows along the first axis.",
        )
    values = table.values.copy()
    values[chosen] = block.values.reshape(-1)
    return values
