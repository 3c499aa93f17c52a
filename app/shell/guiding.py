"""The guide and the first steps, as the window opens them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .actions import ActionBook, plain_text
from .base import Shell

if TYPE_CHECKING:
    from app.guide.dialog import GuideDialog
    from app.guide.steps_panel import StepsPanel

DONE = "first_steps/done"


class BookActs:
    """The window's actions, as the guide asks for them (`app.guide.dialog.Acts`)."""

    def __init__(self, book: ActionBook) -> None:
        self._book = book

    def name_of(self, id: str) -> str:
        """Menu text of an action without its mark."""
        row = self._book.rows.get(id)
        return plain_text(row.text) if row is not None else id

    def keys_of(self, id: str) -> str:
        """Its keys; empty while the part that brings it is not there yet."""
        return self._book.keys_of(id) if id in self._book.actions else ""

    def run(self, id: str) -> str:
        """Run it; returns why not, or an empty text."""
        return self._book.run(id)


class Guiding:
    """Opens guide and first steps beside the window; each is made once and then only hidden.

    Parameters
    ----------
    window : Shell
    book : ActionBook
        What the guide names and runs.
    """

    def __init__(self, window: Shell, book: ActionBook) -> None:
        self._window, self._book = window, book
        self.guide: GuideDialog | None = None
        self.steps: StepsPanel | None = None

    def show_guide(self) -> None:
        """Open the guide, or bring it to the front."""
        if self.guide is None:
            from app.guide.dialog import GuideDialog  # late: text documents take their time

            self.guide = GuideDialog(BookActs(self._book), self._window)
        self._front(self.guide)

    def show_steps(self) -> None:
        """Open the first steps, or bring them to the front."""
        if self.steps is None:
            from app.guide.steps_panel import StepsPanel

            window = self._window
            done = set(window.settings.remembered(DONE).split())
            self.steps = StepsPanel(BookActs(self._book), window.desk, done, self._keep, window)
            self._book.heard.append(self.steps.ran)
        self._front(self.steps)

    def _keep(self, done: set[str]) -> None:
        self._window.settings.remember(DONE, " ".join(sorted(done)))

    @staticmethod
    def _front(dialog: GuideDialog | StepsPanel) -> None:
        dialog.show()
        dialog.activateWindow()
