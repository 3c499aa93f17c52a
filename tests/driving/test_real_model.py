"""The vehicle model behind the window: what an edit changes, and what is told of a broken set."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.desk import Desk
from app.driving.limits import Forgetful
from app.driving.manoeuvre_words import about, metrics_of
from app.driving.model import VehicleModel, warm_up
from app.driving.service import Driving
from app.driving.shapes import CampaignPlan, Case, VehicleChoice
from app.driving.strip import LiveStrip
from app.road.manoeuvres.panel import ManoeuvresPanel
from app.work.control import Control
from app.work.jobs import Jobs
from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import values_change
from calib_model.errors import BitepointError, FileProblem
from calib_model.evidence.grades import Grade, grades
from calib_model.session.document import Document
from calib_model.store import read_set_here
from calib_model.store.source import Stamp

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
# The first test may have to compile the model.
pytestmark = pytest.mark.timeout(900)


@pytest.fixture(scope="module")
def model() -> VehicleModel:
    """The model, compiled."""
    warm_up()
    return VehicleModel()


@pytest.fixture(scope="module")
def content() -> CalibrationSet:
    """The normal sample set."""
    path = SAMPLES / "larch_normal.h5"
    return read_set_here(path.read_bytes(), path, Stamp.of(path.stat())).set


def scaled(content: CalibrationSet, temperature: float, factor: float) -> CalibrationSet:
    """Scale one temperature's row of the pre-engage torque."""
    table = content.tables["pre_engage_torque"]
    axis = next(n for n, a in enumerate(table.axes) if a.quantity == "ambient_temperature")
    assert axis == 0
    values = table.values.copy()
    values[table.axes[0].values == temperature] *= factor
    assert not np.array_equal(values, table.values)
    return content.with_table(table.with_values(values))


def test_there_are_ten_manoeuvres_with_estimates(model: VehicleModel) -> None:
    listed = model.manoeuvres(None).manoeuvres.values()
    assert len(listed) == 10
    assert all(metrics_of(m) and about(m) for m in listed)
    assert {m.id for m in listed if m.turns} >= {"parking_circle", "lane_change_brake"}


def test_an_edit_in_the_cold_changes_the_cold_launch_and_one_in_the_heat_does_not(
    model: VehicleModel, content: CalibrationSet
) -> None:
    drive = lambda s: model.drive(s, "launch_snow", VehicleChoice())  # noqa: E731
    before = drive(content)
    assert before.completed, before.why
    cold = drive(scaled(content, -20.0, 0.5))
    warm = drive(scaled(content, 35.0, 0.5))
    assert cold.value("time_to_30") != before.value("time_to_30")
    assert warm.readings == before.readings
    assert np.array_equal(warm.columns["speed"], before.columns["speed"])


def test_the_strip_shows_it_live(
    qtbot,  # type: ignore[no-untyped-def]
    content: CalibrationSet,
    model: VehicleModel,
) -> None:
    desk = Desk()
    desk.add(Document(content))
    strip = LiveStrip(desk)
    qtbot.addWidget(strip)
    strip.switch_to(True)
    assert "Preparing" in strip.state.whole
    qtbot.waitUntil(lambda: strip.driving.state == "ready", timeout=600_000)  # type: ignore[union-attr]
    strip.wait()
    assert "nothing changed against as saved" in strip.state.whole
    table = desk.current.content.tables["pre_engage_torque"]  # type: ignore[union-attr]
    values = table.values.copy()
    values[table.axes[0].values == -20.0] *= 0.5
    desk.do(values_change(table, values, "Less torque in the cold"))
    strip.wait()
    assert "Time to 30 km/h" in strip.measures.text()
    assert "✗ worse" in strip.measures.text()


def test_missing_parts_and_empty_cells_are_named_and_the_rest_runs(
    model: VehicleModel, content: CalibrationSet
) -> None:
    table = content.tables["pre_engage_torque"]
    values = table.values.copy()
    values[0, 0] = np.nan
    broken = content.with_table(table.with_values(values))
    hill = next(t for t in broken.tables.values() if t.role == "hill_torque")
    broken = broken.with_table(replace(hill, role=""))
    run = model.drive(broken, "launch_snow", VehicleChoice())
    told = " ".join(run.remarks)
    assert table.label in told
    assert "hill torque" in told
    assert run.time.size > 100


def test_a_sensitivity_is_what_single_edits_give(
    model: VehicleModel, content: CalibrationSet
) -> None:
    found = model.sensitivity(
        Control(), content, "launch_snow", VehicleChoice(), "time_to_30", "pre_engage_torque", 20.0
    )
    (cell, change), *_ = found.most(1)
    table = content.tables["pre_engage_torque"]
    values = table.values.copy()
    values[cell] += 20.0
    single = model.drive(
        content.with_table(table.with_values(values)), "launch_snow", VehicleChoice()
    )
    assert single.value("time_to_30") - found.base == pytest.approx(change, abs=1e-12)
    hot = (*tuple(np.argwhere(table.axes[0].values == 50.0)[0]), 3)
    assert found.read is not None
    assert not found.read[hot]
    assert found.change[hot] == 0.0


def test_a_worst_case_is_driven_again_to_the_bit(
    model: VehicleModel, content: CalibrationSet
) -> None:
    plan = CampaignPlan(
        ("launch_ice",), (("larch", content),), VehicleChoice(), (("friction", 0.8, 1.2),),
        3, "latin", 4, 1,
    )  # fmt: skip
    campaign = model.campaign(Control(), plan).campaign
    row = int(np.nanargmax(campaign.metrics["peak_front_slip"]))
    run = model.drive_case(Case(campaign.plan, row))
    assert run.value("peak_front_slip") == campaign.metrics["peak_front_slip"][row]


def test_a_campaign_is_refused_before_it_runs(
    model: VehicleModel, content: CalibrationSet, tmp_path: Path
) -> None:
    plan = CampaignPlan(
        ("launch_ice",), (("larch", content),), VehicleChoice(), (), 3, "latin", 4, 1, "",
        tmp_path / "results.txt",
    )  # fmt: skip
    with pytest.raises(BitepointError, match="parquet"):
        model.campaign(Control(), plan)


def test_a_vehicle_file_that_is_wrong_names_its_key(model: VehicleModel, tmp_path: Path) -> None:
    text = (SAMPLES / "larch_vehicle.toml").read_text(encoding="utf-8")
    lines = ["mass = -5" if line.startswith("mass =") else line for line in text.splitlines()]
    path = tmp_path / "vehicle.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(FileProblem, match="mass"):
        model.variants(path)
    assert next(name for name, _ in model.variants(SAMPLES / "larch_vehicle.toml")) == ""
    assert "kg" in model.vehicle_words(VehicleChoice(None, "laden"))


def test_a_run_is_recorded_as_desk_evidence_by_key(
    qtbot,  # type: ignore[no-untyped-def]
    content: CalibrationSet,
    model: VehicleModel,
) -> None:
    desk, memory, jobs = Desk(), Forgetful("Ada"), Jobs()
    desk.add(Document(content))
    driving = Driving(desk, memory, model)
    panel = ManoeuvresPanel(desk, jobs, memory)
    qtbot.addWidget(panel)
    panel.show()
    driving.prepare()
    panel.wait()
    panel.chooser.choose("launch_snow")
    panel.wait()
    table = desk.current.content.tables["pre_engage_torque"]  # type: ignore[union-attr]
    assert desk.do(values_change(table, table.values * 0.9, "Less"))
    told: list[str] = []
    desk.told.connect(lambda text, _refused: told.append(text))
    qtbot.keyClick(panel.traces, Qt.Key.Key_E)  # before the edit is driven
    assert "changed since this run" in told[-1]
    panel.wait()
    qtbot.keyClick(panel.traces, Qt.Key.Key_E)
    record = lambda: desk.current.content.record.drives  # type: ignore[union-attr] # noqa: E731
    qtbot.waitUntil(lambda: len(record()) == 1, timeout=60_000)
    assert "desk only" in told[-1]
    now = desk.current.content  # type: ignore[union-attr]
    found = grades(now, content, record()).cells
    assert {cell.grade for cell in found} == {Grade.DESK, Grade.NONE}
    jobs.finish()
