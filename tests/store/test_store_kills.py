"""Killed at any moment: the file is old or new, and at most the last edit is missing."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from calib_model.store import write_set
from tests.store.crashing import START, Left, Said, check_left, editors

KILLS = int(os.environ.get("BITEPOINT_TEST_KILLS", "200"))


def kills(folder: Path, seeds: range, patch: pytest.MonkeyPatch) -> None:
    results: list[tuple[Said, Left]] = []
    with editors(folder) as running:
        for seed in seeds:
            own = folder / str(seed)
            own.mkdir()
            patch.setenv("BITEPOINT_STATE_DIR", str(own / "state"))
            path = own / "larch.h5"
            write_set(path, START, backup=False)
            said = running.run(path, own / "state", seed)
            left = check_left(path, said, patch)
            assert said.edit <= left.recovered, f"run {seed}: {said}, {left}"
            results.append((said, left))
            shutil.rmtree(own)
    # The kills did fall into editing and saving, or the test would show nothing.
    assert sum(said.edit > 0 for said, _ in results) > len(results) // 2
    assert any(said.edit > left.in_file for said, left in results)
    assert any(left.in_file > 0 for _, left in results)
    edits = sum(said.edit for said, _ in results)
    print(f"{len(results)} kills, {edits} edits recorded, none lost")


def test_ten_kills(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kills(tmp_path, range(10), monkeypatch)


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_many_kills(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As many as ``BITEPOINT_TEST_KILLS`` says."""
    kills(tmp_path, range(1000, 1000 + KILLS), monkeypatch)
