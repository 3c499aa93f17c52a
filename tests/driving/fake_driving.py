"""Something that drives, in a few lines: results like the vehicle model's.

What it gives depends on the set in a known way, so that a test can say what a plot must show.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from app.driving.shapes import (
    CampaignPlan,
    Case,
    DeskRun,
    DrivenCampaign,
    VehicleChoice,
)
from app.work.control import Control
from calib_model.controller.inputs import INPUT_INDEX, INPUTS
from calib_model.controller.outputs import OUTPUT_INDEX, OUTPUTS
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import FileProblem
from calib_model.vehicle.campaign import Campaign, NamedSet, Plan
from calib_model.vehicle.manoeuvre_file import ManoeuvreFile
from calib_model.vehicle.manoeuvres import MANOEUVRES, Manoeuvre
from calib_model.vehicle.metrics import Reading
from calib_model.vehicle.metrics_all import METRICS, metric
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.runs import Result
from calib_model.vehicle.sensitivity import Sensitivity
from calib_model.vehicle.trace import Trace
from calib_model.vehicle.variations import VARIATIONS, Variation, grid, latin_hypercube, nominal


def made(id: str, name: str, *metrics: str, like: str = "") -> Manoeuvre:
    return replace(MANOEUVRES[like or id], id=id, name=name, metrics=metrics)


LAUNCH = made("launch_snow", "Launch on snow", "time_to_30", "peak_front_slip")
HILL = made("hill_start_split", "Hill start", "grade_held", "peak_front_slip")
TURN = made("parking_circle", "Parking circle", "turning_circle")
BROKEN = made("roll_over", "Roll-over", "time_to_30", like="launch_snow")
MINE = made("mine", "My launch", "time_to_30", like="launch_snow")


def torque_of(content: CalibrationSet) -> float:
    """What the fake's runs depend on: the mean of one map."""
    return float(np.nanmean(content.tables["pre_engage_torque"].values))


class FakeModel:
    """See `app.driving.shapes.Model`."""

    def __init__(self) -> None:
        self.compiled = True
        self.driven: list[tuple[str, str, dict[str, float]]] = []
        self.hold = threading.Event()
        self.hold.set()
        self.trouble = ""
        self.stopped = False
        self.remarks: tuple[str, ...] = ()

    def prepare(self) -> str:
        return self.trouble

    def stop(self) -> None:
        self.stopped = True

    def manoeuvres(self, own: Path | None) -> ManoeuvreFile:
        if own is not None and not own.exists():
            raise FileProblem(own, "", "It is not there.", "Choose another.")
        listed = (LAUNCH, HILL, TURN, BROKEN, *((MINE,) if own else ()))
        return ManoeuvreFile({m.id: m for m in listed}, ("mine",) if own else ())

    def variants(self, path: Path | None) -> tuple[tuple[str, str], ...]:
        return (("", "as it is"), ("laden", "laden"), ("trailer", "with a trailer"))

    def vehicle_words(self, choice: VehicleChoice) -> str:
        return f"Larch, {choice.variant or 'empty'}"

    def drive(
        self,
        content: CalibrationSet,
        manoeuvre: str,
        vehicle: VehicleChoice,
    ) -> DeskRun:
        return self._run(content, manoeuvre, vehicle, {})

    def drive_case(self, case: Case) -> DeskRun:
        content = next(s.content for s in case.plan.sets if s.name == case.set_name)
        return self._run(content, case.manoeuvre, VehicleChoice(), case.factors)

    def _run(
        self,
        content: CalibrationSet,
        manoeuvre: str,
        vehicle: VehicleChoice,
        factors: Mapping[str, float],
    ) -> DeskRun:
        assert self.hold.wait(10)
        self.driven.append((manoeuvre, vehicle.variant, dict(factors)))
        one = self.manoeuvres(None).manoeuvres.get(manoeuvre, MINE)
        driven = replace(LARCH, name=self.vehicle_words(vehicle))
        if one is BROKEN:
            why, nothing = "It rolled over after 2.1 s.", np.empty((0, 1))
            trace = Trace({"time": np.empty(0)}, nothing, nothing, nothing, 0.02, False, why)
            return DeskRun(Result(one, False, why, (), trace), driven)
        torque = torque_of(content) * dict(factors).get("friction", 1.0)
        time = np.arange(0.0, 10.0, 0.02)
        slip = 1000 / torque * np.exp(-time)
        turned = time * 20.0
        columns = {
            "time": time,
            "speed": 3 * time,
            "front_slip": slip,
            "rear_slip": slip / 2,
            "clutch_torque": np.full(time.size, torque),
            "controller_state": np.zeros(time.size),
            "plate_temperature": 20 + time,
            "yaw_rate": np.sin(time),
            "x": 5 * np.sin(np.deg2rad(turned)),
            "y": 5 - 5 * np.cos(np.deg2rad(turned)),
            "heading": turned,
        }
        inputs = np.full((time.size, len(INPUTS)), np.nan)
        inputs[:, INPUT_INDEX["ambient_temperature"]] = -20.0
        inputs[:, INPUT_INDEX["pedal"]] = np.minimum(time * 10, 50.0)
        outputs = np.full((time.size, len(OUTPUTS)), np.nan)
        outputs[:, OUTPUT_INDEX["torque"]] = torque + 1
        governing = np.where(time < 5, 0, 6)
        values = {
            "time_to_30": 1000 / torque,
            "peak_front_slip": float(slip.max()),
            "grade_held": torque / 100,
            "turning_circle": 10.0,
        }
        readings = tuple(Reading(metric(name), values[name]) for name in one.metrics)
        trace = Trace(columns, inputs, outputs, governing, 0.02, True)
        return DeskRun(Result(one, True, "", readings, trace), driven, remarks=self.remarks)

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
        change = np.zeros(content.tables[table_id].shape)
        for flat in range(change.size):
            control.progress(flat / change.size, f"{flat} of {change.size} cells")
            change.flat[flat] = step * flat
        read = np.ones(change.shape, dtype=bool)
        return Sensitivity(table_id, METRICS[measure], manoeuvre, step, 5.0, change, read)

    def variations(self) -> tuple[Variation, ...]:
        return VARIATIONS["friction"], VARIATIONS["temperature"]

    def campaign(self, control: Control, plan: CampaignPlan) -> DrivenCampaign:
        varied = [VARIATIONS[name].within(low, high) for name, low, high in plan.variations]
        if not varied:
            points = nominal()
        elif plan.method == "grid":
            points = grid(varied, [plan.runs] * len(varied))
        else:
            points = latin_hypercube(varied, plan.runs, plan.seed)
        known = self.manoeuvres(None).manoeuvres
        whole = Plan(
            tuple(NamedSet(title, content) for title, content in plan.sets),
            tuple(known[id] for id in plan.manoeuvres),
            LARCH,
            points,
            plan.seed,
        )
        runs = []
        for number in range(len(whole)):
            control.progress(number / len(whole), "runs")
            runs.append(self.drive_case(Case(whole, number)))
        campaign = Campaign(
            whole,
            np.ones(len(whole), dtype=bool),
            np.array([run.completed for run in runs]),
            tuple(run.why for run in runs),
            {name: np.array([run.value(name) for run in runs]) for name in whole.metric_names},
        )
        return DrivenCampaign(campaign, plan.out, 1.5)

    def read_campaign(self, path: Path) -> DrivenCampaign:
        raise FileProblem(path, "", "It is no campaign.", "Choose another file.")

    def left_out(self) -> tuple[str, ...]:
        return ("No gearbox: no jolt.",)
