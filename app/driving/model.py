"""What drives: the vehicle model of `calib_model.vehicle`."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from app.driving.manoeuvre_words import vehicle_words
from app.driving.shapes import (
    CampaignPlan,
    Case,
    DeskRun,
    DrivenCampaign,
    VehicleChoice,
)
from app.work.control import Control
from calib_model.cautions import ESTIMATES
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.plain_file import is_there
from calib_model.errors import BitepointError, EditRefused
from calib_model.lookup.compiled import available
from calib_model.lookup.warming import Warming
from calib_model.vehicle import campaign as campaigns
from calib_model.vehicle.campaign_store import form_of, read_campaign, write_campaign
from calib_model.vehicle.campaign_worker import run_again
from calib_model.vehicle.executors import executor
from calib_model.vehicle.manoeuvre_file import ManoeuvreFile, read_manoeuvres
from calib_model.vehicle.manoeuvres import MANOEUVRES, manoeuvre
from calib_model.vehicle.parameters import LARCH, read_vehicle
from calib_model.vehicle.runs import LEFT_OUT, bench
from calib_model.vehicle.sensitivity import sensitivity
from calib_model.vehicle.variations import VARIATIONS, grid, latin_hypercube, nominal, variation

if TYPE_CHECKING:
    from calib_model.vehicle.manoeuvres import Manoeuvre
    from calib_model.vehicle.parameters import Vehicle
    from calib_model.vehicle.runs import Bench, Result
    from calib_model.vehicle.sensitivity import Sensitivity
    from calib_model.vehicle.variations import Variation

BENCHES = 8
_VARIANTS = {"laden": "laden", "trailer": "with a trailer"}


class VehicleModel:
    """See `app.driving.shapes.Model`.  Every call may come from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._benches: OrderedDict[tuple[object, ...], tuple[CalibrationSet, Bench]] = OrderedDict()
        self._vehicles: dict[tuple[object, ...], Vehicle] = {}
        self._manoeuvres: Mapping[str, Manoeuvre] | None = None
        self._warming = Warming("from app.driving.model import warm_up; warm_up()")

    # -- the compiled code -----------------------------------------------------------------------

    @property
    def compiled(self) -> bool:
        """Whether there is a compiler."""
        return available()

    def prepare(self) -> str:
        """Fill the cache of compiled code, then bring it into this process."""
        if self.compiled:
            if not self._warming.wait():
                return "The simulation was not prepared: the window closed."
            warm_up()
        return ""

    def stop(self) -> None:
        """Give up preparing: nobody needs it any more."""
        self._warming.stop()

    # -- vehicle and manoeuvres ------------------------------------------------------------------

    def manoeuvres(self, own: Path | None) -> ManoeuvreFile:
        """Return the manoeuvres there are, with those of a user's file."""
        file = read_manoeuvres(own) if own is not None else ManoeuvreFile()
        self._manoeuvres = file.manoeuvres
        return file

    def _manoeuvre(self, id: str) -> Manoeuvre:
        return manoeuvre(id, self._manoeuvres or MANOEUVRES)

    def _vehicle(self, choice: VehicleChoice) -> Vehicle:
        stamp = choice.path.stat().st_mtime_ns if choice.path and is_there(choice.path) else 0
        key = (choice, stamp)
        found = self._vehicles.get(key)
        if found is None:
            found = read_vehicle(choice.path) if choice.path is not None else LARCH
            if choice.variant and choice.variant in found.variants:
                found = found.variant(choice.variant)
            self._vehicles[key] = found
        return found

    def variants(self, path: Path | None) -> tuple[tuple[str, str], ...]:
        """Return the load cases of a vehicle."""
        vehicle = self._vehicle(VehicleChoice(path))
        named = tuple((n, _VARIANTS.get(n, n.replace("_", " "))) for n in vehicle.variants)
        return (("", "as it is"), *named)

    def vehicle_words(self, choice: VehicleChoice) -> str:
        """Name the vehicle, with what it weighs."""
        return vehicle_words(self._vehicle(choice))

    def left_out(self) -> tuple[str, ...]:
        """Say what the model leaves out."""
        return (
            LEFT_OUT,
            "A laden vehicle and a trailer are masses and forces at the hitch, from its file.",
            "A run that tips over, or is faster than the tyre data reach, is told and not plotted.",
            ESTIMATES,
        )

    # -- driving ---------------------------------------------------------------------------------

    def _bench(self, content: CalibrationSet, choice: VehicleChoice) -> Bench:
        vehicle = self._vehicle(choice)
        key = (id(content), id(vehicle))
        with self._lock:
            kept = self._benches.get(key)
            if kept is not None and kept[0] is content:
                return kept[1]
        made = bench(content, vehicle)
        with self._lock:
            self._benches[key] = (content, made)
            while len(self._benches) > BENCHES:
                self._benches.popitem(last=False)
        return made

    def drive(self, content: CalibrationSet, manoeuvre: str, vehicle: VehicleChoice) -> DeskRun:
        """Drive one manoeuvre."""
        one = self._bench(content, vehicle)
        return _run_of(one.drive(self._manoeuvre(manoeuvre)), one.vehicle, content)

    def drive_case(self, case: Case) -> DeskRun:
        """Drive one run of a campaign again."""
        plan = case.plan
        content = plan.sets[plan.parts(case.row)[1]].content
        return _run_of(run_again(plan, case.row), plan.vehicle, content)

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
        """Drive once for every cell of a table that is read."""
        role = content.tables[table_id].role
        if not role:
            raise EditRefused(
                f"{content.tables[table_id].label} plays no part in the controller.",
                "Give it a role, or choose another table.",
            )
        found = sensitivity(
            self._bench(content, vehicle),
            self._manoeuvre(manoeuvre),
            role,
            measure,
            step,
            progress=_progress(control, "cells"),
            cancelled=lambda: control.cancelled,
        )
        control.check()
        return found

    # -- campaigns -------------------------------------------------------------------------------

    def variations(self) -> tuple[Variation, ...]:
        """Return what a campaign may vary."""
        return tuple(VARIATIONS.values())

    def campaign(self, control: Control, plan: CampaignPlan) -> DrivenCampaign:
        """Drive a campaign, and keep its table if a file is named."""
        if plan.out is not None:
            form_of(plan.out)  # refused before hours of work rather than after them
        varied = [variation(name).within(low, high) for name, low, high in plan.variations]
        if not varied:
            points = nominal()
        elif plan.method == "grid":
            points = grid(varied, [plan.runs] * len(varied))
        else:
            points = latin_hypercube(varied, plan.runs, plan.seed)
        native = campaigns.Plan(
            tuple(campaigns.NamedSet(title, content) for title, content in plan.sets),
            tuple(self._manoeuvre(id) for id in plan.manoeuvres),
            self._vehicle(plan.vehicle),
            points,
            plan.seed,
        )
        begun = time.monotonic()
        with executor(plan.workers, plan.scheduler) as made:
            done = campaigns.run_campaign(
                native,
                made,
                workers=plan.workers,
                progress=_progress(control, "runs"),
                cancelled=lambda: control.cancelled,
            )
        control.check()
        seconds = time.monotonic() - begun
        if plan.out is not None:
            write_campaign(plan.out, done)
        return DrivenCampaign(done, plan.out, seconds)

    def read_campaign(self, path: Path) -> DrivenCampaign:
        """Read the results of an earlier campaign."""
        return DrivenCampaign(read_campaign(path), path)


def warm_up() -> None:
    """Drive a moment, so that everything compiled is in the cache and in this process."""
    one = next(iter(MANOEUVRES.values()))
    try:
        bench(CalibrationSet({}), LARCH).drive(replace(one, duration=0.1))
    except BitepointError:
        pass  # told when a manoeuvre is driven


def _progress(control: Control, what: str) -> Callable[[int, int], None]:
    def tell(done: int, whole: int) -> None:
        if not control.cancelled:  # what is cancelled ends by itself, in good order
            control.progress(done / max(whole, 1), f"{done} of {whole} {what}")

    return tell


def _run_of(result: Result, vehicle: Vehicle, content: CalibrationSet) -> DeskRun:
    remarks = (*result.trace.remarks, *_missing(result.missing, content))
    return DeskRun(result, vehicle, remarks=remarks)


def _missing(missing: Mapping[str, str], content: CalibrationSet) -> list[str]:
    """Name what takes no part and why, by the table's name where one plays the role."""
    by_role = {t.role: t.label for t in content.tables.values() if t.role}
    nobody: list[str] = []
    told = []
    for role, why in missing.items():
        if role in by_role:
            told.append(f"{by_role[role]} takes no part: {why}.".replace("..", "."))
        else:
            nobody.append(role.replace("_", " "))
    if nobody:
        told.append(f"No table of the set plays: {', '.join(nobody)}; these take no part.")
    return told
