"""Killed at any moment: the file is old or new, and at most the last edit is missing."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from calib_model.editing.change import apply, change_from_plain
from calib_model.store import list_leftovers, read_set, write_set
from tests.store.making import small_set

ROOT = Path(__file__).resolve().parents[2]
START = small_set().with_table(small_set()["tick"].with_values(0.0))
EDITOR = Path(__file__).with_name("editor.py")


def kill_once(folder: Path, seed: int) -> tuple[int, int, int]:
    """Kill an editing process once and check what is left.

    Returns
    -------
    tuple of int
        Edits recorded, edits in the file, edits recovered.
    """
    path = folder / "larch.h5"
    write_set(path, START, backup=False)
    process = subprocess.Popen(
        [sys.executable, str(EDITOR), str(path), str(seed)], cwd=ROOT, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=subprocess.PIPE,
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    time.sleep(random.Random(seed).uniform(0.0, 0.5))
    process.kill()
    lines = process.stdout.read().split("\n")[:-1]  # the last line may be half of one
    process.stdout.close()
    assert process.wait() != 0
    numbers = {"edit": [0], "saved": [0]}
    for line in lines:
        kind, number = line.split()
        numbers[kind].append(int(number))
    recorded, saved = numbers["edit"][-1], numbers["saved"][-1]

    stored = read_set(path)  # whole, whatever happened
    in_file = int(stored.set["tick"].values)
    assert in_file >= saved, "a finished save is gone"
    state = stored.set
    leftovers = list_leftovers(path)
    assert len(leftovers) <= 1
    for leftover in leftovers:
        base, changes, _ = leftover.load()
        assert not leftover.damaged or len(changes) >= recorded - saved
        state = base.set
        for change in changes:
            state = apply(state, change_from_plain(change))
        leftover.discard()
    recovered = int(state["tick"].values)
    assert state == START.with_table(START["tick"].with_values(float(recovered)))
    assert recorded <= recovered <= recorded + 1, f"{recorded} recorded, {recovered} recovered"
    assert in_file <= recovered
    done = [e["title"] for e in stored.history.entries()]
    assert done == [f"Set to {n + 1}" for n in range(in_file)], "history and content disagree"
    assert list_leftovers() == []
    return recorded, in_file, recovered


def kills(folder: Path, seeds: range, monkeypatch: pytest.MonkeyPatch) -> None:
    results = []
    for seed in seeds:
        own = folder / str(seed)
        own.mkdir()
        monkeypatch.setenv("BITEPOINT_STATE_DIR", str(own / "state"))
        results.append(kill_once(own, seed))
        shutil.rmtree(own)
    # The kills did fall into editing and saving, or the test would show nothing.
    assert sum(recorded > 0 for recorded, _, _ in results) > len(results) // 2
    assert any(recorded > in_file for recorded, in_file, _ in results)
    assert any(in_file > 0 for _, in_file, _ in results)


def test_ten_kills(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kills(tmp_path, range(10), monkeypatch)


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_two_hundred_kills(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kills(tmp_path, range(1000, 1200), monkeypatch)
