"""The two sides of a comparison: an open set as it is now, or as it once was."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from calib_model.core.calibration_set import CalibrationSet
from calib_model.session.document import Document
from calib_model.session.history import Entry, HistoryLike, content_after, entries_of

Progress = Callable[[float], None]


@dataclass(frozen=True, eq=False)
class Side:
    """One side.

    Parameters
    ----------
    document : Document
    earlier : CalibrationSet or None
        An earlier state; None for the set as it is now, edits included.
    when : str
        Which earlier state, in words.
    """

    document: Document
    earlier: CalibrationSet | None = None
    when: str = ""

    @property
    def content(self) -> CalibrationSet:
        """The set that is compared."""
        return self.document.content if self.earlier is None else self.earlier

    @property
    def is_live(self) -> bool:
        """Whether it follows edits, and can be changed."""
        return self.earlier is None

    @property
    def name(self) -> str:
        """What it is called."""
        return f"{self.document.title}, {self.when}" if self.when else self.document.title

    @property
    def why_fixed(self) -> str:
        """Why nothing can be taken over into it; empty if something can."""
        if not self.is_live:
            return f"{self.name} is an earlier state and stays as it was."
        if self.document.read_only:
            return f"{self.document.title} is open read-only. Use Save as to make a copy to edit."
        return ""

    def same_as(self, other: Side | None) -> bool:
        """Whether two sides are one and the same."""
        return (
            other is not None
            and self.document is other.document
            and self.earlier is other.earlier
            and self.when == other.when
        )


AS_SAVED = "as opened or last saved"


def saved_side(document: Document) -> Side:
    """Return a document as its file holds it."""
    return Side(document, document.saved_content, AS_SAVED)


@dataclass(frozen=True)
class History:
    """What a document's earlier states are found from, held still for work in the background."""

    content: CalibrationSet
    history: HistoryLike
    pending: tuple[Any, ...]

    @classmethod
    def of(cls, document: Document) -> History:
        """Take hold of a document's history."""
        return cls(document.content, document.history, document.pending)

    def entries(self) -> list[Entry]:
        """Return every entry, oldest first."""
        return entries_of(self)  # type: ignore[arg-type]  # it reads history and pending alone

    def before(self, number: int, progress: Progress | None = None) -> CalibrationSet:
        """Return the set as it was before an entry.

        Parameters
        ----------
        number : int
            Counted from 0, the oldest.
        progress : callable, optional
            Called with the share that is done; what it raises ends the work.

        Raises
        ------
        EditRefused
            If the entries do not lead to the present state.
        """
        entries = self.entries()[number:]
        content = self.content
        # One entry at a time, so that a long way back can be cancelled.
        for done, entry in enumerate(reversed(entries)):
            if progress is not None:
                progress(done / len(entries))
            content = content_after(content, [entry])
        return content


def when_words(entry: Entry) -> str:
    """Return which state lies before an entry, in words."""
    stamp = entry.time.replace("T", " ").removesuffix("Z")[:16]
    return f"before “{entry.title}”" + (f" ({stamp})" if stamp else "")
