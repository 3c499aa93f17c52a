"""The formats that a set is written in and read from, for window, command line and scripts.

A module of this package describes one format in its `FORMAT`.  It imports what it needs inside
its functions, so that listing the formats costs next to nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, cast

from ..errors import ModelError

if TYPE_CHECKING:
    from ..core.calibration_set import CalibrationSet
    from .outgoing import Outgoing

MODULES = (
    "set_file", "canonical", "comma_separated", "spreadsheet", "netcdf", "sign_off_folder",
    "release_page",
)  # fmt: skip
"""A module for each format, in the order in which the window offers them."""


class Part(StrEnum):
    """What a set consists of, as far as formats differ in it."""

    VALUES = "all values and breakpoints"
    RULES = "rules, roles, limits and storage"
    NAME = "name and revision"
    DESCRIPTION = "description"
    HISTORY = "history"
    REVIEW = "waivers, decisions and maturity levels"
    NOTES = "remarks, complaints, drives and trials"
    SIGN_OFFS = "sign-offs with their signatures"


@dataclass(frozen=True)
class Format:
    """A form in which a set is exchanged.

    Parameters
    ----------
    id : str
        Its name on the command line, in scripts and in settings.
    name : str
        As the window shows it.
    about : str
        One line for help.
    suffixes : tuple of str
        Of its files, with the dot; the first is given to new ones.  Empty for a folder.
    holds : frozenset of Part
        What it holds whole; all else is told to be left out.
    write : callable (Outgoing, Path)
        Writes a set, whole or not at all.  The path has the mark in its name already.
    read : callable (Path) -> CalibrationSet, optional
        Reads one, and raises a FileProblem that names the place; None if it is not read back.
    for_trial : bool
        Whether values that are not signed may leave in it.
    with_others : bool
        Whether it tells of relations, and so needs the sets of the other drive modes.
    ending : str
        Behind the set's name and before the suffix, where several formats share a folder.
    """

    id: str
    name: str
    about: str
    suffixes: tuple[str, ...]
    holds: frozenset[Part]
    write: Callable[[Outgoing, Path], None]
    read: Callable[[Path], CalibrationSet] | None = None
    for_trial: bool = True
    with_others: bool = False
    ending: str = ""

    def file_name(self, stem: str) -> str:
        """Return the name of a set's file (or folder) in this format."""
        return stem + self.ending + (self.suffixes[0] if self.suffixes else "")

    @property
    def limits(self) -> str:
        """What it does not hold, in words; empty if it holds everything."""
        return left_out_words(part for part in Part if part not in self.holds)


def formats() -> tuple[Format, ...]:
    """Return all formats, in the order in which the window offers them."""
    return tuple(cast(Format, import_module(f"{__package__}.{name}").FORMAT) for name in MODULES)


def readers() -> dict[str, Callable[[Path], CalibrationSet]]:
    """Return what reads a set, by the id of its format."""
    return {one.id: one.read for one in formats() if one.read is not None}


def format_of(path: Path, id: str = "") -> Format:
    """Return the format with an id, else the one that a path's suffix says.

    Parameters
    ----------
    path : Path
        One without a suffix is a folder.
    id : str
        Empty to go by the suffix.

    Raises
    ------
    ModelError
        If there is none.
    """
    known = formats()
    for one in known:
        if one.id == id if id else path.suffix.lower() in (one.suffixes or ("",)):
            return one
    what = f"No format is called {id!r}." if id else f"{path.name} does not say its format."
    raise ModelError(what, f"Name one: {', '.join(one.id for one in known)}.")


def read_from(path: Path, id: str = "") -> CalibrationSet:
    """Read a set from a format that is no set file.

    Parameters
    ----------
    path : Path
    id : str
        Empty to go by the suffix; where that says nothing, it is canonical text.

    Raises
    ------
    FileProblem
        If it cannot be read; the text names the file, the place and the remedy.
    ModelError
        If there is no such format to read.
    """
    known = readers()
    if id and id not in known:
        raise ModelError(f"Nothing is read from {id!r}.", f"Name one: {', '.join(known)}.")
    fits = (one.id for one in formats() if path.suffix.lower() in one.suffixes)
    return known[id or next((one for one in fits if one in known), "text")](path)


def left_out_words(parts: Iterable[Part]) -> str:
    """Return what is not held, or in part only, as a sentence; empty if that is nothing."""
    named = "; ".join(parts)
    return f"Not in it, or in part only: {named}." if named else ""
