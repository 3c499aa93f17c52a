"""A programme file: the sets that belong together, and who may do what (TOML).

::

    programme = "Larch"
    base = "normal"
    signers = "allowed_signers"            # OpenSSH's format; files lie beside this one
    vehicle = "larch_vehicle.toml"         # what the simulation drives; optional

    [sets]                                 # drive mode = set file
    normal = "larch_normal.h5"
    low_grip = "larch_low_grip.h5"

    [common]
    tables = ["plate_*", "current_for_clamp_*"]   # the same in every mode

    [owners]                               # function group = who may accept its tables
    "Braking" = ["Ines Roth"]              # a name on the list of signers, or a key's fingerprint

    [milestones."winter trip"]
    level = "desk-checked"                 # of every table
    groups = { "Braking" = "bench-measured" }
    tables = { pre_engage_torque = "driven" }

Names of function groups and tables may hold the wildcards ``*`` and ``?``.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from ..core.patterns import any_fits, fits
from ..core.plain_reader import Given, read_toml
from ..core.record import Level
from ..core.table import Table
from ..core.text_file import read_text
from ..errors import FileProblem

MAX_FILE = 1 << 20
MOST_BESIDE = 50
"""TOML files beside a set that are looked into."""
_KEYS = ("programme", "base", "signers", "vehicle", "sets", "common", "owners", "milestones")


@dataclass(frozen=True)
class Milestone:
    """The maturity that a milestone asks for.

    Parameters
    ----------
    name : str
    level : Level
        Of every table that nothing else is said of.
    groups, tables : mapping of pattern to Level
        By function group and by table id; a table's own counts before its group's.
    """

    name: str
    level: Level = Level.ESTIMATED
    groups: Mapping[str, Level] = field(default_factory=dict)
    tables: Mapping[str, Level] = field(default_factory=dict)

    def asks(self, table: Table) -> Level:
        """Return the level asked of a table."""
        for levels, name in ((self.tables, table.id), (self.groups, table.function)):
            for pattern, level in levels.items():
                if fits(pattern, name):
                    return level
        return self.level


@dataclass(frozen=True)
class Programme:
    """What a programme file says.

    Parameters
    ----------
    name : str
    base : str
        The base drive mode.
    sets : mapping of drive mode to Path
    common : tuple of str
        Patterns of the ids of tables that are the same in every mode.
    owners : mapping of pattern to tuple of str
        Function group to the names or fingerprints of who may accept its tables.
    signers : Path or None
        The list of allowed signers.
    vehicle : Path or None
    milestones : mapping of name to Milestone
    path : Path
        The file itself.
    """

    name: str = ""
    base: str = ""
    sets: Mapping[str, Path] = field(default_factory=dict)
    common: tuple[str, ...] = ()
    owners: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    signers: Path | None = None
    vehicle: Path | None = None
    milestones: Mapping[str, Milestone] = field(default_factory=dict)
    path: Path = Path()

    def owners_of(self, function: str) -> tuple[str, ...]:
        """Return who may accept the tables of a function group; empty for anybody."""
        return tuple(
            name
            for pattern, names in self.owners.items()
            if fits(pattern, function)
            for name in names
        )

    def is_common(self, id: str) -> bool:
        """Whether a table is the same in every mode."""
        return any_fits(self.common, id)

    def milestone(self, name: str) -> Milestone:
        """Return a milestone by its name.

        Raises
        ------
        FileProblem
            If there is none.
        """
        try:
            return self.milestones[name]
        except KeyError:
            known = ", ".join(self.milestones) or "none"
            raise FileProblem(
                self.path, "milestones", f"There is no milestone {name!r}.", f"It has: {known}."
            ) from None


def read_programme(path: Path | str) -> Programme:
    """Read a programme file.

    Raises
    ------
    FileProblem
        Naming the place, what is wrong, and the remedy.
    """
    place = Path(path).absolute()
    text = read_text(place, "a programme file", MAX_FILE)
    return parse_programme(text, place)


def vehicle_beside(set_path: Path) -> Path | None:
    """Return the vehicle file that a programme beside a set names, if it is there.

    A programme that lists the set comes first; a copy of a set that none lists, such as a trial,
    goes with the first programme beside it.
    """
    others: list[Path] = []
    for place in sorted(set_path.absolute().parent.glob("*.toml"))[:MOST_BESIDE]:
        try:
            programme = read_programme(place)
        except FileProblem:
            continue  # any other TOML file
        vehicle = programme.vehicle
        if vehicle is None or not os.path.isfile(vehicle):  # noqa: PTH113  # Path.is_file may raise
            continue
        if set_path.name in {path.name for path in programme.sets.values()}:
            return vehicle
        others.append(vehicle)
    return others[0] if others else None


def parse_programme(text: str, path: Path) -> Programme:
    """Read the text of a programme file; file names in it are beside `path`.

    Raises
    ------
    FileProblem
    """
    given = read_toml(text, path).known(_KEYS)
    sets = {mode: _file(name, path) for mode, name in _section(given, "sets").items()}
    base = given["base"].text() if "base" in given else ""
    if sets and base not in sets:
        remedy = f"Use one of {', '.join(sets)}."
        raise FileProblem(path, "base", f"{base!r} is none of the sets.", remedy)
    common = _section(given, "common", "tables")
    return Programme(
        given["programme"].text() if "programme" in given else "",
        base,
        sets,
        _texts(common["tables"]) if "tables" in common else (),
        {group: _texts(names) for group, names in _section(given, "owners").items()},
        _file(given["signers"], path) if "signers" in given else None,
        _file(given["vehicle"], path) if "vehicle" in given else None,
        {name: _milestone(name, m) for name, m in _section(given, "milestones").items()},
        path,
    )


def _section(given: Mapping[str, Given], key: str, *known: str) -> Mapping[str, Given]:
    """Return what a section holds: `known` keys only, if any are named; empty without one."""
    if key not in given:
        return {}
    return given[key].known(known) if known else given[key].table()


def _milestone(name: str, plain: Given) -> Milestone:
    given = plain.known(("level", "groups", "tables"))
    groups, tables = (
        {pattern: _level(level) for pattern, level in _section(given, key).items()}
        for key in ("groups", "tables")
    )
    return Milestone(
        name, _level(given["level"]) if "level" in given else Level.ESTIMATED, groups, tables
    )


def _level(given: Given) -> Level:
    return Level(given.choice(tuple(Level), "level"))


def _texts(given: Given) -> tuple[str, ...]:
    return tuple(entry.text() for entry in given.listed())


def _file(given: Given, path: Path) -> Path:
    name = given.text()
    if not name or "\0" in name:
        given.refuse("This is no file name.", "Name a file beside this one.")
    return path.parent / name
