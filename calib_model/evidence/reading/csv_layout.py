"""What a CSV recording looks like.

Separator, decimal mark, encoding, names and units are told by `exchange.measurement_layout`, as
for bench sweeps; here the time columns and what the file says of itself are added.
"""

from __future__ import annotations

import io
import re
from datetime import datetime
from pathlib import Path

from ...core.plain_file import open_plain
from ...errors import FileProblem
from ...exchange import measurement_layout
from .layout import MAX_TEXT, FoundChannel, Layout, UnclearLayout, parts

_SAYS = re.compile(r"^\s*(?:[#%;*]|//)?\s*([A-Za-z][A-Za-z _-]{1,40}?)\s*[:=]\s*(.+?)[\s;,]*$")
_DIGEST = re.compile(r"\b[0-9a-f]{64}\b")


def inspect_csv(
    path: Path,
    *,
    encoding: str | None = None,
    separator: str | None = None,
    decimal: str | None = None,
    time: str | None = None,
    time_unit: str | None = None,
) -> Layout:
    """Find out what a CSV recording looks like.

    Parameters
    ----------
    path : Path
    encoding, separator, decimal, time, time_unit : str, optional
        Given by the user; found out otherwise.

    Raises
    ------
    UnclearLayout
        If something has to be said by the user.
    FileProblem
        If it cannot be read or holds no rows of numbers.
    """
    try:
        found = measurement_layout.inspect(
            path, encoding=encoding, separator=separator, decimal=decimal
        )
    except FileProblem as problem:
        if decimal is None and "decimal mark the file has" in problem.remedy:
            raise UnclearLayout(
                path, "decimal", (".", ","), problem.problem, problem.remedy
            ) from None
        raise
    columns = [
        FoundChannel(c.number, c.name[:MAX_TEXT], c.unit[:80], _kind(c.samples, found.decimal), "",
              tuple(s[:40] for s in c.samples))
        for c in found.columns
    ]  # fmt: skip
    times, channels, left_out = parts(path, columns, time, time_unit)
    said = _said(path, found.encoding, found.first_line)
    return Layout(
        path, "CSV", times, channels,
        encoding=found.encoding, separator=found.separator, decimal=found.decimal,
        first_line=found.first_line, left_out=left_out, start=said["start"],
        vehicle_set_digest=said["digest"], comment=said["comment"],
    )  # fmt: skip


def is_iso(text: str) -> bool:
    """Tell whether a cell is a date-time as ISO 8601 writes it."""
    text = text.strip()
    if len(text) < 11 or not text[:4].isdigit():
        return False
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _kind(samples: tuple[str, ...], decimal: str) -> str:
    filled = [s for s in samples if s]
    if filled and all(is_iso(s) for s in filled):
        return "date-time"
    other = [s for s in filled if not _maybe_number(s, decimal)]
    return "text" if other and len(other) == len(filled) else "number"


def _maybe_number(text: str, decimal: str) -> bool:
    if text.lower() in NO_VALUE:
        return True
    try:
        float(text.replace(decimal, ".").replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        return False
    return True


NO_VALUE = frozenset(
    ("nan", "na", "n/a", "#n/a", "#na", "-", "--", "---", "null", "none", "invalid", "inf", "-inf")
)
"""Cells that say that there was no reading."""


def _said(path: Path, encoding: str, first_line: int) -> dict[str, str]:
    """Return what the lines above the header say."""
    found = {"start": "", "digest": "", "comment": ""}
    comments = []
    with io.TextIOWrapper(open_plain(path), encoding, errors="replace") as file:
        for _ in range(min(first_line - 1, 200)):
            line = file.readline(4000)
            match = _SAYS.match(line)
            if match is None:
                continue
            what, text = match[1].strip().lower().replace("_", " "), match[2].strip()
            if what in ("start", "started", "recorded", "date") and is_iso(text):
                found["start"] = text
            elif "digest" in what and (digest := _DIGEST.search(text)):
                found["digest"] = digest[0]
            elif what in ("comment", "remark", "note", "title"):
                comments.append(text)
    found["comment"] = " ".join(comments)[:MAX_TEXT]
    return found
