"""What tests of the formats share."""

from __future__ import annotations

import pytest

from tests.reading_here import read_here


@pytest.fixture
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read without a process for each file; test_reading_damage.py has one for every format."""
    read_here(monkeypatch)
