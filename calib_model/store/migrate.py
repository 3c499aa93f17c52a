"""Bring the columns of an older format to the current one, version by version.

Version 1 is the first.  When version 2 comes: give its layout in `layout`, keep version 1's list
of columns here for the guard, and add the step from 1 to 2 below; steps work on `Neutral` only.
"""

from __future__ import annotations

from collections.abc import Callable

from ..errors import ModelError
from .layout import FORMAT_VERSION
from .structure import Neutral

STEPS: dict[int, Callable[[Neutral], Neutral]] = {}
"""From a version to the next."""


def to_current(neutral: Neutral) -> Neutral:
    """Return the same content in the current layout.

    A file of a newer version that says it can still be read by this one passes as it is: what it
    holds besides is not asked for.

    Raises
    ------
    ModelError
        If no step leads from the file's version to the current one.
    """
    version = int(neutral.attributes["format_version"])
    while version < FORMAT_VERSION:
        step = STEPS.get(version)
        if step is None:
            raise ModelError(f"Format version {version} is not known.", "Check the file's origin.")
        neutral = step(neutral)
        version += 1
    return neutral
