"""`bitepoint table SET ACTION TABLE ...`: make a table, or change what it is."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from app.cli import making
from app.cli.answer import Answer, refuse
from app.cli.parser import VerbParser
from app.cli.proposals import check_out, table_of
from app.cli.reading import SetFiles
from calib_model.core.near import nearest
from calib_model.core.storage import Storage
from calib_model.core.typed_number import parse_number
from calib_model.core.units import known
from calib_model.editing import axes, conversions, reshape, tables
from calib_model.editing.axis_text import axis_from_text
from calib_model.editing.entry import parse_entry
from calib_model.editing.places import axis_number

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.editing.change import Change

ACTIONS = {
    "add": ("TABLE", "a new one; see --axis, --like and the options of a new table"),
    "copy": ("TABLE NEW", "a copy, values and rules included"),
    "rename": ("TABLE [NEW]", "another id, another --name, or both; rules and record follow"),
    "remove": ("TABLE", "with --with-rules the rules of others that name it go too"),
    "unit": (
        "TABLE UNIT",
        "convert values, or --of AXIS; raw values stay if they can",
    ),
    "storage": ("TABLE TYPE [STEP]", "store values, or --of AXIS, in another way; rounding shown"),
    "label": ("TABLE LABELS", "name values, or --of AXIS: '0 off, 1 slow'; '' takes names away"),
    "transpose": ("TABLE [AXES...]", "axes in another order; reversed if none is given"),
    "add-axis": ("TABLE AXIS-TEXT", "one more axis, values repeated; --first puts it first"),
    "drop-axis": ("TABLE AXIS AT", "without an axis, its values at a breakpoint kept"),
    "insert": ("TABLE AXIS VALUE", "a breakpoint, values interpolated"),
    "delete": ("TABLE AXIS VALUE", "a breakpoint with its cells"),
    "share": (
        "TABLE AXIS ID [TABLES...]",
        "let several tables use one axis; --equal: all equal ones",
    ),
    "detach": ("TABLE AXIS", "give a table its own copy of a shared axis"),
}


def parser() -> VerbParser:
    """Return the verb's parser."""
    usage = {name: f"{name} {words}" for name, (words, _) in ACTIONS.items()}
    wide = max(map(len, usage.values()))
    rows = "\n".join(f"  {usage[n]:{wide}}  {about}" for n, (_, about) in ACTIONS.items())
    made = VerbParser(
        "table",
        f"Make a table, or change what it is.\n\nactions:\n{rows}\n\n"
        "An axis is named by its input, its name or its number.  A new one is written as\n"
        "'pedal [%]: 0 25 50 100', 'wiper_state: off slow fast' (labels) or '@axis.speed' (the "
        "set's shared axis).",
        making.STATUS,
    )
    making.add_set(made)
    made.add_argument("action", metavar="ACTION", help="see above")
    made.add_argument("table", metavar="TABLE", help="id of the table")
    made.add_argument("words", metavar="WORDS", nargs="*", help="what the action takes besides")
    making.add_writing(made)
    new = made.add_argument_group("a new table")
    new.add_argument(
        "--axis", metavar="AXIS-TEXT", action="append", default=[], help="rows first, then columns"
    )
    new.add_argument(
        "--like", metavar="TABLE", help="axes, unit, storage, limits, rules of another"
    )
    new.add_argument("--yes-no", action="store_true", help="its values are no and yes")
    new.add_argument(
        "--fill", metavar="VALUE", help="value or label for all cells; empty otherwise"
    )
    new.add_argument("--unit", metavar="UNIT", default="-", help="unit of its values")
    new.add_argument("--function", metavar="TEXT", default="", help="its function group")
    new.add_argument("--description", metavar="TEXT", default="", help="what it is")
    new.add_argument(
        "--limits", metavar=("LOW", "HIGH"), nargs=2, type=float, help="smallest, largest value"
    )
    new.add_argument(
        "--store", metavar=("TYPE", "STEP"), nargs=2, help="storage, such as uint16 0.5"
    )
    new.add_argument("--labels", metavar="LABELS", default="", help="names of its values")
    made.add_argument("--name", metavar="TEXT", help="add, copy, rename: its name")
    made.add_argument("--of", metavar="AXIS", help="unit, storage, label: of an axis")
    made.add_argument("--with-rules", action="store_true", help="remove: see above")
    made.add_argument("--first", action="store_true", help="add-axis: see above")
    made.add_argument("--equal", action="store_true", help="share: with every table that can")
    made.add_argument(
        "--only-here", action="store_true", help="insert, delete: not in the tables that share it"
    )
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Make or change a table."""
    given = parser().parse_args(arguments)
    if given.action not in ACTIONS:
        refuse(f"There is no action {given.action!r}.", nearest(given.action, ACTIONS, "actions"))
    _count_words(given)
    check_out(given.set, given.out)
    with SetFiles([given.set]) as files:
        (stored,) = files.results()
    if given.action != "add":
        table_of(stored.set, given.set, given.table)
    return making.answer(stored, _MAKERS[given.action](stored.set, given), given)


def _count_words(given: argparse.Namespace) -> None:
    wanted = ACTIONS[given.action][0].split()[1:]
    least = sum(not word.startswith("[") for word in wanted)
    most = 99 if any(word.endswith("...]") for word in wanted) else len(wanted)
    if not least <= len(given.words) <= most:
        refuse(
            f"{given.action} takes {' '.join(wanted) or 'nothing'} after the table.",
            f"Write `bitepoint table SET {given.action} {ACTIONS[given.action][0]}`.",
        )


def _add(content: CalibrationSet, given: argparse.Namespace) -> Change:
    if given.like is not None:
        like = table_of(content, given.set, given.like)
        fill = np.nan if given.fill is None else parse_entry(given.fill, like.labels).amount
        return tables.like_table(content, like.id, given.table, given.name or "", fill)
    if not known(given.unit):
        refuse(f"Unit {given.unit!r} is not known.", "Write it as N.m, km/h, degC or alike.")
    settings: dict[str, object] = {
        key: value for key in ("function", "description") if (value := getattr(given, key))
    }
    settings["name"] = given.name or ""
    if given.unit != "-":
        settings["unit"] = given.unit
    if given.limits is not None:
        settings["lower"], settings["upper"] = given.limits
    if given.store is not None:
        settings["storage"] = Storage.of(*given.store)
    if given.labels:
        settings["labels"] = given.labels
    made = [axis_from_text(text, content) for text in given.axis]
    table = tables.new_table(given.table, made, np.nan, yes_no=given.yes_no, **settings)
    if given.fill is not None:
        value = parse_entry(given.fill, table.labels).amount
        table = replace(table, values=np.full(table.shape, value))
    return tables.add_table(content, table)


def _rename(content: CalibrationSet, given: argparse.Namespace) -> Change:
    if not given.words and given.name is None:
        refuse("Neither a new id nor a name is given.", "Give the new id, or --name TEXT.")
    return tables.rename_table(content, given.table, "".join(given.words), given.name)


def _of(content: CalibrationSet, given: argparse.Namespace) -> int | None:
    return None if given.of is None else axis_number(content[given.table], given.of)


def _storage(content: CalibrationSet, given: argparse.Namespace) -> Change:
    return conversions.change_storage(
        content, given.table, Storage.of(*given.words), _of(content, given)
    )


def _transpose(content: CalibrationSet, given: argparse.Namespace) -> Change:
    order = [axis_number(content[given.table], word) for word in given.words]
    return reshape.transpose(content, given.table, order)


def _add_axis(content: CalibrationSet, given: argparse.Namespace) -> Change:
    axis = axis_from_text(given.words[0], content)
    return reshape.add_axis(content, given.table, axis, 0 if given.first else -1)


def _place(content: CalibrationSet, given: argparse.Namespace) -> tuple[int, float | str]:
    """Return the axis and the breakpoint, or its label, that two words name."""
    table = content[given.table]
    number = axis_number(table, given.words[0])
    text = given.words[1]
    if table.axes[number].labels.number(text) is not None:
        return number, text
    return number, parse_number(text)


def _drop_axis(content: CalibrationSet, given: argparse.Namespace) -> Change:
    number, at = _place(content, given)
    table = content[given.table]
    index = reshape.breakpoint_index(table, number, at)
    return reshape.drop_axis(content, table.id, number, float(table.axes[number].values[index]))


def _insert(content: CalibrationSet, given: argparse.Namespace) -> Change:
    number, at = _place(content, given)
    if isinstance(at, str):
        refuse(f"There is a breakpoint {at!r} already.", "Give a number.")
    return axes.insert_breakpoint(content, given.table, number, at, detach=given.only_here)


def _delete(content: CalibrationSet, given: argparse.Namespace) -> Change:
    number, at = _place(content, given)
    return axes.delete_breakpoint_at(content, given.table, number, at, detach=given.only_here)


def _share(content: CalibrationSet, given: argparse.Namespace) -> Change:
    table = content[given.table]
    number = axis_number(table, given.words[0])
    others: Sequence[str] = given.words[2:]
    for other in others:
        table_of(content, given.set, other)
    if given.equal:
        others = reshape.equal_axes(content, table.axes[number])
    return reshape.share_axis(content, table.id, number, given.words[1], others)


_MAKERS: dict[str, Callable[[CalibrationSet, argparse.Namespace], Change]] = {
    "add": _add,
    "copy": lambda c, g: tables.duplicate_table(c, g.table, g.words[0], g.name or ""),
    "rename": _rename,
    "remove": lambda c, g: tables.remove_table(c, g.table, with_rules=g.with_rules),
    "unit": lambda c, g: conversions.change_unit(c, g.table, g.words[0], _of(c, g)),
    "storage": _storage,
    "label": lambda c, g: tables.set_labels(
        c, g.table, g.words[0] if g.words[0].strip() else (), _of(c, g)
    ),
    "transpose": _transpose,
    "add-axis": _add_axis,
    "drop-axis": _drop_axis,
    "insert": _insert,
    "delete": _delete,
    "share": _share,
    "detach": lambda c, g: axes.detach_axis(c, g.table, axis_number(c[g.table], g.words[0])),
}
