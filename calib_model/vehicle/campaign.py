"""A campaign: manoeuvres x sets x variations, on all cores or a cluster, with the same results.

A run is known by its number: ``(manoeuvre * sets + set) * points + point``.  All it depends on
follows from that number and the plan, so neither the number of workers nor their order matters.
The points, and the random numbers of the sensors, are the same for every set: sets are compared
under equal conditions.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from ..core.arrays import FloatArray
from ..core.calibration_set import CalibrationSet
from ..core.canonical import canonical_text, digest
from ..core.plain_reader import read_toml
from ..errors import ModelError
from ..exchange.canonical_reader import parse_canonical
from . import campaign_worker
from .executors import in_order
from .manoeuvre_file import read_plain
from .manoeuvres import Manoeuvre, manoeuvre_to_plain
from .metrics_all import metric
from .parameters import Vehicle, vehicle_from_plain
from .parameters_file import to_text
from .variations import VARIATIONS, Points

MOST_RUNS = 2_000_000
_BATCH_RUNS = 16


@dataclass(frozen=True)
class NamedSet:
    """A set under test.

    Parameters
    ----------
    name : str
        How it is called in the results; unique in a campaign.
    content : CalibrationSet
    digest : str
    """

    name: str
    content: CalibrationSet
    digest: str = ""

    def __post_init__(self) -> None:
        if not self.digest:
            object.__setattr__(self, "digest", digest(self.content))


@dataclass(frozen=True)
class Plan:
    """What a campaign runs.

    Parameters
    ----------
    sets : tuple of NamedSet
    manoeuvres : tuple of Manoeuvre
    vehicle : Vehicle
    points : Points
    seed : int
        Of the sensors' noise.

    Raises
    ------
    ModelError
        If it runs nothing, too much, or two sets or manoeuvres of one name.
    """

    sets: tuple[NamedSet, ...]
    manoeuvres: tuple[Manoeuvre, ...]
    vehicle: Vehicle
    points: Points
    seed: int = 0

    def __post_init__(self) -> None:
        for names, what in (
            ([s.name for s in self.sets], "set"),
            ([m.id for m in self.manoeuvres], "manoeuvre"),
        ):
            if not names:
                raise ModelError(f"A campaign needs a {what}.")
            if len(set(names)) != len(names):
                raise ModelError(f"A campaign has two {what}s of one name.", "Name each once.")
        if self.seed < 0:
            raise ModelError("A seed is not negative.", "Give 0 or more.")
        if len(self) > MOST_RUNS:
            raise ModelError(
                f"{len(self):,} runs are too many.", f"At most {MOST_RUNS:,} fit in one campaign."
            )

    def __len__(self) -> int:
        return len(self.manoeuvres) * len(self.sets) * len(self.points)

    def parts(self, run: int) -> tuple[int, int, int]:
        """Return the manoeuvre's, set's and point's number of a run."""
        rest, point = divmod(run, len(self.points))
        manoeuvre, which = divmod(rest, len(self.sets))
        return manoeuvre, which, point

    def seed_of(self, run: int) -> int:
        """Return the seed of a run's random numbers, equal for every set."""
        manoeuvre, _, point = self.parts(run)
        words = np.random.SeedSequence([self.seed, manoeuvre, point]).generate_state(1, np.uint32)
        return int(words[0])

    @property
    def metric_names(self) -> tuple[str, ...]:
        """Every metric of any manoeuvre, each once."""
        return tuple(dict.fromkeys(n for m in self.manoeuvres for n in m.metrics))

    def to_text(self) -> str:
        """Return the plan as JSON, with the sets' whole content: it can be run again anywhere."""
        return json.dumps(
            {
                "sets": [
                    {"name": s.name, "digest": s.digest, "text": canonical_text(s.content).decode()}
                    for s in self.sets
                ],
                "manoeuvres": [manoeuvre_to_plain(m) for m in self.manoeuvres],
                "vehicle": to_text(self.vehicle),
                "points": {
                    "how": self.points.how,
                    "bounds": {v.name: [v.low, v.high] for v in self.points.variations},
                    "values": self.points.values.tolist(),
                },
                "seed": self.seed,
            }
        )


def plan_from_text(text: str) -> Plan:
    """Return the plan that `Plan.to_text` wrote.

    Raises
    ------
    ModelError
        If the text is not one.
    """
    try:
        plain = json.loads(text)
        bounds: Mapping[str, Any] = plain["points"]["bounds"]
        varied = tuple(VARIATIONS[n].within(*ends) for n, ends in bounds.items())
        rows = plain["points"]["values"]
        values = np.array(rows, dtype=np.float64).reshape(len(rows), len(varied))
        return Plan(
            tuple(
                NamedSet(s["name"], parse_canonical(s["text"].encode()), s["digest"])
                for s in plain["sets"]
            ),
            tuple(read_plain(m) for m in plain["manoeuvres"]),
            vehicle_from_plain(read_toml(plain["vehicle"], "vehicle").data),
            Points(varied, values, plain["points"]["how"]),
            int(plain["seed"]),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise ModelError(f"This is no campaign's plan ({error}).") from None


@dataclass(frozen=True)
class Campaign:
    """What came of a campaign, a row per run.

    Parameters
    ----------
    plan : Plan
    done : bool array, shape (runs,)
        False where it was cancelled before.
    completed : bool array, shape (runs,)
        Whether the run went to its end within the model's range.
    why : tuple of str
        In words where it did not.
    metrics : mapping of name to float array, shape (runs,)
        NaN where a metric has no value or does not belong to the run's manoeuvre.
    unchecked : bool
        Whether it was read from a file without a check sum.
    """

    plan: Plan
    done: npt.NDArray[np.bool_]
    completed: npt.NDArray[np.bool_]
    why: tuple[str, ...]
    metrics: Mapping[str, FloatArray] = field(default_factory=dict)
    unchecked: bool = False

    def __len__(self) -> int:
        return len(self.plan)

    def rows(self, manoeuvre: int, which: int) -> slice:
        """Return the rows of one manoeuvre with one set."""
        count = len(self.plan.points)
        first = (manoeuvre * len(self.plan.sets) + which) * count
        return slice(first, first + count)


Progress = Callable[[int, int], None]


def run_campaign(
    plan: Plan,
    made: Executor,
    *,
    workers: int = 1,
    batch: int = _BATCH_RUNS,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> Campaign:
    """Run a campaign.

    Parameters
    ----------
    plan : Plan
    made : Executor
        See `executors.executor`.
    workers : int
        About how many it has: twice as many batches are kept under way.
    batch : int
        Runs per batch.
    progress : callable, optional
        Called with the runs done and all runs.
    cancelled : callable
        Asked between batches; what is done by then is returned.

    Returns
    -------
    Campaign
    """
    count = len(plan)
    names = plan.metric_names
    done = np.zeros(count, dtype=np.bool_)
    completed = np.zeros(count, dtype=np.bool_)
    why = [""] * count
    values = np.full((len(names), count), np.nan)
    payload = zlib.compress(plan.to_text().encode(), 6)
    batches = [(payload, first, min(first + batch, count)) for first in range(0, count, batch)]

    def take(number: int, rows: Sequence[campaign_worker.Row]) -> None:
        for row in rows:
            done[row.run] = True
            completed[row.run] = row.completed
            why[row.run] = row.why
            values[:, row.run] = row.values
        if progress is not None:
            progress(int(np.count_nonzero(done)), count)

    in_order(
        made,
        campaign_worker.work,
        batches,
        ahead=2 * max(1, workers),
        done=take,
        cancelled=cancelled,
    )
    return Campaign(plan, done, completed, tuple(why), dict(zip(names, values, strict=True)))


def metric_units(plan: Plan) -> dict[str, str]:
    """Return the unit of every metric of a plan."""
    return {name: metric(name).unit for name in plan.metric_names}
