"""What the verbs' tests share."""

from __future__ import annotations

import pytest

from app.cli import preparing


@pytest.fixture(autouse=True)
def warm(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> None:
    """Leave out the line about compiled code: whether it comes depends on which test is first."""
    if "cold_cache" not in request.fixturenames:
        monkeypatch.setattr(preparing, "say_if_it_takes_long", lambda *_needed: None)
