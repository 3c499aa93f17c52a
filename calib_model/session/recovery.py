"""Journals of open documents, and what they recover after a crash."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .document import Document

if TYPE_CHECKING:
    from ..store import Saved


def start_journal(document: Document) -> None:
    """Journal a document's edits from now on."""


def move_journal(document: Document) -> None:
    """Journal beside the document's new file."""


def after_save(document: Document, saved: Saved) -> None:
    """Drop from the journal what the file holds now."""


def end_journal(document: Document) -> None:
    """Remove the journal: the document is closed on purpose."""
