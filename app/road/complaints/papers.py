"""The pages that complaints are read in: the day's summary and the change note."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from pathlib import Path

from calib_model.errors import EditRefused
from calib_model.reports.change_note import change_note
from calib_model.reports.day_report import day_report
from calib_model.rules.check import Report
from calib_model.session.document import Document
from calib_model.session.history import entries_of
from calib_model.session.since import before_changes
from calib_model.store import write_whole


class Paper(StrEnum):
    """What is written."""

    DAY = "summary"
    CHANGES = "change note"


def write_paper(paper: Paper, document: Document, report: Report | None, path: Path) -> None:
    """Write a page, replacing what is there.

    Raises
    ------
    EditRefused
        If no earlier state is known to write changes against.
    FileProblem
        If the file cannot be written.
    """

    entries = entries_of(document)
    if paper is Paper.DAY:
        today = datetime.now().astimezone().date()
        text = day_report(document.content, entries, today, report=report)
    else:
        earlier, since = before_changes(document.content, entries)
        if earlier is None:
            raise EditRefused(
                "The history tells no earlier state to write changes against.",
                "Use `bitepoint summary --changes --since SET` with the earlier set.",
            )
        text = change_note(document.content, earlier, since, entries)
    write_whole(path, text)
