"""Small tables and samples for the fitting tests."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.lookup.reference import weights

SAMPLE_SETS = Path(__file__).resolve().parents[2] / "sample_sets"
SWEEP = SAMPLE_SETS / "larch_bench_sweep.csv"
APPLY, RELEASE = "current_for_clamp_apply", "current_for_clamp_release"


def curve(x: Any, values: Any = None, **about: Any) -> Table:
    """A curve over `x`; empty cells by default."""
    x = np.asarray(x, dtype=np.float64)
    axis = about.pop("axis", Axis(x, "Input", "-", "pedal"))
    given = np.full(x.size, np.nan) if values is None else values
    return Table(about.pop("id", "curve"), given, (axis,), **about)


def surface(x: Any, y: Any, values: Any = None, **about: Any) -> Table:
    """A map over `x` and `y`; empty cells by default."""
    axes = (
        Axis(np.asarray(x, dtype=np.float64), "First", "-", "pedal"),
        Axis(np.asarray(y, dtype=np.float64), "Second", "km/h", "vehicle_speed"),
    )
    shape = (len(axes[0]), len(axes[1]))
    given = np.full(shape, np.nan) if values is None else values
    return Table(about.pop("id", "surface"), given, axes, **about)


def only(*tables: Table) -> CalibrationSet:
    return CalibrationSet(tables)


def design(table: Table, points: Any) -> np.ndarray:
    """The lookup at some points as a dense matrix over the table's cells."""
    cells, shares = weights(table.axes, points)
    matrix = np.zeros((cells.shape[0], table.values.size))
    np.add.at(matrix, (np.arange(cells.shape[0])[:, None], cells), shares)
    return matrix
