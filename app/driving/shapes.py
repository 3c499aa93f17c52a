"""What the window asks of whatever drives, and what it gets: results of `calib_model.vehicle`.

`calib_model.vehicle` itself is imported when something is driven: the window does not wait for it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from app.work.control import Control
from calib_model.controller.inputs import INPUT_INDEX
from calib_model.controller.outputs import OUTPUTS
from calib_model.core.arrays import FloatArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import QUANTITIES

if TYPE_CHECKING:
    from calib_model.vehicle.campaign import Campaign, Plan
    from calib_model.vehicle.manoeuvre_file import ManoeuvreFile
    from calib_model.vehicle.metrics import Reading
    from calib_model.vehicle.parameters import Vehicle
    from calib_model.vehicle.runs import Result
    from calib_model.vehicle.sensitivity import Sensitivity
    from calib_model.vehicle.variations import Variation


@dataclass(frozen=True)
class VehicleChoice:
    """Which vehicle drives.

    Parameters
    ----------
    path : Path or None
        A vehicle file; None for the invented vehicle that comes with the program.
    variant : str
        Name of a load case of the vehicle; empty for the vehicle as it is.
    """

    path: Path | None = None
    variant: str = ""


@dataclass(frozen=True, eq=False)
class DeskRun:
    """One manoeuvre driven on the desk: the result, or why there is none.

    Parameters
    ----------
    result : Result or None
        None where it could not be driven at all.
    vehicle : Vehicle or None
        What was driven.
    refused : str
        Why it could not be driven.
    remarks : tuple of str
        What took no part and why: roles that no table plays, tables that cannot be read.
    """

    result: Result | None
    vehicle: Vehicle | None = None
    refused: str = ""
    remarks: tuple[str, ...] = ()

    @property
    def completed(self) -> bool:
        """Whether it went to its end within what the model is made for; else nothing is plotted."""
        return self.result is not None and self.result.completed

    @property
    def why(self) -> str:
        """Why it was not completed, in words."""
        return self.refused if self.result is None else self.result.why

    @cached_property
    def readings(self) -> Mapping[str, Reading]:
        """What was read off, by metric."""
        return {} if self.result is None else {r.name: r for r in self.result.metrics}

    def value(self, metric: str) -> float:
        """Return a metric's value; NaN where the run does not give it."""
        found = self.readings.get(metric)
        return math.nan if found is None or found.value is None else found.value

    @cached_property
    def columns(self) -> Mapping[str, FloatArray]:
        """The trace's columns, the law's outputs and the governing role; shape (T,) each."""
        if self.result is None:
            return {}

        trace = self.result.trace
        law = {f"law_{o.name}": trace.outputs[:, n] for n, o in enumerate(OUTPUTS)}
        return {**trace.columns, **law, "governing": trace.governing.astype(np.float64)}

    @cached_property
    def quantities(self) -> Mapping[str, FloatArray]:
        """What the controller read, by input quantity; shape (T,) each."""
        if self.result is None:
            return {}

        inputs = self.result.trace.inputs
        return {q: inputs[:, INPUT_INDEX[q]] for q in QUANTITIES if q in INPUT_INDEX}

    @property
    def time(self) -> FloatArray:
        """In seconds, at the controller's ticks, shape (T,)."""
        return np.empty(0) if self.result is None else self.result.trace.time

    def column(self, name: str) -> FloatArray | None:
        """Return a column's values, or None if the run has no such column."""
        return self.columns.get(name)

    def tick_at(self, seconds: float) -> int:
        """Return the number of the last tick at or before a time."""
        if not self.time.size:
            return 0
        # A hair more, so that the time of a tick finds that tick and not the one before.
        found = int(np.searchsorted(self.time, seconds + 1e-9, side="right")) - 1
        return min(max(found, 0), self.time.size - 1)


@dataclass(frozen=True)
class CampaignPlan:
    """What a campaign runs.

    Parameters
    ----------
    manoeuvres : tuple of str
        Ids.
    sets : tuple of (title, content)
    vehicle : VehicleChoice
    variations : tuple of (name, low, high)
    runs : int
        Variations per manoeuvre and set.
    method : str
        ``latin`` (Latin hypercube) or ``grid``.
    seed, workers : int
    scheduler : str
        Address of a Dask scheduler; empty for this computer.
    out : Path or None
        Where the table of results goes.
    """

    manoeuvres: tuple[str, ...]
    sets: tuple[tuple[str, CalibrationSet], ...]
    vehicle: VehicleChoice
    variations: tuple[tuple[str, float, float], ...]
    runs: int
    method: str
    seed: int
    workers: int
    scheduler: str = ""
    out: Path | None = None


@dataclass(frozen=True, eq=False)
class DrivenCampaign:
    """A campaign driven or read, with where it is kept.

    Parameters
    ----------
    campaign : Campaign
    path : Path or None
        Where its results are kept.
    seconds : float
        How long it took; NaN if that is not known.
    """

    campaign: Campaign
    path: Path | None = None
    seconds: float = math.nan


@dataclass(frozen=True, eq=False)
class Case:
    """One run of a campaign, to be driven again and looked at.

    Parameters
    ----------
    plan : Plan
    row : int
        Number of the run, from 0.
    """

    plan: Plan
    row: int

    @property
    def manoeuvre(self) -> str:
        """The manoeuvre's id."""
        return self.plan.manoeuvres[self.plan.parts(self.row)[0]].id

    @property
    def set_name(self) -> str:
        """What the set is called in the campaign."""
        return self.plan.sets[self.plan.parts(self.row)[1]].name

    @property
    def factors(self) -> Mapping[str, float]:
        """What was varied, and its value."""
        return self.plan.points.at(self.plan.parts(self.row)[2])


class Model(Protocol):
    """What can drive: `app.driving.model.VehicleModel`, or anything of this shape in a test."""

    @property
    def compiled(self) -> bool:
        """Whether there is a compiler, without which a run takes a minute and more."""

    def prepare(self) -> str:
        """Compile what is not compiled yet, outside this process; return what went wrong."""

    def stop(self) -> None:
        """Give up preparing: the window closes."""

    def manoeuvres(self, own: Path | None) -> ManoeuvreFile:
        """Return the manoeuvres there are, with those of a user's file."""

    def variants(self, path: Path | None) -> tuple[tuple[str, str], ...]:
        """Return the load cases of a vehicle file: name and words."""

    def vehicle_words(self, choice: VehicleChoice) -> str:
        """Name the vehicle, with what it weighs."""

    def drive(
        self,
        content: CalibrationSet,
        manoeuvre: str,
        vehicle: VehicleChoice,
    ) -> DeskRun:
        """Drive one manoeuvre."""

    def drive_case(self, case: Case) -> DeskRun:
        """Drive one run of a campaign again, under the very same conditions."""

    def sensitivity(
        self,
        control: Control,
        content: CalibrationSet,
        manoeuvre: str,
        vehicle: VehicleChoice,
        measure: str,
        table_id: str,
        step: float,
    ) -> Sensitivity:
        """Drive once for every cell of a table."""

    def variations(self) -> tuple[Variation, ...]:
        """Return what a campaign may vary."""

    def campaign(self, control: Control, plan: CampaignPlan) -> DrivenCampaign:
        """Drive a campaign."""

    def read_campaign(self, path: Path) -> DrivenCampaign:
        """Read the results of an earlier one."""

    def left_out(self) -> Sequence[str]:
        """Say in sentences what the model leaves out."""
