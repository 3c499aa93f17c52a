"""The power goes at any moment: what was said to be saved or kept is there."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from calib_model.store import write_set
from tests.store.crashing import START, Left, Said, check_left, editors
from tests.store.small_disk import NoDisk, small_disk

CUTS = int(os.environ.get("BITEPOINT_TEST_CUTS", "200"))


def cuts(folder: Path, seeds: range, patch: pytest.MonkeyPatch) -> None:
    results: list[tuple[Said, Left]] = []
    with small_disk(folder) as disk, editors(folder) as running:
        for seed in seeds:
            disk.fresh()
            path, state = disk.root / "larch.h5", disk.root / "state"
            patch.setenv("BITEPOINT_STATE_DIR", str(state))
            write_set(path, START, backup=False)
            said = running.run(path, state, seed, disk.cut)
            disk.leave()
            disk.mount()
            left = check_left(path, said, patch)
            assert said.kept <= left.recovered, f"run {seed}: {said}, {left}"
            results.append((said, left))
    # The cuts did fall into editing, with edits that only the journal held, or nothing is shown.
    assert any(said.kept > left.in_file for said, left in results)
    assert any(left.in_file > 0 for _, left in results)
    kept = sum(said.kept for said, _ in results)
    print(f"{len(results)} cuts, {kept} edits kept, none lost")


def test_eight_cuts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    try:
        cuts(tmp_path, range(8), monkeypatch)
    except NoDisk as reason:
        pytest.skip(str(reason))


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_many_cuts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As many as ``BITEPOINT_TEST_CUTS`` says."""
    try:
        cuts(tmp_path, range(1000, 1000 + CUTS), monkeypatch)
    except NoDisk as reason:
        pytest.skip(str(reason))
