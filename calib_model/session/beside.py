"""The programme files beside a set, and the sets that belong with it.

A relation between modes is a promise of two sets, so a set is checked together with the sets of
its programme.  A programme file in the set's folder that names the set is read without being
asked for; one that names another file for the set's own programme and mode counts too, so that a
renamed copy is no way out.  It brings sets and relations, never who may sign or accept: see
`calib_model.signoff.confirmed`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from ..core.calibration_set import CalibrationSet
from ..core.plain_reader import read_toml
from ..core.text_file import read_text
from ..errors import BitepointError, FileProblem
from .programme import MAX_FILE, Programme, parse_programme

MOST_BESIDE = 50
"""TOML files in a folder that are looked into."""
_SETS_SECTION = re.compile(r"^\s*(\[\s*[\"']?sets[\"']?\s*[\].]|sets\s*[.=])", re.MULTILINE)


@dataclass(frozen=True)
class Naming:
    """A programme that a set belongs to.

    Parameters
    ----------
    programme : Programme
    mode : str
        The drive mode for which it names the set.
    listed : bool
        Whether it names this very file; False if it names another one for the set's programme
        and mode.
    """

    programme: Programme
    mode: str
    listed: bool = True


@dataclass(frozen=True)
class Sibling:
    """Another set of a programme.

    Parameters
    ----------
    mode : str
        As the programme has it.
    path : Path
    programme : Programme
    """

    mode: str
    path: Path
    programme: Programme


@dataclass(frozen=True)
class Beside:
    """What was found beside a set.

    Parameters
    ----------
    naming : tuple of Naming
        Programmes that the set belongs to.
    problems : tuple of str
        Programme files that cannot be read, in words.
    """

    naming: tuple[Naming, ...] = ()
    problems: tuple[str, ...] = ()

    def siblings(self, *, whole: bool = False) -> tuple[Sibling, ...]:
        """Return the other sets that are to be read.

        Parameters
        ----------
        whole : bool
            All sets, for the tables common to all modes; else those that relations need: every
            mode's for the base set, the base set for a mode's.
        """
        found: dict[tuple[str, Path], Sibling] = {}
        for named in self.naming:
            of = named.programme
            for mode, path in of.sets.items():
                needed = whole or of.base in (mode, named.mode)
                if needed and mode != named.mode:
                    found.setdefault((mode, _real(path)), Sibling(mode, path, of))
        return tuple(found.values())

    @property
    def programme(self) -> Programme | None:
        """The one programme that the set belongs to; None if there is none, or several."""
        return self.naming[0].programme if len(self.naming) == 1 else None


def beside(
    set_path: Path | str,
    content: CalibrationSet | None = None,
    also: Programme | None = None,
    *,
    folder: bool = True,
) -> Beside:
    """Look for the programmes that a set belongs to.

    Parameters
    ----------
    set_path : path-like
        Its folder is looked into; for a symbolic link, the folder that it leads to as well.
    content : CalibrationSet, optional
        The set, once it is read: a programme that names another file for its programme and mode
        counts where none names the file itself.
    also : Programme, optional
        One that was named by the user, wherever it lies.
    folder : bool
        Whether the set's folder is looked into.
    """
    path = Path(set_path).absolute()
    programmes, problems = _programmes(path) if folder else ([], [])
    if also is not None:
        same = _real(also.path)
        programmes = [also, *(p for p in programmes if _real(p.path) != same)]
    naming = [
        Naming(programme, mode)
        for programme in programmes
        if (mode := _mode_of(path, programme)) is not None
    ]
    if not naming and content is not None:
        naming = [
            Naming(programme, content.mode, listed=False)
            for programme in programmes
            if content.mode in programme.sets
            and (programme is also or _same_text(programme.name, content.programme))
        ]
    return Beside(tuple(naming), tuple(problems))


def _programmes(path: Path) -> tuple[list[Programme], list[str]]:
    programmes: list[Programme] = []
    problems: list[str] = []
    for place in _toml_files(path):
        try:
            text = read_text(place, "a programme file", MAX_FILE)
            programme = parse_programme(text, place)
        except FileProblem as problem:
            if _meant_as_programme(place):
                problems.append(f"It looks like a programme file, but is none. {problem}")
            continue
        if programme.sets:
            programmes.append(programme)
    return programmes, problems


def _toml_files(path: Path) -> Iterator[Path]:
    seen: set[Path] = set()
    for folder in (path.parent, _real(path).parent):
        try:
            names = sorted(p for p in folder.iterdir() if p.suffix.casefold() == ".toml")
        except OSError:
            continue
        for place in names[:MOST_BESIDE]:
            real = _real(place)
            if real not in seen and real.is_file():  # a pipe would be waited for
                seen.add(real)
                yield place


def _meant_as_programme(place: Path) -> bool:
    """Whether a TOML file that is no programme file was meant as one: it has a section `sets`."""
    try:
        text = read_text(place, "a programme file", MAX_FILE)
    except FileProblem:
        return False
    try:
        return "sets" in read_toml(text, place).data
    except FileProblem:
        return _SETS_SECTION.search(text) is not None


def _mode_of(path: Path, programme: Programme) -> str | None:
    """Return the mode for which a programme names a file; None if it does not."""
    real = _real(path)
    return next((m for m, named in programme.sets.items() if _is_file(named, path, real)), None)


def _is_file(named: Path, path: Path, real: Path) -> bool:
    try:
        return named.samefile(path)
    except (OSError, ValueError):  # one of them is not there
        return _real(named) == real


def _real(path: Path) -> Path:
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError):  # links in a circle
        return path.absolute()


def _same_text(a: str, b: str) -> bool:
    return " ".join(a.split()).casefold() == " ".join(b.split()).casefold()


# -- the sets, once they are read ----------------------------------------------------------------


@dataclass(frozen=True)
class Company:
    """The sets that a set is checked with, and what could not be had.

    Parameters
    ----------
    found : Beside
    members : tuple of (Sibling, CalibrationSet)
        Sets as read.
    problems : tuple of str
        Why some relations cannot be checked: each blocks a sign-off, and no set is sound with
        one of them.
    """

    found: Beside = Beside()
    members: tuple[tuple[Sibling, CalibrationSet], ...] = ()
    problems: tuple[str, ...] = ()

    @property
    def sets(self) -> tuple[CalibrationSet, ...]:
        """The other sets."""
        return tuple(content for _, content in self.members)

    @property
    def words(self) -> str:
        """Say which programme was read, and with which sets the set is checked; may be empty."""
        return " ".join(_naming_words(named, self.members) for named in self.found.naming)


def _naming_words(named: Naming, members: Iterable[tuple[Sibling, CalibrationSet]]) -> str:
    of = named.programme
    sets = [f"{s.path.name} ({s.mode})" for s, _ in members if s.programme is of]
    listed = f"{', '.join(sets[:-1])} and {sets[-1]}" if len(sets) > 1 else "".join(sets)
    if named.listed:
        which = f"{of.path.name} names this set"
    else:
        which = (
            f"{of.path.name} names {of.sets[named.mode].name}, not this file, for mode "
            f"{named.mode} of {of.name}"
        )
    return f"{which}; checked with {listed or 'no other set'}."


def company(
    found: Beside,
    content: CalibrationSet,
    outcomes: Mapping[Path, CalibrationSet | BitepointError],
    *,
    whole: bool = False,
) -> Company:
    """Put together the sets that were read, and say what is amiss with them.

    Parameters
    ----------
    found : Beside
    content : CalibrationSet
        The set that is to be checked.
    outcomes : mapping of Path to CalibrationSet or BitepointError
        What reading each of ``found.siblings(whole=whole)`` gave.
    whole : bool
        See `Beside.siblings`.
    """
    problems = list(found.problems)
    for named in found.naming:
        problems += _contradictions(named, content)
    members = []
    for sibling in found.siblings(whole=whole):
        outcome = outcomes.get(sibling.path)
        if isinstance(outcome, CalibrationSet):
            wrong = _unlike(sibling, outcome)
        else:
            wrong = str(outcome) if outcome is not None else f"{sibling.path}: It was not read."
        if wrong or not isinstance(outcome, CalibrationSet):
            problems.append(
                f"{sibling.programme.path.name} names a set for mode {sibling.mode} that cannot "
                f"be checked with. {wrong}"
            )
        else:
            members.append((sibling, outcome))
    return Company(found, tuple(members), tuple(problems))


def _contradictions(named: Naming, content: CalibrationSet) -> Iterator[str]:
    of = named.programme
    if named.mode != content.mode:
        yield (
            f"{of.path.name} names this set for mode {named.mode}, but the set says that its mode "
            f"is {content.mode or 'none'}."
        )
    if of.base != content.base_mode:
        yield (
            f"{of.path.name} has the base mode {of.base}, but the set refers to "
            f"{content.base_mode or 'none'}."
        )


def _unlike(sibling: Sibling, content: CalibrationSet) -> str:
    """Return how a set is not what the programme says; empty if it is."""
    base = sibling.programme.base
    if content.mode != sibling.mode:
        return f"{sibling.path.name} says that its mode is {content.mode or 'none'}."
    if content.base_mode != base:
        return f"{sibling.path.name} refers to the base mode {content.base_mode or 'none'}."
    return ""
