"""The plane of a table's first two axes, at a place on all the others."""

from __future__ import annotations

from typing import Any


def plane_index(further: tuple[int, ...] = ()) -> tuple[Any, ...]:
    """Return the index of a plane in an array of a table's shape.

    Parameters
    ----------
    further : tuple of int, optional
        Position on each axis after the second; of a cell, ``cell[2:]``.

    Returns
    -------
    tuple
        Picks shape (rows, columns).  A curve has one axis, and all of it is picked.

    Examples
    --------
    >>> import numpy as np
    >>> np.zeros((4, 3, 2))[plane_index((1,))].shape
    (4, 3)
    """
    # What numpy takes as an index has no type of its own.
    return (slice(None), slice(None), *further)
