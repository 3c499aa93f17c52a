"""A check or a look at the sign-off that ends unexpectedly is told; nothing goes on waiting."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from app.needs import RELEASE
from app.shell.settings import Settings
from app.shell.start import load_parts
from app.shell.window import MainWindow
from app.tune.shape.tool import Question
from app.work.latest import Latest


def fail(*_arguments: object) -> None:
    raise RuntimeError("out of luck")


def test_a_check_that_fails_is_told(
    opened: MainWindow, wait, qtbot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.shell.findings_service._check", fail)
    with qtbot.capture_exceptions() as caught:
        opened.findings_service.refresh()
        wait(lambda: bool(caught))
    assert [str(value) for _, value, _ in caught] == ["out of luck"]
    assert "out of luck" in opened.tune.findings._heading.text()
    assert "not checked" in opened.status.findings.text()
    monkeypatch.undo()
    opened.findings_service.refresh()
    wait()
    assert "out of luck" not in opened.tune.findings._heading.text()
    assert opened.desk.report is not None


def test_a_sign_off_that_cannot_be_looked_at_is_told(
    opened: MainWindow, wait, qtbot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.release.service.stand", fail)
    with qtbot.capture_exceptions() as caught:
        opened.show_area(RELEASE)
        wait(lambda: bool(caught))
    assert {str(value) for _, value, _ in caught} == {"out of luck"}
    page = opened.areas.page(RELEASE)
    assert "out of luck" in page.progress.text()


def test_shape_keeps_the_relations_of_the_programme_beside_the_set(
    opened: MainWindow, samples: dict[str, Path], wait, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It saw the reference only, so that a proposal could break what the findings then named."""
    opened.files.open([samples["low_grip"]])
    wait(lambda: len(opened.desk.documents) == 3)
    opened.desk.set_reference(None)
    opened.desk.set_current(opened.desk.documents[-1])
    programme = 'programme = "Larch"\nbase = "normal"\n[sets]\n'
    programme += "".join(f'{mode} = "larch_{mode}.h5"\n' for mode in ("normal", "low_grip"))
    (samples["low_grip"].parent / "larch.toml").write_text(programme, encoding="utf-8")
    opened.company.look()
    wait(lambda: bool(opened.company.sets()))
    asked: list[Question] = []
    monkeypatch.setattr("app.tune.shape.panel._answer", lambda _t, q: asked.append(q) or "seen")
    opened.desk.open_table("pre_engage_torque")
    opened.tune.show_tool("nearest")
    wait(lambda: bool(asked))
    assert [content.mode for content in asked[-1].against] == ["normal"]


def test_closing_the_window_ends_what_its_parts_wait_for(opened: MainWindow) -> None:
    """A part's open question, and the process it waits for; only the jobs were ended before."""
    stop, answers = threading.Event(), []
    latest = Latest(opened.tune, answers.append, answers.append, stop.set)
    latest.ask(lambda: stop.wait(10))
    assert latest.busy
    opened.close()
    assert stop.is_set()
    assert not latest.busy
    latest.wait()
    assert answers == []


def test_a_start_that_fails_says_so_where_the_page_would_be(
    qtbot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.shell.start._import_plots", fail)
    made = MainWindow(Settings())
    qtbot.addWidget(made)
    with qtbot.capture_exceptions() as caught:
        load_parts(made)
        qtbot.waitUntil(lambda: not made.jobs.running)
    assert [str(value) for _, value, _ in caught] == ["out of luck"]
    assert "out of luck" in made.starting.text()
    made.recovery.leave()
