"""What the window knows of a desk run, whatever made it: plain values, no widget, no model.

The widgets draw these; `model.py` fills them from `calib_model.vehicle`, tests from anything.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from app.desk_evidence import LawRun
from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.units import shown


@dataclass(frozen=True)
class Measure:
    """One number read off a manoeuvre: a desk estimate.

    Parameters
    ----------
    name : str
        Permanent.
    label : str
    unit : str
    better : str
        ``lower``, ``higher``, or empty where neither is.
    limit : float
        The manoeuvre's own limit, until the user sets another; NaN for none.
    how : str
        How it is read off, in a sentence.
    floor : float
        A change below this means nothing.
    """

    name: str
    label: str
    unit: str
    better: str = ""
    limit: float = math.nan
    how: str = ""
    floor: float = 0.0


@dataclass(frozen=True)
class Drivable:
    """A manoeuvre that can be chosen.

    Parameters
    ----------
    id, name : str
    about : str
        Surface, driver and duration in words.
    measures : tuple of Measure
    planar : bool
        Whether the path from above says something: the vehicle turns.
    own : bool
        Whether the user defined it.
    """

    id: str
    name: str
    about: str = ""
    measures: tuple[Measure, ...] = ()
    planar: bool = False
    own: bool = False


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


@dataclass(frozen=True)
class Variation:
    """What may vary from run to run of a campaign.

    Parameters
    ----------
    name, label, unit : str
    low, high : float
        The range that is proposed.
    least, most : float
        The range that is allowed.
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    least: float = -math.inf
    most: float = math.inf

    @property
    def brief(self) -> str:
        """Its name with the unit, such as ``Mass, ×`` or ``Temperature, K``."""
        short, _, of = self.label.partition(",")
        unit = "×" if of.strip().startswith("times") else shown(self.unit)
        return f"{short}, {unit}" if unit else short


@dataclass(frozen=True)
class DeskRun:
    """One manoeuvre driven on the desk.

    Parameters
    ----------
    manoeuvre : str
        Its id.
    completed : bool
    why : str
        Why it was not completed, in words; or what else is to be said.
    values : mapping of measure name to float
        NaN where the run does not give the number.
    time : float array, shape (T,)
        In seconds, at the controller's ticks.
    columns : mapping of name to float array, shape (T,)
    units : mapping of name to unit
    remarks : tuple of str
        What took no part and why: roles that no table plays, tables that cannot be read.
    in_range : bool
        False where the run left what the model is made for: then nothing is plotted.
    outline : tuple of float
        Wheelbase and track, in metres, for the path from above; empty if not known.
    vehicle : str
        The vehicle's name.
    whys : mapping of measure name to str
        Why a measure has no value.
    quantities : mapping of input quantity to float array, shape (T,)
        What the controller read, for the operating point on the tables.
    law : LawRun or None
        What the torque law was given and commanded, to keep the run as evidence.
    """

    manoeuvre: str
    completed: bool
    why: str = ""
    values: Mapping[str, float] = field(default_factory=dict)
    time: FloatArray = field(default_factory=lambda: np.empty(0))
    columns: Mapping[str, FloatArray] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    in_range: bool = True
    outline: tuple[float, ...] = ()
    vehicle: str = ""
    whys: Mapping[str, str] = field(default_factory=dict)
    quantities: Mapping[str, FloatArray] = field(default_factory=dict)
    law: LawRun | None = None

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


class Control(Protocol):
    """What a long piece of work reports to: `app.shell.jobs.Control` is one."""

    @property
    def cancelled(self) -> bool: ...
    def check(self) -> None: ...
    def progress(self, fraction: float, text: str = "") -> None: ...


@dataclass(frozen=True)
class Sensitivity:
    """How a measure changes when one cell at a time takes a step.

    Parameters
    ----------
    table_id : str
    measure : Measure
    step : float
        In the table's unit.
    change : float array in the table's shape
        In the measure's unit; NaN where a run gave no number.
    base : float
        The measure with the table as it is.
    read : bool array in the table's shape, or None
        Which cells the controller read at all.
    whys : mapping of cell to str
        Why a cell's run gave no number.
    complete : bool
        False if it was given up.
    """

    table_id: str
    measure: Measure
    step: float
    change: FloatArray
    base: float
    read: BoolArray | None = None
    whys: Mapping[tuple[int, ...], str] = field(default_factory=dict)
    complete: bool = True

    def most(self, count: int = 5) -> list[tuple[tuple[int, ...], float]]:
        """Return the cells that matter most, with their change; none that changes nothing."""
        sizes = np.abs(np.nan_to_num(self.change, nan=0.0)).reshape(-1)
        order = np.argsort(-sizes, kind="stable")[:count]
        cells = [tuple(map(int, np.unravel_index(k, self.change.shape))) for k in order]
        return [(c, float(self.change[c])) for c in cells if self.change[c]]


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


@dataclass(frozen=True)
class CampaignTable:
    """Results of a campaign, a row per run.

    Parameters
    ----------
    manoeuvre, set_title : tuple of str, one per run
    completed : bool array, shape (n,)
    why : tuple of str
    factors : mapping of variation name to float array, shape (n,)
    values : mapping of measure name to float array, shape (n,)
        NaN where the manoeuvre has no such measure or gave none.
    path : Path or None
        Where they are kept.
    seconds : float
        How long the campaign took; NaN if that is not known.
    native : object
        What the model itself made of it, to drive a row again.
    caution : str
        What to bear in mind of the file it was read from.
    """

    manoeuvre: tuple[str, ...]
    set_title: tuple[str, ...]
    completed: np.ndarray
    why: tuple[str, ...]
    factors: Mapping[str, FloatArray]
    values: Mapping[str, FloatArray]
    path: Path | None = None
    seconds: float = math.nan
    native: Any = None
    caution: str = ""

    def __len__(self) -> int:
        return len(self.manoeuvre)


@dataclass(frozen=True)
class Case:
    """One run of a campaign, to be driven again and looked at.

    Parameters
    ----------
    manoeuvre, set_title : str
    factors : mapping of variation name to float
    native : object
        See `CampaignTable`; with `row`.
    row : int
        Number of the run, from 0.
    """

    manoeuvre: str
    set_title: str
    factors: Mapping[str, float]
    native: Any = None
    row: int = 0


class Model(Protocol):
    """What can drive: `app.driving.model.VehicleModel`, or anything of this shape in a test."""

    @property
    def compiled(self) -> bool:
        """Whether there is a compiler, without which a run takes a minute and more."""

    def prepare(self) -> str:
        """Compile what is not compiled yet, outside this process; return what went wrong."""

    def stop(self) -> None:
        """Give up preparing: the window closes."""

    def drivables(self, own: Path | None) -> tuple[Drivable, ...]:
        """Return the manoeuvres, those of a user's file last."""

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

    def campaign(self, control: Control, plan: CampaignPlan) -> CampaignTable:
        """Drive a campaign."""

    def read_campaign(self, path: Path) -> CampaignTable:
        """Read the results of an earlier one."""

    def left_out(self) -> Sequence[str]:
        """Say in sentences what the model leaves out."""
