"""Errors whose text a user can act on.

Every error says what is wrong, where, and what to do about it.  The window shows
the text as it is; the command line prints it as one line on standard error.
"""

from __future__ import annotations

from pathlib import Path

from .foreign_text import plain_lines


class BitepointError(Exception):
    """Base of every error that this package raises on purpose.

    Parameters
    ----------
    problem : str
        What is wrong, in a plain sentence.
    remedy : str
        What the user can do about it.
    """

    def __init__(self, problem: str, remedy: str = "") -> None:
        self.problem = problem
        self.remedy = remedy
        super().__init__(problem, remedy)

    def __str__(self) -> str:
        return plain_lines(f"{self.problem} {self.remedy}".strip())


class ModelError(BitepointError):
    """A value (axis, table, set, rule) that cannot exist as asked for."""


class LookupProblem(BitepointError):
    """A lookup that has no answer, such as one on a disordered axis."""


class UnitProblem(BitepointError):
    """A unit that is not known, or two units that do not convert into each other."""


class EditRefused(BitepointError):
    """An edit that cannot be made; the set is left as it was."""


class FileProblem(BitepointError):
    """A file that cannot be read or written.

    Parameters
    ----------
    path : path-like
        The file.
    place : str
        Where in the file, such as a column, a line or a byte; may be empty.
    problem, remedy : str
        See `BitepointError`.
    """

    def __init__(self, path: Path | str, place: str, problem: str, remedy: str = "") -> None:
        self.path = Path(path)
        self.place = place
        super().__init__(problem, remedy)

    def __reduce__(self) -> tuple[object, ...]:
        # The default would call the class with (problem, remedy); these cross process borders.
        return (type(self), (self.path, self.place, self.problem, self.remedy))

    def __str__(self) -> str:
        where = f"{self.path}: {self.place}" if self.place else str(self.path)
        return plain_lines(f"{where}: {self.problem} {self.remedy}".strip())


class DamagedFile(FileProblem):
    """The file's content is not what was saved."""


class ForeignFile(DamagedFile):
    """The file does not say that it is a set; another kind of file, or one damaged at its start."""


class NewerFile(FileProblem):
    """The file was made by a newer version than this one can read."""


class SaveFailed(FileProblem):
    """The file could not be written; the old one is intact."""


class FileChanged(SaveFailed):
    """Another program changed the file since it was opened."""
