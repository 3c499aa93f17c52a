"""A drive at the desk as a drive to replay: from the controller's inputs of a simulation.

The simulation lies beside this package, so it hands over plain arrays.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from ..controller.inputs import INPUTS
from ..core.arrays import BoolArray, FloatArray
from ..errors import ModelError
from .ticks import Ticks


def desk_ticks(
    time: npt.ArrayLike,
    inputs: npt.ArrayLike,
    tick_s: float,
    signals: Mapping[str, FloatArray] | None = None,
) -> Ticks:
    """Return the ticks of a drive at the desk.

    Parameters
    ----------
    time : array_like of float, shape (T,)
        Seconds.
    inputs : array_like of float, shape (T, len(INPUTS))
        What the controller was given; a column without any number is not there.
    tick_s : float
        The controller's tick.
    signals : mapping of output to float array, shape (T,), optional
        What the torque law commanded there, to hold the replay against.

    Raises
    ------
    ModelError
        If the shapes do not fit.
    """
    when = np.asarray(time, dtype=np.float64)
    rows = np.asarray(inputs, dtype=np.float64)
    if rows.shape != (when.size, len(INPUTS)):
        raise ModelError(
            f"Inputs of shape {rows.shape} are not {when.size} rows of {len(INPUTS)}.",
            "Give a row per tick and a column per input of the controller.",
        )
    numbers = np.isfinite(rows)
    there: BoolArray = np.asarray(numbers.any(axis=0))
    return Ticks(
        when,
        rows,
        np.asarray(numbers[:, there].all(axis=1)),
        tuple(INPUTS[i].name for i in np.flatnonzero(there)),
        dict(signals or {}),
        ("This drive is a desk estimate.",),
        tick_s,
    )
