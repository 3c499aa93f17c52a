"""A check or a look at the sign-off that ends unexpectedly is told; nothing goes on waiting."""

from __future__ import annotations

import pytest

from app.needs import RELEASE
from app.shell.window import MainWindow


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
