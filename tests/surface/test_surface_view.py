"""The surface's view where nothing can be drawn: notices, choices, the try, the actions."""

from __future__ import annotations

import json
import os
import sys
from types import SimpleNamespace

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.plots.surface import probe
from app.plots.surface.actions import ACTIONS
from app.plots.surface.camera import Look
from app.plots.surface.view import SurfaceView
from tests.surface.surface_maps import desk_with, fade, hill, uneven, window


@pytest.fixture
def desk(qapp: object) -> Desk:
    return desk_with(uneven(), fade(), window(), hill())


@pytest.fixture
def view(desk: Desk, qtbot: QtBot) -> SurfaceView:
    made = SurfaceView(desk)
    qtbot.addWidget(made)
    made.resize(600, 400)
    made.show()
    made.refresh()
    return made


def test_the_notice_says_what_is_missing_and_what_shows_the_same(view: SurfaceView) -> None:
    text = view.sentence.text()
    assert view.canvas is None
    assert "OpenGL" in text
    assert "heat map" in text
    assert "slices" in text
    assert view.accessibleName() == text


def test_forced_on_it_still_constructs_nothing_that_would_abort(view: SurfaceView) -> None:
    view.set_choice("on")
    view.refresh()
    assert view.canvas is None
    assert "no real screen" in view.sentence.text()


def test_switched_off_it_says_so(view: SurfaceView, qtbot: QtBot) -> None:
    with qtbot.waitSignal(view.choice_changed) as told:
        view.set_choice("off")
    assert told.args == ["off"]
    view.refresh()
    assert "switched off" in view.sentence.text()
    with pytest.raises(ValueError, match="auto, on, off"):
        view.set_choice("maybe")


@pytest.mark.parametrize(("given", "choice"), [("off", "off"), ("ON", "on"), ("odd", "auto")])
def test_the_variable_chooses(
    given: str, choice: str, desk: Desk, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BITEPOINT_SURFACE", given)
    made = SurfaceView(desk)
    qtbot.addWidget(made)
    assert made.choice == choice


def test_a_curve_and_a_scalar_get_a_sentence(view: SurfaceView, desk: Desk) -> None:
    desk.open_table("fade")
    view.refresh()
    assert view.sentence.text() == "Fade is a curve: the curve plot shows it."
    desk.open_table("sync_window")
    view.refresh()
    assert "single value" in view.sentence.text()
    desk.set_current(None)
    view.refresh()
    assert "No table is open" in view.sentence.text()


def test_a_map_of_one_row_gets_a_sentence(qtbot: QtBot) -> None:
    from calib_model.core.axis import Axis

    table = uneven(values=np.ones((1, 6)), axes=(Axis([3.0], "t"), uneven().axes[1]))
    made = SurfaceView(desk_with(table))
    qtbot.addWidget(made)
    made.show()
    made.refresh()
    assert "single breakpoint" in made.sentence.text()


def test_there_is_nothing_to_copy(view: SurfaceView, desk: Desk, qtbot: QtBot) -> None:
    assert view.picture().isNull()
    with qtbot.waitSignal(desk.told) as told:
        assert not view.copy_picture()
    assert told.args[1] is True


def test_it_waits_for_the_try_and_then_draws_or_not(
    view: SurfaceView, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot
) -> None:
    answers: list[probe.Answer | None] = [None, None, probe.Answer(False, "No luck here.")]
    monkeypatch.setattr(probe, "PLATFORMS_WITHOUT", ())
    monkeypatch.setattr(
        probe, "ask", lambda platform: answers.pop(0) if answers[1:] else answers[0]
    )
    view.set_choice("off")
    view.set_choice("auto")
    view.refresh()
    assert view.sentence.text().startswith("Trying")
    qtbot.waitUntil(lambda: "No luck here." in view.sentence.text(), timeout=3000)
    assert "Always draw" in view.sentence.text()


# -- the try ---------------------------------------------------------------------------------


def child(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def test_a_good_answer_is_read() -> None:
    plain = json.dumps({"works": True, "missing": "", "details": "OpenGL 4.6, Some Card 5"})
    answer = probe.Probe("xcb", child(f"print('noise'); print({plain!r})")).wait()
    assert answer == probe.Answer(True, "", "OpenGL 4.6, Some Card 5")
    assert answer.accelerated
    assert not probe.Answer(True, "", "OpenGL 4.5, llvmpipe (LLVM 15)").accelerated


def test_a_child_that_dies_means_no() -> None:
    answer = probe.Probe("xcb", child("import os; os.abort()")).wait()
    assert not answer.works
    assert "ended the process" in answer.missing


def test_a_child_that_hangs_is_ended() -> None:
    running = probe.Probe("xcb", child("import time; time.sleep(60)"), limit=0.3)
    assert running.poll() is None
    answer = running.wait()
    assert not answer.works
    assert "0.3 s" in answer.missing
    assert running._process is not None
    assert running._process.returncode is not None


def test_a_child_that_talks_nonsense_means_no() -> None:
    answer = probe.Probe("xcb", child("print('[1, 2]')")).wait()
    assert not answer.works


def test_a_child_that_cannot_start_means_no() -> None:
    answer = probe.Probe("xcb", ["./there-is-no-such-program"]).wait()
    assert not answer.works
    assert "could not be started" in answer.missing


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="two ways to OpenGL: Linux only")
def test_the_other_way_to_opengl_is_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PYOPENGL_PLATFORM", raising=False)
    code = (
        "import os, json; way = os.environ.get('PYOPENGL_PLATFORM', '');"
        "print(json.dumps({'works': way == 'glx', 'missing': 'x', 'details': 'OpenGL 3'}))"
    )
    answer = probe.Probe("xcb", child(code)).wait()
    assert answer.works
    assert answer.binding == "glx"
    monkeypatch.setattr(probe, "_known", {})
    monkeypatch.setenv("PYOPENGL_PLATFORM", "")
    probe.remember("made-up", answer)
    assert os.environ["PYOPENGL_PLATFORM"] == "glx"
    assert probe.ask("made-up") == answer


def test_offscreen_is_known_without_a_try() -> None:
    answer = probe.known("offscreen")
    assert answer is not None
    assert not answer.works


# -- actions ---------------------------------------------------------------------------------


def test_actions_are_well_formed() -> None:
    ids = [row.id for row in ACTIONS]
    assert len(set(ids)) == len(ids)
    assert all(row.menu.lstrip("-") == "View/&Surface" for row in ACTIONS)
    assert all(row.tip.endswith(".") for row in ACTIONS)
    marks = [row.text[row.text.index("&") + 1].lower() for row in ACTIONS]
    assert len(set(marks)) == len(marks)


def test_actions_do_nothing_without_a_surface() -> None:
    asked: list[str] = []
    plots = SimpleNamespace(
        surface=None,
        shows_surface=False,
        surface_choice="",
        show_surface=lambda: asked.append("show"),
        set_surface_choice=asked.append,
    )
    bare = SimpleNamespace(plots=plots)
    for row in ACTIONS:
        row.run(bare)
        assert row.checked is None or row.checked(bare) is False
    assert asked == ["show", "auto", "on", "off"]  # for the panel, which keeps the choice


def test_actions_reach_the_surface(view: SurfaceView, desk: Desk) -> None:
    plots = SimpleNamespace(surface=view, set_surface_choice=view.set_choice)
    held = SimpleNamespace(plots=plots)
    rows = {row.id: row for row in ACTIONS}
    rows["surface.top"].run(held)
    assert (view.camera.azimuth, view.camera.elevation) == Look.TOP.value
    rows["surface.perspective"].run(held)
    assert not view.camera.perspective
    checked = rows["surface.perspective"].checked
    assert checked is not None
    assert checked(held) is False
    rows["surface.off"].run(held)
    assert view.choice == "off"
    assert rows["surface.front"].enabled(desk)
    desk.open_table("fade")
    assert not rows["surface.front"].enabled(desk)
    assert rows["surface.auto"].enabled(desk)


def test_a_proposal_takes_the_place_of_the_saved_state(view: SurfaceView, desk: Desk) -> None:
    table = desk.table
    assert table is not None
    desk.propose({table.id: table.with_values(table.values + 1.0)})
    assert [layer.name for layer in view.shown_layers(table)][1] == "as proposed"
    desk.propose(None)
    assert "as proposed" not in [layer.name for layer in view.shown_layers(table)]
