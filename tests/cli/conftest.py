"""What the verbs' tests share."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from app.__main__ import main
from app.cli import preparing


@pytest.fixture(autouse=True)
def warm(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> None:
    """Leave out the line about compiled code: whether it comes depends on which test is first."""
    if "cold_cache" not in request.fixturenames:
        monkeypatch.setattr(preparing, "say_if_it_takes_long", lambda *_needed: None)


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Run a verb; returns its exit status, its standard output and its standard error."""

    def call(*arguments: object) -> tuple[int, str, str]:
        status = main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        return status, out, err

    return call
