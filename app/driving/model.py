"""What drives: the vehicle model of `calib_model.vehicle`, in the shapes that the window knows."""

from __future__ import annotations

import math
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from app.desk_evidence import LawRun
from app.driving.shapes import (
    CampaignPlan,
    CampaignTable,
    Case,
    Control,
    DeskRun,
    Drivable,
    Measure,
    Sensitivity,
    Variation,
    VehicleChoice,
)
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import with_unit
from calib_model.core.plain_file import is_there
from calib_model.core.roles import QUANTITIES
from calib_model.core.units import shown
from calib_model.errors import BitepointError, EditRefused
from calib_model.lookup.warming import Warming

if TYPE_CHECKING:
    from calib_model.vehicle.manoeuvres import Manoeuvre
    from calib_model.vehicle.parameters import Vehicle
    from calib_model.vehicle.runs import Bench, Result

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
        from calib_model.lookup.compiled import available

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

    def drivables(self, own: Path | None) -> tuple[Drivable, ...]:
        """Return the manoeuvres, those of a user's file last."""
        from calib_model.vehicle.manoeuvre_file import ManoeuvreFile, read_manoeuvres

        file = read_manoeuvres(own) if own is not None else ManoeuvreFile()
        self._manoeuvres = dict(file.manoeuvres)
        return tuple(_drivable(m, id in file.own) for id, m in file.manoeuvres.items())

    def _manoeuvre(self, id: str) -> Manoeuvre:
        from calib_model.vehicle.manoeuvres import MANOEUVRES, manoeuvre

        return manoeuvre(id, self._manoeuvres or MANOEUVRES)

    def _vehicle(self, choice: VehicleChoice) -> Vehicle:
        from calib_model.vehicle.parameters import LARCH, read_vehicle

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
        vehicle = self._vehicle(choice)
        return f"{vehicle.name}, {vehicle.body_mass:.0f} kg"

    def left_out(self) -> tuple[str, ...]:
        """Say what the model leaves out."""
        from calib_model.cautions import ESTIMATES
        from calib_model.vehicle.runs import LEFT_OUT

        return (
            LEFT_OUT,
            "A laden vehicle and a trailer are masses and forces at the hitch, from its file.",
            "A run that tips over, or is faster than the tyre data reach, is told and not plotted.",
            ESTIMATES,
        )

    # -- driving ---------------------------------------------------------------------------------

    def _bench(self, content: CalibrationSet, choice: VehicleChoice) -> Bench:
        from calib_model.vehicle.runs import bench

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
        from calib_model.vehicle.campaign_worker import run_again

        plan = case.native
        which = plan.parts(case.row)[1]
        return _run_of(run_again(plan, case.row), plan.vehicle, plan.sets[which].content)

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
        from calib_model.vehicle.sensitivity import sensitivity

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
        return Sensitivity(
            found.table_id,
            _measure(found.metric),
            step,
            found.change,
            found.base,
            found.read,
            found.why,
            found.complete,
        )

    # -- campaigns -------------------------------------------------------------------------------

    def variations(self) -> tuple[Variation, ...]:
        """Return what a campaign may vary."""
        from calib_model.vehicle.variations import VARIATIONS

        return tuple(
            Variation(v.name, v.label, v.unit, v.low, v.high, v.least, v.most)
            for v in VARIATIONS.values()
        )

    def campaign(self, control: Control, plan: CampaignPlan) -> CampaignTable:
        """Drive a campaign, and keep its table if a file is named."""
        from calib_model.vehicle import campaign as campaigns
        from calib_model.vehicle.campaign_store import form_of, write_campaign
        from calib_model.vehicle.executors import executor
        from calib_model.vehicle.variations import grid, latin_hypercube, nominal, variation

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
        return _table_of(done, plan.out, seconds)

    def read_campaign(self, path: Path) -> CampaignTable:
        """Read the results of an earlier campaign."""
        from calib_model.vehicle.campaign_store import NO_SUM, read_campaign

        found = read_campaign(path)
        table = _table_of(found, path, math.nan)
        return replace(table, caution=NO_SUM) if found.unchecked else table


def warm_up() -> None:
    """Drive a moment, so that everything compiled is in the cache and in this process."""
    from calib_model.vehicle.manoeuvres import MANOEUVRES
    from calib_model.vehicle.parameters import LARCH
    from calib_model.vehicle.runs import bench

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


def _drivable(one: Manoeuvre, own: bool) -> Drivable:
    from calib_model.vehicle.metrics_all import metric

    measures = tuple(_measure(metric(n), one.limits.get(n, math.nan)) for n in one.metrics)
    return Drivable(
        one.id, one.name, _about(one), measures, bool(one.driver.path or one.driver.steering), own
    )


def _measure(metric: Any, limit: float = math.nan) -> Measure:
    better = metric.better if metric.better in ("lower", "higher") else ""
    how = f"{metric.how} Changes below {with_unit(metric.floor, shown(metric.unit))} do not count."
    return Measure(metric.name, metric.label, metric.unit, better, limit, how, metric.floor)


def _about(one: Manoeuvre) -> str:
    """Say where and how long a manoeuvre is driven."""
    names: list[str] = []
    for patch in one.surface:
        left = _surface(patch.left)
        right = left if patch.right is None else _surface(patch.right)
        names.append(left if left == right else f"{left} left and {right} right")
    where = ", then ".join(dict.fromkeys(names))
    slope = max((abs(p[1]) for p in one.grade), default=0.0)
    parts = [where[:1].upper() + where[1:]]
    if slope:
        parts.append(f"{slope:g} % grade")
    if one.start.speed:
        parts.append(f"from {one.start.speed:g} km/h")
    parts.append(f"{one.start.ambient_temperature:g} °C".replace("-", "\N{MINUS SIGN}"))
    parts.append(f"{one.duration:g} s")
    return f"{one.purpose} {', '.join(parts)}.".strip()


def _surface(surface: object) -> str:
    if isinstance(surface, str):
        return surface
    return f"friction {surface:g}" if isinstance(surface, int | float) else "a surface of its own"


def _run_of(result: Result, vehicle: Vehicle, content: CalibrationSet) -> DeskRun:
    from calib_model.controller.inputs import INPUT_INDEX
    from calib_model.controller.outputs import OUTPUTS
    from calib_model.vehicle.trace import TRACE_UNITS

    trace = result.trace
    columns = dict(trace.columns)
    units = dict(TRACE_UNITS)
    for number, output in enumerate(OUTPUTS):
        columns[f"law_{output.name}"] = trace.outputs[:, number]
        units[f"law_{output.name}"] = output.unit
    columns["governing"] = trace.governing.astype(np.float64)
    quantities = {
        name: trace.inputs[:, INPUT_INDEX[name]] for name in QUANTITIES if name in INPUT_INDEX
    }
    values = {r.name: math.nan if r.value is None else float(r.value) for r in result.metrics}
    whys = {r.name: r.why for r in result.metrics if r.value is None and r.why}
    return DeskRun(
        result.name,
        result.completed,
        result.why,
        values,
        trace.columns["time"],
        columns,
        units,
        (*trace.remarks, *_missing(trace.missing, content)),
        result.completed,
        (vehicle.wheelbase, vehicle["track"]),
        f"{vehicle.name}, {vehicle.body_mass:.0f} kg",
        whys,
        quantities,
        LawRun(trace.time, trace.inputs, columns["law_torque"], trace.tick, vehicle.constants),
    )


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


def _table_of(campaign: Any, path: Path | None, seconds: float) -> CampaignTable:
    plan = campaign.plan
    parts = np.array([plan.parts(r) for r in range(len(plan))], dtype=np.int64).reshape(-1, 3)
    values = plan.points.values
    return CampaignTable(
        tuple(plan.manoeuvres[m].id for m in parts[:, 0]),
        tuple(plan.sets[s].name for s in parts[:, 1]),
        campaign.completed,
        campaign.why,
        {name: values[parts[:, 2], n] for n, name in enumerate(plan.points.names)},
        campaign.metrics,
        path,
        seconds,
        plan,
    )
