"""Undo and redo of the set being edited, and which set that is."""

from __future__ import annotations

from collections.abc import Callable

from app.desk import Desk
from calib_model.errors import BitepointError
from calib_model.session.document import Document, Event


class Editing:
    """What the menus Edit and Sets do.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def undo(self) -> None:
        """Take the last edit of the current set back."""
        self._step(lambda document: document.undo(), "Nothing to undo")

    def redo(self) -> None:
        """Do the edit that was taken back again."""
        self._step(lambda document: document.redo(), "Nothing to redo")

    def _step(self, step: Callable[[Document], Event | None], nothing: str) -> None:
        document = self._desk.current
        if document is None:
            return
        try:
            event = step(document)
        except BitepointError as error:
            self._desk.tell(str(error), refused=True)
            return
        self._desk.tell(event.change.title if event is not None else nothing)

    def step_set(self, step: int) -> None:
        """Edit the next open set, or the one before."""
        documents = self._desk.documents
        if self._desk.current in documents:
            place = (documents.index(self._desk.current) + step) % len(documents)
            self._desk.set_current(documents[place])

    def swap_sets(self) -> None:
        """Exchange current and reference set."""
        current, reference = self._desk.current, self._desk.reference
        if reference is not None:
            self._desk.set_current(reference)
            self._desk.set_reference(current)
