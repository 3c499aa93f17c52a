"""Something that drives, in a few lines: runs of the same shapes as the vehicle model's.

What it gives depends on the set in a known way, so that a test can say what a plot must show.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from pathlib import Path

import numpy as np

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
from calib_model.errors import FileProblem

TIME = Measure("time_to_30", "Time to 30 km/h", "s", "lower")
SLIP = Measure("peak_front_slip", "Peak front slip", "km/h", "lower")
GRADE = Measure("climbed", "Climbed", "m", "higher")
CIRCLE = Measure("turning_circle", "Turning circle", "m", "lower")

LAUNCH = Drivable("launch_snow", "Launch on snow", "snow, 10 s", (TIME, SLIP))
HILL = Drivable("hill_start_split", "Hill start", "split friction, 8 s", (GRADE, SLIP))
TURN = Drivable("parking_circle", "Parking circle", "dry, 10 s", (CIRCLE,), planar=True)
BROKEN = Drivable("roll_over", "Roll-over", "never completes", (TIME,))


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

    def drivables(self, own: Path | None) -> tuple[Drivable, ...]:
        if own is not None and not own.exists():
            raise FileProblem(own, "", "It is not there.", "Choose another.")
        mine = (Drivable("mine", "My launch", "from a file", (TIME,), own=True),) if own else ()
        return (LAUNCH, HILL, TURN, BROKEN, *mine)

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
        content, vehicle = case.native
        return self._run(content, case.manoeuvre, vehicle, case.factors)

    def _run(
        self,
        content: CalibrationSet,
        manoeuvre: str,
        vehicle: VehicleChoice,
        factors: Mapping[str, float],
    ) -> DeskRun:
        assert self.hold.wait(10)
        self.driven.append((manoeuvre, vehicle.variant, dict(factors)))
        if manoeuvre == BROKEN.id:
            return DeskRun(manoeuvre, False, "It rolled over after 2.1 s.", in_range=False)
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
            "law_torque": np.full(time.size, torque) + 1,
            "governing": np.where(time < 5, 0.0, 6.0),
            "controller_state": np.zeros(time.size),
            "plate_temperature": 20 + time,
            "yaw_rate": np.sin(time),
            "x": 5 * np.sin(np.deg2rad(turned)),
            "y": 5 - 5 * np.cos(np.deg2rad(turned)),
            "heading": turned,
        }
        units = {"speed": "km/h", "front_slip": "km/h", "clutch_torque": "N.m"}
        values = {
            "time_to_30": 1000 / torque,
            "peak_front_slip": float(slip.max()),
            "climbed": torque / 100,
            "turning_circle": 10.0,
        }
        return DeskRun(
            manoeuvre, True, "", values, time, columns, units, self.remarks, True, (2.7, 1.6),
            self.vehicle_words(vehicle), {}, {"ambient_temperature": np.full(time.size, -20.0),
            "pedal": np.minimum(time * 10, 50.0)},
        )  # fmt: skip

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
        table = content.tables[table_id]
        change = np.zeros(table.shape)
        for flat in range(change.size):
            control.progress(flat / change.size, f"{flat} of {change.size} cells")
            change.flat[flat] = step * flat
        found = next(m for d in self.drivables(None) for m in d.measures if m.name == measure)
        return Sensitivity(table_id, found, step, change, 5.0)

    def variations(self) -> tuple[Variation, ...]:
        return (
            Variation("friction", "Friction, times the manoeuvre's", "-", 0.8, 1.2, 0.2, 5.0),
            Variation("temperature", "Temperature, above the manoeuvre's", "K", -10, 10, -60, 60),
        )

    def campaign(self, control: Control, plan: CampaignPlan) -> CampaignTable:
        rng = np.random.default_rng(plan.seed)
        names = [v[0] for v in plan.variations]
        manoeuvre, sets, why, done = [], [], [], []
        factors: dict[str, list[float]] = {name: [] for name in names}
        values: dict[str, list[float]] = {"time_to_30": [], "peak_front_slip": []}
        for id in plan.manoeuvres:
            for title, content in plan.sets:
                for number in range(plan.runs):
                    control.progress(number / plan.runs, "runs")
                    row = {n: rng.uniform(low, high) for n, low, high in plan.variations}
                    run = self._run(content, id, plan.vehicle, row)
                    manoeuvre.append(id)
                    sets.append(title)
                    why.append(run.why)
                    done.append(run.completed)
                    for name in names:
                        factors[name].append(row[name])
                    for name, column in values.items():
                        column.append(run.values.get(name, float("nan")))
        return CampaignTable(
            tuple(manoeuvre), tuple(sets), np.array(done), tuple(why),
            {k: np.array(v) for k, v in factors.items()},
            {k: np.array(v) for k, v in values.items()}, plan.out, 1.5,
            (plan.sets[0][1], plan.vehicle),
        )  # fmt: skip

    def read_campaign(self, path: Path) -> CampaignTable:
        raise FileProblem(path, "", "It is no campaign.", "Choose another file.")

    def left_out(self) -> tuple[str, ...]:
        return ("No gearbox: no jolt.",)
