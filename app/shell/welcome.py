"""What the work area shows while no set is open: how to begin."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from app.look.empty import EmptyPage, Way
from calib_model.core.plain_file import is_there

from .actions import ActionBook, plain_text

IDS = ("file.open", "file.bring_in", "file.open_samples", "file.open_practice")
RECENT_SHOWN = 6


class WelcomePage(EmptyPage):
    """The first steps, and the files opened last."""

    def show_beginning(
        self, book: ActionBook, recent: list[Path], open_files: Callable[[list[Path]], object]
    ) -> None:
        """Show what can be opened now.

        Parameters
        ----------
        book : ActionBook
            Has the first steps.
        recent : list of Path
            Files opened last, newest first.
        open_files : callable
            Called with the paths to open.
        """
        self.show_ways(
            "No set is open",
            "A calibration set holds the tables of one mode: open yours, make one of tables in "
            "other files, or look around in the sample sets of the invented programme Larch.",
            [
                Way(plain_text(row.text), book.actions[row.id].trigger, row.tip, book.keys_of(id))
                for id in IDS
                for row in (book.rows[id],)
            ],
            [_way_to(path, open_files) for path in recent[:RECENT_SHOWN]],
            "Files can be dropped here as well.",
        )


def _way_to(path: Path, open_files: Callable[[list[Path]], object]) -> Way:
    there = is_there(path)
    return Way(
        path.name if there else f"{path.name} (missing)",
        lambda: open_files([path]),
        f"Open {path}." if there else f"{path} is missing.",
        detail=str(path.parent),
        enabled=there,
    )
