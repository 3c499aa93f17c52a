"""What an export says of itself, in the file and in its name.

Only a set that is signed off with keys of the team and unchanged leaves without a mark in its
name.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from ..compare import compare
from ..core.calibration_set import CalibrationSet
from ..core.record import Trial
from ..core.times import stamp
from ..errors import EditRefused
from ..rules.waivers import today
from ..signoff.verification import State, Verification

_WORDS = {
    State.UNSIGNED: "UNSIGNED",
    State.SIGNED: "NOT-SIGNED-OFF",
    State.SIGNED_OFF: "",
    State.ALTERED: "CHANGED-SINCE-SIGN-OFF",
    State.NOT_GENUINE: "NOT-GENUINE",
}


@dataclass(frozen=True)
class Mark:
    """What an export says of itself.

    Parameters
    ----------
    word : str
        For the file's name; empty for a set that is signed off.
    status : str
        In one line, for a column or a title.
    lines : tuple of str
        In full, for the head of a file.
    """

    word: str
    status: str
    lines: tuple[str, ...]

    def name(self, path: Path) -> Path:
        """Return a path with the mark in the file's name, before the suffix."""
        if not self.word or self.word in path.name:
            return path
        return path.with_name(f"{path.stem}_{self.word}{path.suffix}")


def mark_of(content: CalibrationSet, found: Verification, trial: Trial | None = None) -> Mark:
    """Return the mark of an export.

    Parameters
    ----------
    content : CalibrationSet
    found : Verification
        Of the set as it is.
    trial : Trial, optional
        If the export is for a trial.
    """
    about = f"{content.label}, revision {content.revision or '(none)'}, digest {found.digest}"
    if trial is None:
        word = _WORDS[found.state]
        if found.state is State.SIGNED_OFF and not found.genuine:  # nobody said whose keys
            word = "KEYS-NOT-CHECKED"
        status = f"{word.replace('-', ' ')}. {found.reason}" if word else found.words
        return Mark(word, status, (status, about))
    status = (
        f"TRIAL for vehicle {trial.vehicle}, trip {trial.trip}, until {trial.expires}; not a "
        "release"
    )
    head = (
        f"{status}.",
        about,
        f"Made by {trial.by or 'nobody named'} at {trial.time}. {found.words}",
        f"Changed cells and parts ({len(trial.changed)}):",
        *(f"  {line}" for line in trial.changed),
    )
    parts = (
        "TRIAL", _in_name(trial.vehicle), _in_name(trial.trip),
        f"until-{trial.expires}", found.digest[:8],
    )  # fmt: skip
    return Mark("_".join(parts), f"{status}; digest {found.digest}", head)


def _in_name(text: str) -> str:
    """Return a text as part of a file name on every system."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-")[:40] or "x"


def make_trial(
    content: CalibrationSet,
    digest: str,
    *,
    vehicle: str,
    trip: str,
    expires: str,
    by: str,
    earlier: CalibrationSet | None,
    since: str = "",
    now: datetime | None = None,
) -> Trial:
    """Return the record of values that leave for one vehicle and trip.

    Parameters
    ----------
    content : CalibrationSet
    digest : str
        Its digest.
    vehicle, trip : str
    expires : str
        Last day (ISO 8601).
    by : str
    earlier : CalibrationSet or None
        What changes are counted from; see `calib_model.session.since`.
    since : str
        What that state is, in words.

    Raises
    ------
    EditRefused
        If something is missing, or the last day is over.
    """
    for what, text in (("vehicle", vehicle), ("trip", trip)):
        if not text.strip():
            raise EditRefused(f"A trial needs a {what}.", f"Name the {what}.")
    try:
        last = date.fromisoformat(expires)
    except ValueError:
        raise EditRefused(f"{expires!r} is no day.", "Write it as 2026-02-28.") from None
    if last < today():
        raise EditRefused(f"The trial would have ended on {expires} already.", "Give a later day.")
    return Trial(
        vehicle=" ".join(vehicle.split()),
        trip=" ".join(trip.split()),
        expires=last.isoformat(),
        digest=digest,
        changed=changed_lines(content, earlier, since),
        by=by,
        time=stamp(now),
    )


def changed_lines(
    content: CalibrationSet, earlier: CalibrationSet | None, since: str = ""
) -> tuple[str, ...]:
    """Return what differs from an earlier state: one line per cell or part."""
    if earlier is None:
        return ("Every table: the set has no sign-off and no history to compare with.",)
    lines: list[str] = []
    for table in compare(earlier, content).differing:
        if table.first is None or table.second is None:
            lines.append(f"{table.id}: {'added' if table.first is None else 'removed'}")
            continue
        lines += [f"{table.id}: {field.words()}" for field in table.fields]
        lines += [f"{table.id} {cell.words()}" for cell in table.cells]
    if not lines:
        return (f"Nothing changed since {since or 'then'}.",)
    return tuple(lines)
