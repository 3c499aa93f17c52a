"""Read the sets that a verb names, all at once, while this process loads what it needs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calib_model.store.launch import Child
    from calib_model.store.reading import StoredSet


class SetFiles:
    """Set files that are being read.  Make it first, import the rest, then ask for the sets.

    Parameters
    ----------
    paths : sequence of Path
    """

    def __init__(self, paths: Sequence[Path]) -> None:
        from calib_model.store.launch import Child

        self._children: list[tuple[Path, Child | None]] = []
        for path in paths:
            try:
                child = Child()
                child.ask(path)
            except OSError:
                # Asking for the set will start one again, and say what hinders it.
                self._children.append((path, None))
            else:
                self._children.append((path, child))

    def __enter__(self) -> SetFiles:
        return self

    def __exit__(self, *_: object) -> None:
        for _path, child in self._children:
            if child is not None:
                child.end()

    def results(self) -> list[StoredSet]:
        """Wait for all sets, in the order given.

        Raises
        ------
        FileProblem
            For the first that cannot be read.
        """
        from calib_model.store.reading import Reading

        return [Reading(path, child=child).result() for path, child in self._children]
