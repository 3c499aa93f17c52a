"""The live strip: off at first, follows edits without holding them up, says what changed."""

from __future__ import annotations

import subprocess

import numpy as np
import pytest
import shiboken6

from app.desk import Desk
from app.driving.limits import Forgetful
from app.driving.model import VehicleModel
from app.driving.service import Driving
from app.driving.strip import LiveStrip
from calib_model.editing.blocks import scale
from calib_model.editing.change import values_change
from tests.driving.fake_driving import FakeModel, torque_of
from tests.waiting import drained, settled


@pytest.fixture
def strip(qtbot, desk: Desk, driving: Driving, memory: Forgetful) -> LiveStrip:  # type: ignore[no-untyped-def]
    made = LiveStrip(desk)
    qtbot.addWidget(made)
    made.remember_in(memory)
    made.resize(1100, 160)
    made.show()
    return made


def edit(desk: Desk, factor: float) -> None:
    table = desk.table
    assert table is not None
    whole = np.ones(table.shape, dtype=bool)
    assert desk.do(values_change(table, scale(table, whole, factor), "Scale"))


def test_it_is_off_until_it_is_switched_on(strip: LiveStrip, desk: Desk, model: FakeModel) -> None:
    edit(desk, 1.1)
    strip.wait()
    assert not strip.on
    assert not strip.body.isVisible()
    assert model.driven == []
    assert "Off" in strip.state.whole


def test_the_switch_and_the_manoeuvre_are_remembered(
    qtbot,  # type: ignore[no-untyped-def]
    strip: LiveStrip,
    desk: Desk,
    memory: Forgetful,
) -> None:
    strip.switch_to(True)
    strip.choice.setCurrentIndex(2)
    strip.choice.activated.emit(2)
    strip.wait()
    again = LiveStrip(desk)
    qtbot.addWidget(again)
    again.remember_in(memory)
    qtbot.waitUntil(lambda: again.on)
    again.wait()
    assert again.choice.currentData() == "parking_circle"
    strip.switch_to(False)
    third = LiveStrip(desk)
    qtbot.addWidget(third)
    third.remember_in(memory)
    settled(qtbot, third)
    assert not third.on


def test_an_edit_shows_before_and_after(strip: LiveStrip, desk: Desk) -> None:
    strip.switch_to(True)
    strip.wait()
    before = torque_of(desk.current.content)  # type: ignore[union-attr]
    assert "nothing changed against as saved" in strip.state.whole
    edit(desk, 0.5)
    strip.wait()
    after = torque_of(desk.current.content)  # type: ignore[union-attr]
    assert after < before
    # The fake's time is 1000 s.N.m over the mean torque.
    assert f"Time to 30 km/h: {1000 / after:.4g} s" in strip.measures.text()
    assert "✗ worse" in strip.measures.text()
    assert "dashed: as saved" in strip.state.whole
    torque = strip._rows[0]
    assert torque.row.id == "torque"
    now, saved = (torque._lines[part, 0][0].getData()[1] for part in ("now", "saved"))
    assert now[0] == pytest.approx(after)
    assert saved[0] == pytest.approx(before)


def test_a_run_that_ends_unexpectedly_is_told(
    qtbot,  # type: ignore[no-untyped-def]
    strip: LiveStrip,
    model: FakeModel,
) -> None:
    def fail(*_arguments: object) -> None:
        raise RuntimeError("out of luck")

    model.drive = fail  # type: ignore[assignment, method-assign]
    with qtbot.capture_exceptions() as caught:
        strip.switch_to(True)
        strip.wait()
    assert [str(value) for _, value, _ in caught] == ["out of luck"]
    assert "out of luck" in strip.state.whole


def test_edits_do_not_wait_and_only_the_latest_counts(
    qtbot,  # type: ignore[no-untyped-def]
    strip: LiveStrip,
    desk: Desk,
    model: FakeModel,
) -> None:
    strip.switch_to(True)
    strip.wait()
    model.driven.clear()
    model.hold.clear()  # the run that begins now does not end
    edit(desk, 0.9)
    qtbot.waitUntil(lambda: strip._latest_run.busy and not strip._timer.isActive())
    for _ in range(5):
        edit(desk, 0.9)  # each comes back at once
        drained()
    shown = []
    strip.refreshed.connect(lambda: shown.append(strip.measures.text()))
    model.hold.set()
    latest = torque_of(desk.current.content)  # type: ignore[union-attr]
    qtbot.waitUntil(lambda: f"{1000 / latest:.4g} s" in strip.measures.text())
    assert len(model.driven) <= 3  # of six edits: the first, the latest, the saved one is kept
    assert f"{1000 / latest:.4g} s" in shown[-1]


def test_against_before_the_last_edit(strip: LiveStrip, desk: Desk) -> None:
    strip.against.setCurrentIndex(1)
    strip.switch_to(True)
    strip.wait()
    edit(desk, 0.5)
    strip._edited_at = 0.0  # long ago
    between = torque_of(desk.current.content)  # type: ignore[union-attr]
    edit(desk, 0.8)
    strip.wait()
    saved = strip._rows[0]._lines["saved", 0][0].getData()[1]
    assert saved[0] == pytest.approx(between)
    assert "before the last edit" in strip.state.whole


def test_a_run_that_was_not_completed_is_told_and_not_drawn(strip: LiveStrip) -> None:
    strip.switch_to(True)
    strip.choice.setCurrentIndex(3)
    strip.choice.activated.emit(3)
    strip.wait()
    assert "rolled over after 2.1 s" in strip.state.whole
    assert not any(row.isVisible() for row in strip._rows)


def test_what_takes_no_part_is_named(strip: LiveStrip, model: FakeModel, desk: Desk) -> None:
    model.remarks = ("slip_gain: no table plays this part.", "hill_torque: it has empty cells.")
    strip.switch_to(True)
    strip.wait()
    assert "slip_gain" in strip.state.whole
    assert "1 more" in strip.state.whole


def test_trouble_with_the_compiled_code_is_said(
    qtbot,  # type: ignore[no-untyped-def]
    desk: Desk,
    memory: Forgetful,
) -> None:
    model = FakeModel()
    model.trouble = "numba is not installed."
    Driving(desk, memory, model)
    strip = LiveStrip(desk)
    qtbot.addWidget(strip)
    strip.switch_to(True)
    strip.wait()
    assert "numba is not installed" in strip.state.whole
    assert model.driven == []


def test_preparing_ends_with_the_desk(memory: Forgetful) -> None:
    model = FakeModel()
    desk = Desk()
    Driving(desk, memory, model)
    shiboken6.delete(desk)
    assert model.stopped


def test_a_process_that_prepares_is_ended(qtbot, memory: Forgetful, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    model = VehicleModel()
    code = "import threading; threading.Event().wait()"
    real = subprocess.Popen
    monkeypatch.setattr(
        subprocess, "Popen", lambda command, **how: real([*command[:2], code], **how)
    )
    desk = Desk()
    driving = Driving(desk, memory, model)
    driving.prepare()
    qtbot.waitUntil(lambda: model._warming._child is not None)
    child = model._warming._child
    assert child is not None
    assert child.poll() is None
    shiboken6.delete(desk)
    assert child.wait(10) != 0


def test_an_unforeseen_error_is_told_and_goes_to_the_crash_dialog(  # type: ignore[no-untyped-def]
    qtbot, memory: Forgetful, monkeypatch
) -> None:
    model = FakeModel()

    def fail() -> str:
        raise ZeroDivisionError("unforeseen")

    monkeypatch.setattr(model, "prepare", fail)
    desk = Desk()
    driving = Driving(desk, memory, model)
    with qtbot.captureExceptions() as raised:
        driving.prepare()
        qtbot.waitUntil(lambda: driving.state == "failed")
        driving.wait()
    assert "unforeseen" in driving.trouble
    assert [kind for kind, *_ in raised] == [ZeroDivisionError]
