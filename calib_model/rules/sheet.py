"""The rule sheet: rules, mode relations and bindings as text (TOML) that a user writes.

A sheet is a list of ``[[table]]`` entries.  Each names the tables it is for by ``id``, ``role``
or ``name``, with ``*`` and ``?`` as wildcards (``[`` and ``]`` stand for themselves, since ids
may hold them), and says some of:

- ``rules``: what the values must satisfy,
- ``modes``: what must hold in another drive mode,
- ``bind``: the part of the controller that the one matched table plays,
- ``inputs``: the input quantity that each axis reads, in the order of the axes,
- ``limits``, ``storage``, ``unit``, ``axis_units``, ``function``: what the table is
  (`sheet_about`).

``[owners]`` names, by function group, who may accept its tables.  A set holds no owners: they stand
in the programme file, and what a sheet says of them is told, not applied.

All entries that match a table count: their rules add up and replace the table's; of anything
else said twice, the later entry wins.  What no entry speaks of is left as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Never

from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.near import nearest
from ..core.patterns import fits as wildcard_fits
from ..core.plain_reader import read_toml
from ..core.roles import QUANTITIES, ROLES
from ..core.rule import Rule
from ..core.rule_plain import rule_from_plain
from ..core.table import RELATIONS, Table
from ..core.toml_text import toml_key, toml_value
from ..errors import FileProblem, ModelError
from .sheet_about import KEYS, NOTHING_SAID, About, about_from_plain, about_lines

SHEET_VERSION = 1
_MATCHES = ("id", "role", "name")
ENTRY_KEYS = (*_MATCHES, "bind", "inputs", "modes", "rules", *KEYS)
_HEAD = """\
# Rule sheet: what tables must satisfy, and what the controller reads them for.
# An entry is for every table that its id, role or name fits; * and ? are wildcards.
# rules add up over entries and replace those of the table; modes are read mode-to-base;
# inputs follow the axes. What is not said here is left as it is.
"""


@dataclass(frozen=True)
class SheetEntry:
    """One entry of a sheet.

    Parameters
    ----------
    patterns : mapping of ``id``, ``role``, ``name`` to str
        All must fit.
    rules : tuple of Rule, or None where the entry says nothing of rules
    modes : mapping of mode to str, or None
    bind : str or None
        Role for the one table that matches.
    inputs : tuple of str, or None
        Input quantity per axis; empty for an axis that reads none.
    line : int
        Where the entry begins in the text; 0 if unknown.
    about : About
        What it says of the tables themselves.
    """

    patterns: Mapping[str, str]
    rules: tuple[Rule, ...] | None = None
    modes: Mapping[str, str] | None = None
    bind: str | None = None
    inputs: tuple[str, ...] | None = None
    line: int = 0
    about: About = NOTHING_SAID

    def fits(self, table: Table) -> bool:
        """Whether the entry is for a table."""
        return all(
            wildcard_fits(pattern, getattr(table, key)) for key, pattern in self.patterns.items()
        )

    @property
    def label(self) -> str:
        """How to name the entry in a message: ``slip_* (line 12)``."""
        what = ", ".join(p if k == "id" else f"{k} {p}" for k, p in self.patterns.items())
        return f"{what} (line {self.line})" if self.line else what


@dataclass(frozen=True)
class RuleSheet:
    """A rule sheet.

    Parameters
    ----------
    entries : tuple of SheetEntry
    source : str
        Where it came from, for messages.
    owners : mapping of function group to tuple of str
        Who may accept its tables, for the programme file.
    """

    entries: tuple[SheetEntry, ...]
    source: str = ""
    owners: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def owners_words(self) -> str:
        """What to put into the programme file; empty where the sheet names no owner."""
        if not self.owners:
            return ""
        lines = [
            f"{toml_key(group)} = {toml_value(list(who))}" for group, who in self.owners.items()
        ]
        return (
            "Owners stand in the programme file, where they count once they were confirmed; put "
            "these lines there:\n[owners]\n" + "\n".join(lines)
        )


@dataclass(frozen=True)
class Applied:
    """What a sheet makes of a set.

    Parameters
    ----------
    tables : mapping of id to Table
        The tables that come out different.
    shared_axes : mapping of id to Axis
        Shared axes that get another input quantity.
    matched : tuple of str
        Ids of all tables that an entry is for, in the set's order.
    idle : tuple of SheetEntry
        Entries that are for no table.
    """

    tables: Mapping[str, Table]
    shared_axes: Mapping[str, Axis]
    matched: tuple[str, ...]
    idle: tuple[SheetEntry, ...]

    @property
    def summary(self) -> str:
        """Which tables matched and which entries matched nothing, as one text."""
        count, changed = len(self.matched), len(self.tables)
        words = (
            f"{count} table{'' if count == 1 else 's'} matched, {changed} changed"
            f"{': ' + ', '.join(self.matched) if count else ''}."
        )
        if self.idle:
            words += f" For no table: {', '.join(entry.label for entry in self.idle)}."
        return words


# -- writing -------------------------------------------------------------------------------


def sheet_text(source: CalibrationSet | Table, *, about: bool = False) -> str:
    """Return the rules, relations and bindings of a set or table as a rule sheet.

    Parameters
    ----------
    source : CalibrationSet or Table
    about : bool
        Whether to say limits, storage, units and function groups too.  A sheet that is carried to
        the next software's set had better not: there they may be others.

    Notes
    -----
    `parse_sheet` reads it back; applied to the set it came from, it changes nothing.
    """
    tables = [source] if isinstance(source, Table) else list(source)
    entries = [_entry_text(table, about) for table in tables]
    return "\n".join([_HEAD + f"sheet = {SHEET_VERSION}\n", *entries])


def _entry_text(table: Table, about: bool) -> str:
    lines = ["[[table]]", f"id = {toml_value(table.id)}"]
    # What is not in the published lists cannot be said in a sheet, so it is left as it is.
    if table.role in ("", *ROLES):
        lines.append(f"bind = {toml_value(table.role)}")
    inputs = [axis.quantity for axis in table.axes]
    if inputs and set(inputs) <= {"", *QUANTITIES}:
        lines.append(f"inputs = {toml_value(inputs)}")
    if about:
        lines += about_lines(table)
    if table.relations:
        lines.append(f"modes = {toml_value(dict(table.relations))}")
    if table.rules:
        rules = "".join(f"    {toml_value(_reason_last(rule))},\n" for rule in table.rules)
        lines.append(f"rules = [\n{rules}]")
    else:
        lines.append("rules = []")
    return "\n".join(lines) + "\n"


def _reason_last(rule: Rule) -> dict[str, Any]:
    plain = rule.to_plain()
    reason = plain.pop("reason", "")
    return {**plain, "reason": reason} if reason else plain


# -- reading -------------------------------------------------------------------------------


def parse_sheet(text: str, source: str = "rule sheet") -> RuleSheet:
    """Read a rule sheet.

    Parameters
    ----------
    text : str
    source : str
        Name of the file, for messages.

    Returns
    -------
    RuleSheet

    Raises
    ------
    FileProblem
        Naming the line or entry, what is wrong with it, and the remedy.
    """
    remedy = "Mend the text there; `bitepoint rules SET` prints a sheet to start from."
    data: dict[str, Any] = read_toml(text, source, remedy).data
    lines = _entry_lines(text)
    version = data.pop("sheet", SHEET_VERSION)
    if version != SHEET_VERSION or isinstance(version, bool):
        raise FileProblem(
            source,
            "sheet",
            f"The sheet says version {version!r}; this program reads {SHEET_VERSION}.",
            f"Write `sheet = {SHEET_VERSION}`, or use a newer program.",
        )
    given = data.pop("table", [])
    owners = _owners(data.pop("owners", {}), source)
    if data:
        raise FileProblem(
            source,
            str(next(iter(data))),
            "This stands outside any entry.",
            "Begin each entry with a line [[table]].",
        )
    if not isinstance(given, list) or not all(isinstance(e, dict) for e in given):
        raise FileProblem(
            source, "table", "Entries are not a list.", "Begin each entry with a line [[table]]."
        )
    entries = []
    for number, plain in enumerate(given):
        line = lines[number] if len(lines) == len(given) else 0
        entries.append(_entry(plain, number, line, source))
    return RuleSheet(tuple(entries), source, owners)


def _owners(given: Any, source: str) -> Mapping[str, tuple[str, ...]]:
    good = isinstance(given, dict) and all(
        isinstance(who, list) and all(isinstance(name, str) for name in who)
        for who in given.values()
    )
    if not good:
        raise FileProblem(
            source, "owners", "These are no owners.", 'Write "Braking" = ["Name"] below [owners].'
        )
    return MappingProxyType({group: tuple(who) for group, who in given.items()})


def _entry_lines(text: str) -> list[int]:
    header = re.compile(r"\s*\[\[\s*(table|\"table\"|'table')\s*\]\]")
    return [n for n, line in enumerate(text.splitlines(), 1) if header.match(line)]


def _entry(plain: dict[str, Any], number: int, line: int, source: str) -> SheetEntry:
    place = f"entry {number + 1}" + (f" (line {line})" if line else "")

    def refuse(problem: str, remedy: str, where: str = "") -> Never:
        raise FileProblem(source, f"{place}{where and ', ' + where}", problem, remedy)

    unknown = [key for key in plain if key not in ENTRY_KEYS]
    if unknown:
        refuse(f"There is no setting {unknown[0]!r}.", nearest(unknown[0], ENTRY_KEYS, "settings"))
    patterns = {key: plain[key] for key in _MATCHES if key in plain}
    if not patterns:
        refuse("The entry names no table.", 'Give it an id, role or name, such as id = "slip_*".')
    for key, value in patterns.items():
        if not isinstance(value, str):
            refuse(f"{value!r} is no text.", "Put it in quotation marks.", key)
    modes = plain.get("modes")
    if modes is not None:
        if not isinstance(modes, dict):
            refuse("Modes are not a list of modes.", 'Write modes = { towing = ">=" }.', "modes")
        for mode, sense in modes.items():
            if not isinstance(sense, str) or sense not in RELATIONS:
                refuse(
                    f"{mode} cannot be {sense!r}.", f"Use {', '.join(sorted(RELATIONS))}.", "modes"
                )
    bind = plain.get("bind")
    if bind is not None and bind not in ("", *ROLES):
        refuse(f"{bind!r} is no role.", nearest(str(bind), ROLES, "roles"), "bind")
    inputs = plain.get("inputs")
    if inputs is not None and not isinstance(inputs, list):
        refuse("Inputs are not a list.", 'Write inputs = ["vehicle_speed", "pedal"].', "inputs")
    for quantity in inputs or ():
        if quantity not in ("", *QUANTITIES):
            refuse(
                f"{quantity!r} is no input.", nearest(str(quantity), QUANTITIES, "inputs"), "inputs"
            )
    try:
        about = about_from_plain(plain)
    except ModelError as error:
        key, _, problem = error.problem.partition(": ")
        refuse(problem, error.remedy, key)
    rules = plain.get("rules")
    if rules is not None and not isinstance(rules, list):
        refuse("Rules are not a list.", 'Write rules = [{ kind = "monotone", ... }].', "rules")
    made = []
    for count, rule in enumerate(rules or (), 1):
        try:
            if not isinstance(rule, dict):
                raise ModelError("A rule is written in braces.", 'Such as { kind = "bounds" }.')
            made.append(rule_from_plain(rule))
        except ModelError as error:
            refuse(error.problem, error.remedy, f"rule {count}")
    return SheetEntry(
        MappingProxyType(patterns),
        None if rules is None else tuple(made),
        None if modes is None else MappingProxyType(modes),
        bind,
        None if inputs is None else tuple(inputs),
        line,
        about,
    )


# -- applying ------------------------------------------------------------------------------


def applied(content: CalibrationSet, sheet: RuleSheet) -> Applied:
    """Return what a sheet makes of a set; the set stays as it is.

    Raises
    ------
    ModelError
        If an entry binds several tables to one role, gives a table the wrong number of inputs,
        or two entries give a shared axis different inputs.

    Notes
    -----
    `calib_model.session.rule_sheet.apply_sheet` turns it into one change that can be undone.
    """
    tables = {table.id: table for table in content}
    matched: dict[str, None] = {}
    idle = []
    rules: dict[str, tuple[Rule, ...]] = {}
    modes: dict[str, Mapping[str, str]] = {}
    for entry in sheet.entries:
        mine = [table for table in content if entry.fits(table)]
        if not mine:
            idle.append(entry)
        if entry.bind and len(mine) > 1:
            raise _refused(sheet, entry, f"binds {len(mine)} tables to one role", "Name one table.")
        for table in mine:
            matched[table.id] = None
            if entry.rules is not None:
                both = (*rules.get(table.id, ()), *entry.rules)
                rules[table.id] = tuple(dict.fromkeys(both))
            if entry.modes is not None:
                modes[table.id] = {**modes.get(table.id, table.relations), **entry.modes}
            if not entry.about.says_nothing:
                try:
                    tables[table.id] = entry.about.of(tables[table.id])
                except ModelError as error:
                    raise _refused(
                        sheet,
                        entry,
                        f"does not fit: {error.problem.removesuffix('.')}",
                        error.remedy,
                    ) from None
            if entry.bind is not None:
                tables[table.id] = replace(tables[table.id], role=entry.bind)
    for id, asked in rules.items():
        tables[id] = replace(tables[id], rules=asked)
    for id, senses in modes.items():
        tables[id] = replace(tables[id], relations=senses)
    shared = _bound_axes(content, sheet, tables)
    changed = {id: t for id, t in tables.items() if t != content.tables[id]}
    order = tuple(id for id in content.tables if id in matched)
    return Applied(changed, shared, order, tuple(idle))


def _bound_axes(
    content: CalibrationSet, sheet: RuleSheet, tables: dict[str, Table]
) -> dict[str, Axis]:
    """Give axes the inputs that the entries ask for, in place; return the shared ones."""
    shared: dict[str, Axis] = {}
    asked_by: dict[str, SheetEntry] = {}
    for entry, table, number, quantity in _asked_inputs(content, sheet):
        axis = tables[table.id].axes[number]
        if axis.shared:
            now = shared.get(axis.shared, axis)
            if axis.shared in asked_by and now.quantity != quantity:
                other = asked_by[axis.shared].label
                raise _refused(
                    sheet,
                    entry,
                    f"gives the shared axis {axis.shared} another input than {other}",
                    "Give it one input, or detach one of its tables first.",
                )
            asked_by[axis.shared] = entry
            shared[axis.shared] = replace(now, quantity=quantity)
        else:
            _exchange(tables, table.id, number, replace(axis, quantity=quantity))
    for id, new in shared.items():
        for table in content.users_of(id):
            for number, axis in enumerate(table.axes):
                if axis.shared == id:
                    _exchange(tables, table.id, number, new)
    return {id: axis for id, axis in shared.items() if axis != content.shared_axes[id]}


def _asked_inputs(
    content: CalibrationSet, sheet: RuleSheet
) -> Iterator[tuple[SheetEntry, Table, int, str]]:
    for entry in sheet.entries:
        if entry.inputs is None:
            continue
        for table in content:
            if not entry.fits(table):
                continue
            if len(entry.inputs) != len(table.axes):
                raise _refused(
                    sheet,
                    entry,
                    f"gives {len(entry.inputs)} inputs, but {table.id} has {len(table.axes)} axes",
                    "Give one input for each axis.",
                )
            for number, quantity in enumerate(entry.inputs):
                yield entry, table, number, quantity


def _exchange(tables: dict[str, Table], id: str, number: int, axis: Axis) -> None:
    table = tables[id]
    if table.axes[number] != axis:
        tables[id] = table.with_axis(number, axis, table.values)


def _refused(sheet: RuleSheet, entry: SheetEntry, problem: str, remedy: str) -> ModelError:
    of = f" of {sheet.source}" if sheet.source else ""
    return ModelError(f"Entry {entry.label}{of} {problem}.", remedy)
