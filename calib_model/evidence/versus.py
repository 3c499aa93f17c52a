"""One drive through two sets: B less A."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..controller.outputs import OUTPUTS
from ..core.arrays import BoolArray, FloatArray
from ..errors import ModelError
from .statistics import Figures, figures

if TYPE_CHECKING:
    from .replay import Replay

NAMED = frozenset({"state", "governing", "branch", "current_by", "shaft_by"})
"""Outputs that are names rather than numbers: a difference of them means nothing."""


@dataclass(frozen=True)
class SignalDifference:
    """How one signal differs between two sets along a drive.

    Parameters
    ----------
    name : str
        Of the law's output, or the table's id.
    unit : str
    seconds : float
        For which both are known.
    apart : float
        Seconds for which they differ.
    rms : float
        Of B less A.
    figures : Figures
        Of B less A.
    largest : float
        B less A where its size is largest, with its sign; NaN if nothing is known.
    largest_at : float
        When, in seconds of the drive.
    """

    name: str
    unit: str
    seconds: float
    apart: float
    rms: float
    figures: Figures
    largest: float
    largest_at: float


@dataclass(frozen=True)
class Versus:
    """Two sets along one drive.

    Parameters
    ----------
    a, b : Replay
    outputs : mapping of output to SignalDifference
        Outputs of the law that are numbers.
    tables : mapping of table id to SignalDifference
        Tables whose values or axes are not the same in both sets.
    nowhere : tuple of str
        Those of them that read the same all along the drive.
    only_a, only_b : tuple of str
        Tables that could be read in one of the two only.
    governed_otherwise : float
        Seconds for which another table governed.
    state_otherwise : float
        Seconds for which the driveshaft was in another state.
    """

    a: Replay
    b: Replay
    outputs: Mapping[str, SignalDifference]
    tables: Mapping[str, SignalDifference]
    nowhere: tuple[str, ...]
    only_a: tuple[str, ...]
    only_b: tuple[str, ...]
    governed_otherwise: float
    state_otherwise: float

    def difference(self, output: str) -> FloatArray:
        """Return B less A of an output, shape (T,)."""
        with np.errstate(invalid="ignore"):  # a limit that does not act in either is infinite
            return self.b.output(output) - self.a.output(output)

    @property
    def governing_differs(self) -> BoolArray:
        """Ticks at which another table governed, shape (T,)."""
        both = self.a.ran & self.b.ran
        return np.asarray(both & (self.a.run.governing != self.b.run.governing))


def compare_replays(a: Replay, b: Replay) -> Versus:
    """Hold two sets along one drive against each other.

    Parameters
    ----------
    a, b : Replay
        Of the same ticks.

    Raises
    ------
    ModelError
        If they are of two drives.
    """
    if a.ticks is not b.ticks and not np.array_equal(a.ticks.time, b.ticks.time):
        raise ModelError(
            "Replays along two drives cannot be held against each other.",
            "Replay both sets along one recording.",
        )
    outputs = {
        one.name: _difference(a, one.name, one.unit, a.output(one.name), b.output(one.name))
        for one in OUTPUTS
        if one.name not in NAMED
    }
    tables: dict[str, SignalDifference] = {}
    nowhere = []
    both = [id for id in a.tables if id in b.tables]
    for id in both:
        first, second = a.content[id], b.content[id]
        if first is second or (
            first.unit == second.unit
            and first.axes == second.axes
            and np.array_equal(first.values, second.values, equal_nan=True)
        ):
            continue
        if first.unit != second.unit:
            continue  # `bitepoint compare` says so; values in two units have no difference
        found = _difference(a, id, first.unit, a.tables[id], b.tables[id])
        tables[id] = found
        if found.apart == 0:
            nowhere.append(id)
    ran = a.ran & b.ran
    tick_s = a.ticks.tick_s
    governed = ran & (a.run.governing != b.run.governing)
    state = ran & (a.output("state") != b.output("state"))
    return Versus(
        a,
        b,
        outputs,
        tables,
        tuple(nowhere),
        tuple(id for id in a.tables if id not in b.tables),
        tuple(id for id in b.tables if id not in a.tables),
        float(governed.sum() * tick_s),
        float(state.sum() * tick_s),
    )


def _difference(
    a: Replay, name: str, unit: str, first: FloatArray, second: FloatArray
) -> SignalDifference:
    with np.errstate(invalid="ignore"):
        less = np.where(first == second, 0.0, second - first)  # also where both are infinite
    less = np.where(np.isnan(first) | np.isnan(second) | ~a.valid, np.nan, less)
    there = np.isfinite(less)
    chosen = less[there]
    tick_s = a.ticks.tick_s
    found = figures(a.ticks.time, less)
    nan = float("nan")
    if not chosen.size:
        return SignalDifference(name, unit, 0.0, 0.0, nan, found, nan, nan)
    place = int(np.abs(chosen).argmax())
    return SignalDifference(
        name,
        unit,
        float(chosen.size * tick_s),
        float((~np.isnan(less) & (less != 0)).sum() * tick_s),
        float(np.sqrt(np.mean(chosen * chosen))),
        found,
        float(chosen[place]),
        float(a.ticks.time[there][place]),
    )
