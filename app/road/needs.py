"""What the parts of Road tell each other."""

from __future__ import annotations

from typing import NamedTuple


class ShownMoment(NamedTuple):
    """The moment that Recordings shows.

    Parameters
    ----------
    recording, sha256 : str
        Name and digest of the recording; empty for none.
    seconds : float
        Into it.
    tables : tuple of str
        Ids of the tables that decided there.
    """

    recording: str = ""
    sha256: str = ""
    seconds: float = 0.0
    tables: tuple[str, ...] = ()
