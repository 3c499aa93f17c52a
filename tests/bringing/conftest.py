"""Files are read in this process; reading processes are tested where `tests/reading_here` says."""

from __future__ import annotations

import pytest

from tests.reading_here import read_here


@pytest.fixture(autouse=True)
def _here(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> None:
    if "own_process" not in request.fixturenames:
        read_here(monkeypatch)


@pytest.fixture
def own_process() -> None:
    """Have the test's files read in the reading process itself."""
