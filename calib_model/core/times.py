"""Moments as text: ISO 8601, UTC, to the second."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta


def moment_of(text: str) -> datetime | None:
    """Return the moment that a text names, in UTC; None if it is no moment.

    Parameters
    ----------
    text : str
        ISO 8601; without a zone it is taken as UTC.
    """
    try:
        moment = datetime.fromisoformat(text)
        if moment.tzinfo is None:
            return moment.replace(tzinfo=UTC)
        return moment.astimezone(UTC)
    except (ValueError, OverflowError):  # the last: a zone that leads out of the calendar
        return None


def stamp_after(before: str, now: datetime | None = None) -> str:
    """Return the present time as `stamp` does, but never one that is not after another.

    What a person decides later counts, even where the clock of whoever decided before was ahead.

    Parameters
    ----------
    before : str
        A time as `stamp` writes it, or no time at all.
    now : datetime, optional
        With its zone; the present time by default.
    """
    last = moment_of(before)
    moment = (now if now is not None else datetime.now(UTC)).astimezone(UTC)
    if last is None or moment.replace(microsecond=0) > last:
        return stamp(moment)
    try:
        return stamp(last + timedelta(seconds=1))
    except OverflowError:  # the last second of the calendar; the later id counts
        return stamp(last)


def stamp(time: datetime | None = None) -> str:
    """Return a time as it is written: ``2026-02-28T09:30:00Z``.

    Parameters
    ----------
    time : datetime, optional
        With its zone; the present time by default.
    """
    moment = time if time is not None else datetime.now(UTC)
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
