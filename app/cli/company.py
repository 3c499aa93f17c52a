"""The sets that a verb's set is checked with: those named, and those of the programme beside it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.parser import VerbParser
from app.cli.reading import SetFiles, same_file
from calib_model.session.beside import Beside, beside, company

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.errors import BitepointError
    from calib_model.session.beside import Company
    from calib_model.session.programme import Programme


def add_against(parser: VerbParser, why: str = "for the relations between modes") -> None:
    """Add ``--against`` and ``--alone``."""
    parser.add_argument(
        "--against",
        metavar="SET",
        type=Path,
        action="append",
        default=[],
        help=f"set of another mode, {why}; may be given several times; the sets of a programme "
        "file beside the set are read without being named",
    )
    parser.add_argument(
        "--alone",
        action="store_true",
        help="do not look for a programme file beside the set; relations to sets that are not "
        "named then count as not checked",
    )


class Neighbours:
    """The sets of the programme beside a set.  Make it early: it begins to read them.

    Parameters
    ----------
    path : Path
        Of the set.
    alone : bool
        Whether no programme is looked for.
    named : sequence of Path
        Sets that the user named; they are not read twice.
    programme : Programme, optional
        One that the user named, wherever it lies.
    whole : bool
        All sets of the programme, not only those that relations need.
    """

    def __init__(
        self,
        path: Path,
        *,
        alone: bool = False,
        named: Sequence[Path] = (),
        programme: Programme | None = None,
        whole: bool = False,
    ) -> None:
        self._path, self._named = path, list(named)
        self.programme = programme
        self._whole = whole
        self._looks = not alone or programme is not None
        self._alone = alone
        self._found = self._look(None)
        self._files: SetFiles | None = None
        self._read(self._found)

    def __enter__(self) -> Neighbours:
        return self

    def __exit__(self, *_: object) -> None:
        if self._files is not None:
            self._files.__exit__()

    def _look(self, content: CalibrationSet | None) -> Beside:
        if not self._looks:
            return Beside()
        return beside(self._path, content, self.programme, folder=not self._alone)

    def _read(self, found: Beside) -> None:
        self._paths = [s.path for s in found.siblings(whole=self._whole)]
        self._files = SetFiles(self._paths) if self._paths else None

    def company(self, content: CalibrationSet) -> Company:
        """Wait for the sets, and return those that go with `content`, which the file holds."""
        if self._looks and not self._found.naming:
            self._found = self._look(content)
            self._read(self._found)
        outcomes: dict[Path, CalibrationSet | BitepointError] = {}
        if self._files is not None:
            with self._files:
                for path, outcome in zip(self._paths, self._files.outcomes(), strict=True):
                    outcomes[path] = outcome if isinstance(outcome, Exception) else outcome.set
        return company(self._found, content, outcomes, whole=self._whole)

    def others(self, found: Company, given: Sequence[CalibrationSet]) -> list[CalibrationSet]:
        """Return the sets to check with: those given by the user, and the programme's."""
        mine = [
            content
            for sibling, content in found.members
            if not any(same_file(sibling.path, path) for path in self._named)
        ]
        return [*given, *mine]


def plain(found: Company) -> list[dict[str, Any]]:
    """Return what was read beside a set as plain data, an entry for each programme file."""
    return [
        {
            "programme": named.programme.path.name,
            "mode": named.mode,
            "listed": named.listed,
            "sets": [
                {"mode": s.mode, "file": s.path.name}
                for s, _ in found.members
                if s.programme is named.programme
            ],
        }
        for named in found.found.naming
    ]


def words(found: Company) -> str:
    """Return what was read beside a set, for reading; empty if nothing was."""
    return f"{found.words} Leave that out with --alone." if found.words else ""
