"""Reading files beside the window: the job behind the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from app.work.control import Control
from calib_model.bringing.asking import Reader
from calib_model.bringing.layout import Layout
from calib_model.bringing.understanding import Understood, understand
from calib_model.errors import BitepointError, FileProblem

SIGNS = "*?["
"""Of a pattern that stands for several files."""


@dataclass(frozen=True)
class Read:
    """What came of some files.

    Parameters
    ----------
    understood : Understood
    refused : tuple of BitepointError
        A problem for each file that could not be read.
    """

    understood: Understood
    refused: tuple[BitepointError, ...]


def paths_of(text: str) -> list[Path]:
    """Return the files or the folder that a line of text names; a pattern names several.

    Raises
    ------
    FileProblem
        If nothing is there.
    """
    place = Path(text.strip().strip('"')).expanduser()
    if any(sign in place.name for sign in SIGNS) and not place.exists():
        found = sorted(path for path in place.parent.glob(place.name) if path.is_file())
        if found:
            return found
    elif place.exists():
        return [place]
    raise FileProblem(place, "", "There is no such file or folder.", "Check the name.")


def read_files(control: Control, paths: Sequence[Path], layout: Layout) -> Read:
    """Read files in the limited process; one that cannot be read leaves the others usable."""
    reader = Reader()
    control.on_cancel(reader.end)
    refused: list[BitepointError] = []

    def progress(number: int, count: int, path: Path) -> None:
        control.progress(number / max(count, 1), path.name)

    found = understand(paths, layout, refused=refused, progress=progress, reader=reader)
    control.check()  # a reading that was given up ends with problems that nobody needs
    return Read(found, tuple(refused))


def read_again(control: Control, understood: Understood, layout: Layout) -> Understood:
    """Understand the same files with other choices of how they are read."""
    control.check()
    return understood.with_layout(layout)
