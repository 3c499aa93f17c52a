"""What a worker of a campaign does: it opens the plan once, then works off batches of runs.

Imported by name in other processes and on other computers, so it takes and gives plain values.
"""

from __future__ import annotations

import zlib
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .runs import bench, varied

if TYPE_CHECKING:
    from .campaign import Plan
    from .runs import Bench, Result


class Row(NamedTuple):
    """What came of one run."""

    run: int
    completed: bool
    why: str
    values: list[float]


def work(payload: bytes, first: int, last: int) -> list[Row]:
    """Make the runs `first` to before `last` of a packed plan."""
    plan, benches = _opened(payload)
    names = plan.metric_names
    rows = []
    for run in range(first, last):
        result = _result(plan, benches, run)
        found = {m.name: m.value for m in result.metrics}
        values = [np.nan if (v := found.get(name)) is None else v for name in names]
        rows.append(Row(run, result.completed, result.why, values))
    return rows


def run_again(plan: Plan, run: int) -> Result:
    """Make one run of a plan again, with its trace."""
    return _result(plan, _benches(plan), run)


@lru_cache(maxsize=2)
def _opened(payload: bytes) -> tuple[Plan, list[Bench]]:
    from .campaign import plan_from_text  # noqa: PLC0415  # which sends the worker its runs

    plan = plan_from_text(zlib.decompress(payload).decode())
    return plan, _benches(plan)


def _benches(plan: Plan) -> list[Bench]:
    return [bench(s.content, plan.vehicle) for s in plan.sets]


def _result(plan: Plan, benches: list[Bench], run: int) -> Result:
    manoeuvre, which, point = plan.parts(run)
    vehicle, changed = varied(plan.vehicle, plan.manoeuvres[manoeuvre], plan.points.at(point))
    return benches[which].drive(changed, vehicle=vehicle, seed=plan.seed_of(run))
