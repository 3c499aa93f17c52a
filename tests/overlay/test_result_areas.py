"""The resulting torque in its two places: Compare, and the action that shows it."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.action import Action
from app.compare.page import ComparePage
from app.desk import Desk
from app.plots.actions import ACTIONS
from app.shell.actions import all_actions, clashes
from app.tune.page import TunePage
from app.work.jobs import Jobs
from calib_model.session.document import Document
from tests.overlay.sets import sample
from tests.waiting import settled


def row(id: str) -> Action:
    return next(action for action in ACTIONS if action.id == id)


@pytest.fixture
def desk() -> Desk:
    desk = Desk()
    for name in ("normal", "low_grip"):
        desk.add(Document(sample(name)))
    desk.set_reference(desk.documents[0])
    desk.set_current(desk.documents[1])
    return desk


@pytest.fixture
def page(qtbot, desk: Desk):  # type: ignore[no-untyped-def]
    jobs = Jobs()
    made = ComparePage(desk, jobs)
    qtbot.addWidget(made)
    made.resize(1300, 680)
    made.show()
    qtbot.waitUntil(lambda: not jobs.running and not made.comparing.busy, timeout=15_000)
    yield made
    made.hide()
    if made.result.panel is not None:
        made.result.panel.wait()
    jobs.finish()


def settle(qtbot, panel) -> None:  # type: ignore[no-untyped-def]
    qtbot.waitUntil(lambda: not panel._timer.isActive(), timeout=2000)
    panel.wait()
    settled(qtbot, panel)


def test_compare_shows_it_in_place_of_the_tables(qtbot, desk: Desk, page: ComparePage) -> None:
    assert page.result.panel is None
    page.sides.result.click()
    panel = page.result.panel
    settle(qtbot, panel)
    assert page.shows_result
    first, second = page.comparing.first, page.comparing.second
    assert [n.content for n in panel._sets] == [first.content, second.content]
    assert panel.maps[2].title.whole.startswith("Edited set less Reference")
    assert [one.isVisible() for one in panel.maps] == [True, True, True]
    less = panel.picture.second.torque - panel.picture.first.torque
    current, reference = desk.current, desk.reference
    desk.set_current(reference)
    desk.set_reference(current)
    qtbot.waitUntil(lambda: page.comparing.second.document is reference, timeout=15_000)
    qtbot.waitUntil(lambda: not page.comparing.busy, timeout=15_000)
    settle(qtbot, panel)
    turned = panel.picture.second.torque - panel.picture.first.torque
    assert np.array_equal(turned, -less)
    page.show_result()
    assert not page.shows_result
    assert not page.result.isVisible()


def test_from_compare_a_point_leads_to_its_cells_in_tune(qtbot, desk, page) -> None:  # type: ignore[no-untyped-def]
    page.show_result()
    panel = page.result.panel
    settle(qtbot, panel)
    jumped = []
    page.jumped.connect(lambda: jumped.append(desk.table.id))
    panel.set_place(2, panel.picture.second.x.size - 1)
    qtbot.keyClick(panel, Qt.Key.Key_Return)
    assert jumped == ["pre_engage_torque"]
    assert desk.table.coordinates(desk.cursor)[1] == 100.0


def test_tune_gives_it_room_and_takes_it_back(qtbot, desk: Desk) -> None:
    desk.open_table("pre_engage_torque")
    page = TunePage(desk)
    qtbot.addWidget(page)
    page.resize(1300, 680)
    page.show()
    settled(qtbot, page)
    before = page.plots.height()
    window = SimpleNamespace(work=page, tune=page, plots=page.plots, desk=desk)
    action = row("plots.result")
    assert action.enabled(desk)
    assert not action.checked(window)
    action.run(window)
    settle(qtbot, page.plots.result)
    assert action.checked(window)
    assert page.plots.height() > before + 50
    action.run(window)
    settled(qtbot, page)
    assert not page.plots.shows_result
    assert abs(page.plots.height() - before) <= 2  # shares are rounded
    page.plots.result.wait()


def test_the_driving_switch_is_an_action_of_its_own(desk: Desk) -> None:
    action = row("plots.driving")
    window = SimpleNamespace(desk=desk)
    assert not action.enabled(desk)
    from tests.overlay.driving import drive, used

    desk.open_table("pre_engage_fade")
    desk.driving.set_coverage({"pre_engage_fade": used(desk.table, drive())})
    assert action.enabled(desk)
    assert action.checked(window)
    action.run(window)
    assert not action.checked(window)
    assert desk.driving.cell_marks is None
    assert not clashes(all_actions())
