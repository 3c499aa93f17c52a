"""What a work area is: what the window asks of it, and what it may ask of the window.

A base class and not a protocol, because signals and Qt's own methods are part of the interface.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Protocol

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QWidget

from app.desk import Desk
from app.needs import Memory
from app.work.jobs import Jobs
from calib_model.session.document import Document

if TYPE_CHECKING:
    from app.grid.view import GridView


@dataclass(frozen=True)
class Pane:
    """A part of an area that the keyboard moves to as a whole.

    Parameters
    ----------
    holds : QWidget
        Whoever has the keyboard in it is in this pane.
    enter : callable
        Shows the pane and gives it the keyboard; False where it cannot be shown now.
    """

    holds: QWidget
    enter: Callable[[], bool]


def to_widget(target: QWidget) -> bool:
    """Give a widget the keyboard, or what stands for it; the usual way to enter a pane."""
    (target.focusProxy() or target).setFocus(Qt.FocusReason.ShortcutFocusReason)
    return True


def step_pane(panes: Sequence[Pane], by: int) -> None:
    """Move the keyboard to the next (or previous) pane that can be shown."""
    if not panes:
        return
    focused = panes[0].holds.window().focusWidget()  # also while the window is not the active one
    here = next(
        (
            n
            for n, pane in enumerate(panes)
            if focused is not None and (pane.holds is focused or pane.holds.isAncestorOf(focused))
        ),
        -1 if by > 0 else 0,
    )
    for _ in panes:
        here = (here + by) % len(panes)
        if panes[here].enter():
            return


class WorkArea(QWidget):
    """One of the window's work areas.

    What is written here does for an area that has nothing of its own to do; an area says what it
    does better.

    Signals
    -------
    jumped
        The table in work is to be seen in Tune.

    Parameters
    ----------
    desk : Desk
    """

    jumped = Signal()

    can_show_result: ClassVar[bool] = False
    """Whether the resulting torque can be shown here; elsewhere Tune shows it."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk

    @property
    def cells(self) -> GridView | None:
        """The grid that the menus act on; None where there is none."""
        return None

    def take_keyboard(self) -> None:
        """Give the keyboard to what is most likely wanted."""
        self.setFocus(Qt.FocusReason.ShortcutFocusReason)

    # -- tables and findings ---------------------------------------------------------------------

    def step_table(self, by: int) -> None:
        """Work on the next (or previous) table of the set."""
        document, table = self.desk.current, self.desk.table
        if document is None or table is None:
            return
        ids = list(document.content.tables)
        place = ids.index(table.id) + by
        if 0 <= place < len(ids):
            self.desk.open_table(ids[place])
            self.desk.tell(f"The table in work is {ids[place]}.")
        else:
            self.desk.tell(f"This is the {'last' if by > 0 else 'first'} table of the set.")

    def step_finding(self, by: int) -> None:
        """Go to the next (or previous) thing that is wrong."""
        self.desk.tell("Findings are listed in Tune (Ctrl+1).")

    def apply_remedy(self, number: int) -> None:
        """Mend the chosen finding by one of the remedies listed."""
        self.desk.tell("Remedies are offered in Tune (Ctrl+1), next to the findings.")

    def find_tables(self) -> None:
        """Give the keyboard to where tables are found."""
        self.desk.tell("Tables are found in Tune (Ctrl+1), or by name with Ctrl+K.")

    # -- panes and plots -------------------------------------------------------------------------

    def panes(self) -> Sequence[Pane]:
        """Return the panes that can be stepped through, in order."""
        return ()

    def next_pane(self, by: int) -> None:
        """Move the keyboard to the next (or previous) pane."""
        step_pane(self.panes(), by)

    def turn_slices(self) -> bool:
        """Run the slices of the map along its other axis; False where none are shown."""
        return False

    def show_result(self) -> None:
        """Show the resulting torque, or go back; only where `can_show_result`."""

    @property
    def shows_result(self) -> bool:
        """Whether the resulting torque is shown."""
        return False


class Files(Protocol):
    """The window's files (`app.shell.files.FileWork`)."""

    def save(self, document: Document | None = None) -> object:
        """Save a set to its file."""

    def open(self, paths: Iterable[Path]) -> None:
        """Open files."""


class Areas(Protocol):
    """The window's work areas (`app.shell.area_stack.AreaStack`)."""

    def page(self, id: str) -> WorkArea:
        """Return an area, made when it is first asked for."""


class Window(Protocol):
    """What a work area and its actions may ask of the window (`app.shell.window.MainWindow`)."""

    desk: Desk

    @property
    def jobs(self) -> Jobs:
        """Work in the background."""

    @property
    def memory(self) -> Memory:
        """What is kept from one start to the next."""

    @property
    def files(self) -> Files:
        """The files that are open."""

    @property
    def areas(self) -> Areas:
        """The work areas."""

    @property
    def area(self) -> str:
        """Id of the area that is shown."""

    def show_area(self, id: str) -> None:
        """Show an area and give it the keyboard."""

    def go_back(self, id: str) -> None:
        """End a short errand in an area: show the one it was begun from."""

    def refresh_soon(self) -> None:
        """Bring menus and bars in line once everything that happens now is done."""
