"""Bring the columns of an older format to the current one, version by version.

Version 2 brought labels.  When version 3 comes: give its layout in `layout` and add the step from
2 to 3 below; steps work on `Neutral` only, whose columns were not checked against each other yet.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..errors import ModelError
from .layout import BY_NAME, FORMAT_VERSION
from .structure import Neutral


def _without_labels(neutral: Neutral) -> Neutral:
    """From 1 to 2: nothing had labels."""
    columns = {n: column for n, column in neutral.columns.items() if n not in _OF_VERSION_2}
    for name, owner in (("labels", "table"), ("axis_labels", "axis_name")):
        count = len(columns[owner]) if owner in columns else 0
        columns[name] = np.full(count, -1, dtype=BY_NAME[name].dtype)
    return Neutral(columns, neutral.attributes)


_OF_VERSION_2 = ("labels", "axis_labels", "label_count", "label_value", "label_name")
STEPS: dict[int, Callable[[Neutral], Neutral]] = {1: _without_labels}
"""From a version to the next."""


def to_current(neutral: Neutral) -> Neutral:
    """Return the same content in the current layout.

    A file of a newer version that says it can still be read by an older one is taken for one of
    the oldest version that may read it: what it holds besides is not asked for.

    Raises
    ------
    ModelError
        If no step leads from the file's version to the current one.
    """
    version = int(neutral.attributes["format_version"])
    if version > FORMAT_VERSION:
        version = int(neutral.attributes.get("min_reader_version", version))
    while version < FORMAT_VERSION:
        step = STEPS.get(version)
        if step is None:
            raise ModelError(f"Format version {version} is not known.", "Check the file's origin.")
        neutral = step(neutral)
        version += 1
    return neutral
