"""What was chosen otherwise than understood, as a value and as a TOML file.

::

    layout = 1

    [[file]]                        # how files are read; the first that fits counts
    file = "*.csv"                  # a pattern of names
    sheet = "*"                     # of sheets, in a spreadsheet
    encoding = "cp1252"
    separator = ";"
    decimal = ","
    thousands = "."
    take = true                     # false leaves the file or sheet out

    [[table]]                       # what a table becomes; patterns may name several
    from = "maps.xlsx | Torque"     # file, or file and sheet
    found = "pre_engage_torque"     # the id that was understood
    id = "pre_engage_torque"
    name = "Pre-engage torque"
    unit = "N.m"
    function = "Torque"
    description = ""
    role = "pre_engage_torque"
    lower = 0
    upper = 450
    storage = "uint16 0.5"          # or "proposed"
    turned = true                   # the first axis becomes the last
    cells = "empty"                 # what is no number is left unfilled
    sure = true                     # what is doubtful still was looked at and is right
    take = false
    axes = [{ name = "Pedal", unit = "%", quantity = "pedal", order = "sorted" },
            { interpolation = "step", storage = "uint8", labels = "0 off, 2 slow, 3 fast" }]

Every key but ``from`` and ``found`` may be left out.  The axes are in the order of the table that
is made; ``labels`` give names numbers, and so breakpoints that were names.  A key that is not known
is refused, so that a slip does not go unseen.
"""

from __future__ import annotations

import textwrap
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from ..core.patterns import fits
from ..core.text_file import read_text
from ..core.toml_text import toml_value
from ..errors import FileProblem, ModelError
from ..store import write_whole

VERSION = 1
EXAMPLE = textwrap.dedent((__doc__ or "").partition("::\n")[2].partition("\nEvery key")[0]).strip()
"""A layout with every key, as the module describes it."""
MAX_BYTES = 8 << 20
_TEXTS = frozenset(("str | None", "str"))


@dataclass(frozen=True)
class FileChoice:
    """How files of a name are read.

    Parameters
    ----------
    file, sheet : str
        Patterns with ``*`` and ``?``.
    encoding, separator, decimal, thousands : str or None
        None to find it out.
    take : bool or None
    """

    file: str = "*"
    sheet: str = "*"
    encoding: str | None = None
    separator: str | None = None
    decimal: str | None = None
    thousands: str | None = None
    take: bool | None = None


@dataclass(frozen=True)
class AxisChoice:
    """What an axis becomes; None leaves what was understood."""

    name: str | None = None
    unit: str | None = None
    quantity: str | None = None
    interpolation: str | None = None
    storage: str | None = None
    order: str | None = None
    labels: str | None = None


@dataclass(frozen=True)
class TableChoice:
    """What a table becomes; None leaves what was understood.  See the module for the keys."""

    source: str = "*"
    found: str = "*"
    id: str | None = None
    name: str | None = None
    unit: str | None = None
    function: str | None = None
    description: str | None = None
    role: str | None = None
    lower: float | None = None
    upper: float | None = None
    storage: str | None = None
    turned: bool | None = None
    cells: str | None = None
    sure: bool | None = None
    take: bool | None = None
    axes: tuple[AxisChoice, ...] = ()

    def over(self, other: TableChoice) -> TableChoice:
        """Return this choice with what it leaves open taken from another."""
        mine = {
            f.name: getattr(self, f.name) for f in fields(self) if getattr(self, f.name) is not None
        }
        if not self.axes:
            mine.pop("axes", None)
        return replace(other, **mine)


UNCHANGED = TableChoice()


@dataclass(frozen=True)
class Layout:
    """Everything that was chosen.

    Parameters
    ----------
    files : tuple of FileChoice
        The first that fits counts.
    tables : tuple of TableChoice
        Those that fit count together; what names a table exactly goes before patterns.
    """

    files: tuple[FileChoice, ...] = ()
    tables: tuple[TableChoice, ...] = ()
    _exact: dict[tuple[str, str], TableChoice] = field(
        init=False, repr=False, compare=False, default_factory=dict
    )
    _wide: list[TableChoice] = field(init=False, repr=False, compare=False, default_factory=list)

    def __post_init__(self) -> None:
        for choice in self.tables:
            if any(sign in choice.source + choice.found for sign in "*?"):
                self._wide.append(choice)
            else:
                key = (choice.source, choice.found)
                self._exact[key] = choice.over(self._exact.get(key, UNCHANGED))

    def for_file(self, name: str, sheet: str = "") -> FileChoice:
        """Return how a file (or sheet) is to be read."""
        for choice in self.files:
            if fits(choice.file, name) and (not sheet or fits(choice.sheet, sheet)):
                return choice
        return FileChoice()

    def for_table(self, source: str, found: str) -> TableChoice:
        """Return what was chosen for a table."""
        chosen = self._exact.get((source, found), UNCHANGED)
        for wide in self._wide:
            if fits(wide.source, source) and fits(wide.found, found):
                chosen = chosen.over(wide)
        return chosen

    def with_table(self, source: str, found: str, **chosen: Any) -> Layout:
        """Return the layout with something chosen for one table; None takes a choice back."""
        return self.with_tables({(source, found): chosen})

    def with_tables(self, chosen: Mapping[tuple[str, str], Mapping[str, Any]]) -> Layout:
        """Return the layout with something chosen for several tables, by source and found id."""
        new = {
            key: replace(self._exact.get(key, UNCHANGED), source=key[0], found=key[1], **choice)
            for key, choice in chosen.items()
        }
        others = tuple(t for t in self.tables if (t.source, t.found) not in new)
        return Layout(self.files, (*others, *new.values()))

    def with_file(self, file: str, sheet: str = "*", **chosen: Any) -> Layout:
        """Return the layout with something chosen for a file; None takes a choice back."""
        same = [f for f in self.files if (f.file, f.sheet) == (file, sheet)]
        new = replace(same[0] if same else FileChoice(file, sheet), **chosen)
        return Layout((new, *(f for f in self.files if f not in same)), self.tables)


# -- the file ----------------------------------------------------------------------------------


def layout_text(layout: Layout) -> str:
    """Return a layout as TOML."""
    parts = [f"layout = {VERSION}\n"]
    for file in layout.files:
        parts.append("\n[[file]]\n" + _lines(file, {}))
    for table in layout.tables:
        text = _lines(table, {"source": "from"})
        if table.axes:
            text += f"axes = [{', '.join(_inline(axis) for axis in table.axes)}]\n"
        parts.append("\n[[table]]\n" + text)
    return "".join(parts)


def write_layout(layout: Layout, path: Path | str) -> None:
    """Write a layout to a file, put in place whole or not at all.

    Raises
    ------
    SaveFailed
    """
    write_whole(Path(path), layout_text(layout))


def read_layout(path: Path | str) -> Layout:
    """Read a layout.

    Raises
    ------
    FileProblem
        Naming the entry and the key.
    """
    place = Path(path)
    try:
        return parse_layout(read_text(place, "a layout", MAX_BYTES))
    except ModelError as error:
        raise FileProblem(place, "", error.problem, error.remedy) from None


def parse_layout(text: str) -> Layout:
    """Read a layout from text.

    Raises
    ------
    ModelError
        Naming the entry and the key.
    """
    try:
        plain = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, ValueError, RecursionError) as error:
        raise ModelError(f"It is no TOML ({str(error)[:200]}).", "Mend it there.") from None
    version = plain.pop("layout", None)
    if type(version) is not int or version < 1:
        raise ModelError("This is no layout.", f"A layout begins with `layout = {VERSION}`.")
    if version > VERSION:
        raise ModelError("This layout was written by a newer program.", "Update Bitepoint.")
    listed = {key: _entries(plain.pop(key, []), key) for key in ("file", "table")}
    if plain:
        raise ModelError(f"{next(iter(plain))[:40]!r} is no part of a layout.", "Use file, table.")
    files = tuple(_made(FileChoice, e, f"file {n}", {}) for n, e in enumerate(listed["file"], 1))
    tables = []
    for number, entry in enumerate(listed["table"], 1):
        where = f"table {number}"
        axes = _entries(entry.pop("axes", []), f"axes of {where}")
        made = _made(TableChoice, entry, where, {"from": "source"})
        tables.append(
            replace(made, axes=tuple(_made(AxisChoice, a, f"axes of {where}", {}) for a in axes))
        )
    return Layout(files, tuple(tables))


def _entries(value: Any, what: str) -> list[dict[str, Any]]:
    if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
        raise ModelError(f"{what[:1].upper()}{what[1:]} is no list of entries.", "Write [[...]].")
    if len(value) > 100_000:
        raise ModelError(f"There are {len(value)} entries.", "Use patterns.")
    return value


def _made(kind: Any, entry: Mapping[str, Any], where: str, names: Mapping[str, str]) -> Any:
    known = {f.name: str(f.type) for f in fields(kind) if f.init and f.name != "axes"}
    given: dict[str, Any] = {}
    for key, value in entry.items():
        name = names.get(key, key)
        if name not in known or key in names.values():
            words = {new: old for old, new in names.items()}
            listed = ", ".join(words.get(one, one) for one in known)
            raise ModelError(f"Entry {where} has a key {key[:40]!r}.", f"Known: {listed}.")
        given[name] = _checked(known[name], value, f"{key!r} of entry {where}")
    return kind(**given)


def _checked(kind: str, value: Any, where: str) -> Any:
    if kind in _TEXTS:
        if isinstance(value, str):
            return value
    elif "bool" in kind:
        if isinstance(value, bool):
            return value
    elif type(value) in (int, float) and abs(value) <= 1e300:
        return float(value)
    asked = "a text" if kind in _TEXTS else "true or false" if "bool" in kind else "a number"
    raise ModelError(f"{where} is not {asked}.", "Mend it.")


def _lines(choice: Any, names: Mapping[str, str]) -> str:
    text = ""
    for one in fields(choice):
        value = getattr(choice, one.name)
        if one.name != "axes" and value is not None:
            text += f"{names.get(one.name, one.name)} = {toml_value(value)}\n"
    return text


def _inline(choice: Any) -> str:
    pairs = [(f.name, getattr(choice, f.name)) for f in fields(choice)]
    inside = ", ".join(
        f"{name} = {toml_value(value)}" for name, value in pairs if value is not None
    )
    return f"{{ {inside} }}" if inside else "{}"
