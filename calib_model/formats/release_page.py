"""The release report: one HTML file for people, with findings, decisions and changes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..reports.release_report import Release, release_report
from ..rules.check import check
from ..store import write_whole
from .registry import Format, Part

if TYPE_CHECKING:
    from .outgoing import Outgoing


def write(outgoing: Outgoing, path: Path) -> None:
    """Check the set and write the report.  Of a release, changes count from the one before."""
    earlier, since = outgoing.earlier(released=outgoing.trial is None)
    report = check(outgoing.content, outgoing.others)
    release = Release(
        outgoing.content, outgoing.verification, report, earlier, since, outgoing.trial
    )
    write_whole(path, release_report(release))


FORMAT = Format(
    "report",
    "Release report (HTML)",
    "release report: one HTML file",
    (".html",),
    frozenset({Part.NAME, Part.DESCRIPTION, Part.REVIEW}),
    write,
    with_others=True,
    ending="_report",
)
