"""What unpacks to gigabytes is refused in words, within five seconds of work and 1 GiB.

Before there were bounds per dimension these took up to 8 GiB, or over a minute.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from calib_model.store import HistoryColumns, history
from calib_model.store.history import MOST_ROWS
from tests.hostile.large_files import LARGEST, RECORDINGS, SETS
from tests.hostile.large_tables import LET_THROUGH, TOO_LARGE
from tests.hostile.measured import opened
from tests.store.making import entries

pytestmark = [
    pytest.mark.skipif(not sys.platform.startswith("linux"), reason="peaks are read from /proc"),
    pytest.mark.timeout(300),
]


@pytest.mark.parametrize("kind", SETS)
def test_a_set_that_unpacks_large_is_refused(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "large.h5"
    path.write_bytes(SETS[kind]())
    assert path.stat().st_size < 8 << 20  # small enough for a mail
    found = opened("set_file", path)
    found.require_bounded()
    assert found.said.startswith("refused: "), found
    assert "Restore the file" in found.said


@pytest.mark.slow
@pytest.mark.parametrize("kind", LARGEST)
def test_the_largest_set_that_is_let_through_stays_within_the_bounds(
    kind: str, tmp_path: Path
) -> None:
    path = tmp_path / "largest.h5"
    path.write_bytes(LARGEST[kind]())
    found = opened("set_file", path)
    found.require_bounded()
    assert found.said.startswith("opened: "), found


@pytest.mark.parametrize("kind", RECORDINGS)
def test_a_recording_that_unpacks_large_is_refused(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "recording"
    RECORDINGS[kind](path)
    found = opened("recording", path)
    found.require_bounded()
    assert found.said.startswith("refused: "), found


@pytest.mark.parametrize("kind", TOO_LARGE)
def test_a_file_of_tables_that_unfolds_large_is_refused(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "tables"
    TOO_LARGE[kind](path)
    found = opened("tables", path)
    found.require_bounded()
    assert found.said.startswith("refused: "), found


@pytest.mark.slow
@pytest.mark.parametrize("kind", LET_THROUGH)
def test_the_largest_file_of_tables_that_is_let_through_stays_within_the_bounds(
    kind: str, tmp_path: Path
) -> None:
    path = tmp_path / "tables"
    LET_THROUGH[kind](path)
    found = opened("tables", path)
    found.require_bounded()
    assert found.said.startswith("opened: "), found


def test_a_history_that_is_full_loses_its_oldest_entries_and_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A save that failed for its history would lose the work itself."""
    monkeypatch.setattr(history, "MOST_ROWS", {**MOST_ROWS, "entry": 40, "edit": 60})
    given = entries(50)
    packed = HistoryColumns().with_entries(given).packed()
    kept = list(packed.entries())
    assert 10 <= len(kept) <= 20
    left_out = 50 - len(kept) + 1
    assert kept[0]["title"] == f"{left_out} older entries were left out: the history was full"
    assert kept[1:] == given[-len(kept) + 1 :]
    assert HistoryColumns().with_entries(given[:20]).packed().columns()["entry_time"].size == 20
