"""Read the sets that a verb names, all at once."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from calib_model.errors import BitepointError
from calib_model.store.launch import TIME_LIMIT, Child
from calib_model.store.reading import Reading

if TYPE_CHECKING:
    from calib_model.store.reading import StoredSet


class SetFiles:
    """Set files that are being read.

    Parameters
    ----------
    paths : sequence of Path
    """

    def __init__(self, paths: Sequence[Path]) -> None:
        self._paths = list(paths)
        self._child: Child | None = None
        try:
            # One process reads them all: starting it costs more than reading a set.
            self._child = Child(TIME_LIMIT * len(self._paths))
            for path in self._paths:
                self._child.ask(path)
        except OSError:
            self._child = None  # asking for a set will start one again, and say what hinders it

    def __enter__(self) -> SetFiles:
        return self

    def __exit__(self, *_: object) -> None:
        if self._child is not None:
            self._child.end()

    def results(self) -> list[StoredSet]:
        """Wait for all sets, in the order given.

        Raises
        ------
        FileProblem
            For the first that cannot be read.
        """
        last = len(self._paths) - 1
        return [
            Reading(path, child=self._child, ends=self._child is None or number == last).result()
            for number, path in enumerate(self._paths)
        ]

    def outcomes(self) -> list[StoredSet | BitepointError]:
        """Wait for all sets, in the order given; for one that cannot be read, why."""
        found: list[StoredSet | BitepointError] = []
        last = len(self._paths) - 1
        for number, path in enumerate(self._paths):
            try:
                ends = self._child is None or number == last
                found.append(Reading(path, child=self._child, ends=ends).result())
            except BitepointError as problem:
                found.append(problem)
                self._child = None  # it has ended: the others are read anew
        return found


def same_file(first: Path, second: Path) -> bool:
    """Whether two paths are one file, or would be."""
    try:
        return first.samefile(second)
    except OSError:  # one of them does not exist, or cannot be looked at
        return first.absolute() == second.absolute()
