"""Which cells of a table matter to a metric, and by how much: one drive per cell that was read.

A cell that the controller never read in the drive cannot have changed it, so its change is
exactly zero and needs no drive.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from ..controller.inputs import INPUT_INDEX
from ..controller.outputs import ROLE_INDEX
from ..core.arrays import FloatArray
from ..core.table import Table
from ..errors import ModelError
from ..lookup.reference import weights
from .executors import cores, in_order
from .manoeuvres import Manoeuvre
from .metrics import Metric
from .metrics_all import metric
from .runs import Bench
from .trace import Trace

_EVERY_CLAMP = "current_for_clamp_apply"


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """How a metric changes with every cell of a table.

    Parameters
    ----------
    table_id : str
    metric : Metric
    manoeuvre : str
        Its id.
    step : float
        Added to one cell at a time, in the table's unit; rounded to its storage.
    base : float
        The metric without a change.
    change : float array, in the table's shape
        Metric with the cell changed less `base`; exactly 0 for cells not read, NaN where the
        metric then has no value (see `why`).
    read : bool array, in the table's shape
        Whether the controller read the cell in the drive without a change.
    why : mapping of cell (tuple of int) to str
        Why a changed drive has no value.
    complete : bool
        False if cancelled; cells not driven are NaN then.
    """

    table_id: str
    metric: Metric
    manoeuvre: str
    step: float
    base: float
    change: FloatArray
    read: npt.NDArray[np.bool_]
    why: dict[tuple[int, ...], str] = field(default_factory=dict)
    complete: bool = True

    def most(self, count: int = 5) -> list[tuple[tuple[int, ...], float]]:
        """Return the cells that matter most, with their change; none that changes nothing."""
        flat = np.abs(np.nan_to_num(self.change, nan=0.0)).reshape(-1)
        order = np.argsort(-flat, kind="stable")[:count]
        cells = [tuple(map(int, np.unravel_index(k, self.change.shape))) for k in order]
        return [(c, float(self.change[c])) for c in cells if abs(self.change[c]) > 0]


def sensitivity(
    bench: Bench,
    manoeuvre: Manoeuvre,
    role: str,
    metric_name: str,
    step: float,
    *,
    workers: int | None = None,
    cells: npt.NDArray[np.bool_] | None = None,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> Sensitivity:
    """Change every cell of a table by a step and drive again.

    Parameters
    ----------
    bench : Bench
    manoeuvre : Manoeuvre
    role : str
        The part of the controller whose table is changed.
    metric_name : str
    step : float
        In the table's unit.
    workers : int, optional
        Threads; the model runs without Python's lock.  All cores if not given.
    cells : bool array, optional
        Which cells to drive; those that were read if not given.
    progress, cancelled : callable
        As for a campaign.

    Raises
    ------
    ModelError
        If no table plays the part, or the metric has no value to begin with.
    """
    table = bench.bound.tables.get(role)
    if table is None:
        remedy = bench.bound.unusable.get(role, "Bind one, or choose another table.")
        raise ModelError(f"No table plays {role}.", remedy)
    slot = ROLE_INDEX[role]
    base = bench.drive(manoeuvre, only=metric_name)
    first = base.metrics[0]
    if first.value is None:
        raise ModelError(f"{first.metric.label} has no value to begin with: {first.why}")
    read = cells_read(base.trace, table)
    chosen = read if cells is None else np.asarray(cells, dtype=np.bool_)
    values = bench.bound.bank.values(slot)
    todo = (
        [tuple(map(int, c)) for c in np.argwhere(chosen)]
        if table.axes
        else ([()] if bool(chosen) else [])
    )
    change = np.zeros(table.shape)
    why: dict[tuple[int, ...], str] = {}

    def one(cell: tuple[int, ...]) -> tuple[float, str]:
        changed = np.array(values)
        changed[cell] += step
        changed[cell] = np.asarray(table.storage.nearest(changed[cell]))
        bound = replace(bench.bound, bank=bench.bound.bank.replaced(slot, changed))
        reading = Bench(bound, bench.vehicle).drive(manoeuvre, only=metric_name).metrics[0]
        if reading.value is None:
            return np.nan, reading.why
        return reading.value - float(first.value or 0.0), ""

    done = 0

    def take(number: int, found: tuple[float, str]) -> None:
        nonlocal done
        cell = todo[number]
        change[cell], text = found
        if text:
            why[cell] = text
        done += 1
        if progress is not None:
            progress(done, len(todo))

    for cell in todo:
        change[cell] = np.nan
    count = cores() if workers is None else max(1, workers)
    with _threads(count) as made:
        complete = in_order(
            made, one, [(c,) for c in todo], ahead=2 * count, done=take, cancelled=cancelled
        )
    return Sensitivity(
        table.id,
        metric(metric_name),
        manoeuvre.id,
        step,
        float(first.value),
        change,
        read,
        why,
        complete,
    )


def _threads(count: int) -> Executor:
    return ThreadPoolExecutor(count, thread_name_prefix="sensitivity")


def cells_read(trace: Trace, table: Table) -> npt.NDArray[np.bool_]:
    """Return which cells of a table the controller may have read in a drive.

    Every cell around a point at which the table was, or would have been, read counts, even with
    no weight; so what is not marked had no part in the drive.

    Parameters
    ----------
    trace : Trace
        Its inputs are those the law used, the ones it works out itself included.
    table : Table
    """
    marked = np.zeros(table.shape, dtype=np.bool_)
    if not table.axes:
        marked[...] = True
        return marked
    points: list[Any] = [trace.inputs[:, INPUT_INDEX[axis.quantity]] for axis in table.axes]
    known = np.all([np.isfinite(p) for p in points], axis=0)
    if not known.any():
        return marked
    cells, _ = weights(table.axes, [p[known] for p in points])
    marked.reshape(-1)[np.unique(cells)] = True
    if table.role == _EVERY_CLAMP:
        # Where this table passes the largest current is looked for over all its clamp forces.
        for number, axis in enumerate(table.axes):
            if axis.quantity == "clamp":
                marked |= marked.any(axis=number, keepdims=True)
    return marked
