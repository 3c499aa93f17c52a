"""The shipped sets, read once, and edits of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from calib_model.core.arrays import FloatArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.store import open_file
from calib_model.vehicle.manoeuvres import MANOEUVRES
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.runs import Bench, Result, bench

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
MODES = ("normal", "low_grip", "towing")


@cache
def shipped(mode: str = "normal") -> CalibrationSet:
    """A shipped set by its mode."""
    return open_file(SAMPLES / f"larch_{mode}.h5").result().set


@cache
def bench_of(mode: str = "normal") -> Bench:
    """A shipped set on the bench."""
    return bench(shipped(mode), LARCH)


@cache
def driven(manoeuvre: str, mode: str = "normal") -> Result:
    """A shipped manoeuvre with a shipped set."""
    return bench_of(mode).drive(MANOEUVRES[manoeuvre])


def value(result: Result, name: str) -> float:
    """A metric that has a value."""
    found = result.reading(name)
    assert found.value is not None, found.why
    return found.value


def edited(
    id: str, change: Callable[[FloatArray], npt.ArrayLike], mode: str = "normal"
) -> CalibrationSet:
    """A shipped set with one table's values changed."""
    content = shipped(mode)
    table = content[id]
    values = np.asarray(change(np.array(table.values)), dtype=np.float64)
    return content.replaced({id: replace(table, values=values)})


def row_of(id: str, axis: str, at: float) -> int:
    """The place of a breakpoint on an axis."""
    table = shipped()[id]
    found = next(a for a in table.axes if a.quantity == axis)
    (place,) = np.flatnonzero(found.values == at)
    return int(place)
