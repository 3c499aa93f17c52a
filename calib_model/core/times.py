"""Moments as text: ISO 8601, UTC, to the second."""

from __future__ import annotations

from datetime import UTC, datetime


def stamp(time: datetime | None = None) -> str:
    """Return a time as it is written: ``2026-02-28T09:30:00Z``.

    Parameters
    ----------
    time : datetime, optional
        With its zone; the present time by default.
    """
    moment = time if time is not None else datetime.now(UTC)
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
