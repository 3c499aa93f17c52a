"""The part Campaign: asks, runs beside the window, shows spreads and worst cases, by keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.desk import Desk
from app.driving.limits import Forgetful
from app.driving.service import Driving
from app.road.campaign.panel import CampaignPanel
from app.work.jobs import Jobs
from calib_model.session.document import Document
from tests.letters import clashes
from tests.plots import demo_set as demo


@pytest.fixture
def jobs(qapp) -> Iterator[Jobs]:  # type: ignore[no-untyped-def]
    made = Jobs()
    yield made
    made.finish()


@pytest.fixture
def panel(qtbot, desk: Desk, driving: Driving, jobs: Jobs, memory: Forgetful) -> CampaignPanel:  # type: ignore[no-untyped-def]
    desk.add(Document(demo.demo_set(mode="low_grip")))
    made = CampaignPanel(desk, jobs, memory)
    qtbot.addWidget(made)
    made.resize(1200, 700)
    made.show()
    return made


def tick(panel: CampaignPanel, *rows: int) -> None:
    ticks = panel.form.manoeuvres
    for row in range(ticks.count()):
        state = Qt.CheckState.Checked if row in rows else Qt.CheckState.Unchecked
        ticks.item(row).setCheckState(state)


def run(qtbot, panel: CampaignPanel) -> None:  # type: ignore[no-untyped-def]
    panel.run()
    qtbot.waitUntil(lambda: panel._job is None)


def test_the_number_of_runs_is_said_before_they_are_made(panel: CampaignPanel) -> None:
    tick(panel, 0, 1)
    panel.form.runs.setText("30")
    assert panel.form.total.text() == "2 manoeuvres × 2 sets × 30 points = 120 runs"
    panel.form.method.setCurrentIndex(1)
    panel.form.runs.setText("3")  # values of each of two variations
    assert "9 points = 36 runs" in panel.form.total.text()
    for _, box, _, _ in panel.form.variations.values():
        box.setChecked(False)
    assert "1 point = 4 runs" in panel.form.total.text()


def test_what_cannot_be_used_is_named(panel: CampaignPanel) -> None:
    form = panel.form
    form.runs.setText("many")
    assert "Number of points" in form.total.text()
    form.runs.setText("10")
    form.variations["friction"][2].setText("1.5")
    form.variations["friction"][3].setText("0.5")
    panel.run()
    assert "Friction" in panel.results.words.text()
    assert "0.2 to 5" in panel.results.words.text()
    form.variations["friction"][2].setText("0.5")
    tick(panel)
    panel.run()
    assert "No manoeuvre is ticked" in panel.results.words.text()


def test_spreads_by_set(qtbot, panel: CampaignPanel) -> None:  # type: ignore[no-untyped-def]
    tick(panel, 0)
    panel.form.runs.setText("25")
    run(qtbot, panel)
    assert "50 runs in 1.5 s" in panel.results.words.text()
    rows = panel.results.spread_rows.rows
    assert len(rows) == 2
    campaign = panel.results.campaign
    assert campaign is not None
    mine = campaign.metrics["time_to_30"][:25]
    assert rows[0].texts[1:4] == ("25", "0", "0")
    assert rows[0].texts[5] == f"{np.median(mine):.4g}"
    lines = [line.getData() for line in panel.results.plot._lines]
    assert all(y[-1] == 100.0 for _, y in lines)
    panel.results.form.setCurrentIndex(1)
    panel.results._show()
    counts = panel.results.plot._lines[0].getData()[1]
    assert counts[1:-1:2].sum() == 25
    panel.driving.set_limit("launch_snow", "time_to_30", float(np.median(mine)))
    assert panel.results.spread_rows.rows[0].texts[-1] == "12"


def test_a_worst_case_is_shown_by_one_key(qtbot, panel: CampaignPanel, driving: Driving) -> None:  # type: ignore[no-untyped-def]
    tick(panel, 0)
    panel.form.runs.setText("20")
    run(qtbot, panel)
    campaign = panel.results.campaign
    assert campaign is not None
    worst = int(np.argmax(campaign.metrics["time_to_30"]))
    panel.show_tab(1)
    assert panel.results.worst.chosen() == worst
    parts, cases = [], []
    panel.part_wanted.connect(parts.append)
    driving.case_wanted.connect(lambda: cases.append(driving.case))
    qtbot.keyClick(panel.results.worst, Qt.Key.Key_Return)
    assert parts == ["manoeuvres"]
    assert cases[0].row == worst
    assert (
        cases[0].factors["friction"]
        == campaign.plan.points.at(campaign.plan.parts(worst)[2])["friction"]
    )


def test_runs_not_completed_come_first_among_the_worst(qtbot, panel: CampaignPanel) -> None:  # type: ignore[no-untyped-def]
    tick(panel, 3)
    panel.form.runs.setText("4")
    run(qtbot, panel)
    assert "8 not completed" in panel.results.words.text()
    assert "It rolled over after 2.1 s." in panel.results.worst.rows[0].texts[2]


def test_a_campaign_is_given_up(qtbot, panel: CampaignPanel, model) -> None:  # type: ignore[no-untyped-def]
    tick(panel, 0)
    model.hold.clear()
    panel.run()
    assert panel.form.run.text() == "Cancel"
    panel.form.run.click()
    model.hold.set()
    qtbot.waitUntil(lambda: panel._job is None)
    assert "given up" in panel.results.words.text()
    assert panel.form.run.text() == "Run the campaign"
    assert panel.results.campaign is None


def test_the_form_is_remembered(
    qtbot,  # type: ignore[no-untyped-def]
    panel: CampaignPanel,
    desk: Desk,
    jobs: Jobs,
    memory: Forgetful,
) -> None:
    tick(panel, 1)
    panel.form.runs.setText("7")
    panel.form.scheduler.setText("tcp://head:8786")
    panel.form.variations["temperature"][1].setChecked(False)
    panel.form.keep()
    again = CampaignPanel(desk, jobs, memory)
    qtbot.addWidget(again)
    plan = again.form.plan()
    assert plan.manoeuvres == ("hill_start_split",)
    assert (plan.runs, plan.scheduler) == (7, "tcp://head:8786")
    assert [v[0] for v in plan.variations] == ["friction"]


def test_a_file_that_is_no_campaign_is_refused(qtbot, panel: CampaignPanel, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    panel.open(tmp_path / "other.h5")
    qtbot.waitUntil(lambda: "It is no campaign." in panel.results.words.text())


def test_letters_lead_to_one_place_each(panel: CampaignPanel) -> None:
    for method in range(panel.form.method.count()):
        panel.form.method.setCurrentIndex(method)
        assert not clashes(panel)


def test_a_scheduler_is_asked_about_once_before_it_is_called(panel: CampaignPanel) -> None:
    asked: list[str] = []
    answers = [False, True]

    def ask(_parent: object, _question: str, details: str) -> bool:
        asked.append(details)
        return answers.pop(0)

    panel.ask_trust = ask
    tick(panel, 1)
    panel.form.scheduler.setText("tcp://127.0.0.1:9")
    panel.run()
    assert panel._job is None
    assert "not confirmed" in panel.results.words.text()
    assert "run any program on this machine" in asked[0]
    assert "use tls://" in asked[0]
    assert panel._trusts("tcp://127.0.0.1:9")
    assert panel._trusts("tcp://127.0.0.1:9")
    assert panel._trusts("")
    assert len(asked) == 2
