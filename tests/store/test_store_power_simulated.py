"""Power cuts as file systems may leave them: needs no disk of its own, so it runs everywhere."""

from __future__ import annotations

import random
import shutil
import threading
import time
from pathlib import Path

import pytest

from calib_model.store import Journal, Saved, write_set
from tests.store.crashing import START, Said, check_left, read_at_once
from tests.store.editor import edited, save
from tests.store.recorded_disk import WAYS, RecordedDisk, Step

Promise = tuple[int, Said]
"""After so many steps, what was said."""


def session(disk: RecordedDisk, path: Path, chance: random.Random) -> list[Promise]:
    """Edit and save a few times; return what was promised, and when."""
    promised: list[Promise] = []
    stored = read_at_once(path)
    content, history, stamp = stored.set, stored.history, stored.file_stamp
    journal = Journal.start(path, stamp, content, history)
    number = saved_number = 0
    pending: list[dict] = []

    def promise() -> None:
        kept = journal.on_disk  # before the steps are counted: those that made it true are in
        promised.append((len(disk.steps), Said(number, kept, saved_number)))

    def edit() -> None:
        nonlocal content, number
        number += 1
        content, plain = edited(content, number)
        journal.append(plain)
        pending.append(plain)
        promise()

    for _ in range(4):
        for _ in range(chance.randrange(1, 6)):
            edit()
            time.sleep(chance.choice((0, 0.01, 0.12)))
            promise()
        point, snapshot, until = journal.save_point(), content, number
        longer = history.with_entries(pending)
        pending = []
        results: list[Saved] = []
        thread = threading.Thread(target=save, args=(path, snapshot, longer, stamp, point, results))
        thread.start()
        edit()  # while it is saved
        thread.join()
        history, stamp, saved_number = results[0].history, results[0].file_stamp, until
        promise()
        point.saved(path, results[0], snapshot)
        promise()
    time.sleep(0.2)
    promise()
    journal._release()
    return promised


def cuts(root: Path, seed: int, patch: pytest.MonkeyPatch, count: int) -> int:
    """Check so many moments of a session, each as every file system may leave it."""
    shutil.rmtree(root, ignore_errors=True)
    root.mkdir()
    state = root / "state"
    path = root / "larch.h5"
    patch.setenv("BITEPOINT_STATE_DIR", str(state))
    chance = random.Random(seed)
    with patch.context() as recording:
        disk = RecordedDisk(root, recording)
        write_set(path, START, backup=False)
        begun = len(disk.steps)
        promised = session(disk, path, chance)
        steps: list[Step] = list(disk.steps)
    done = 0
    moments = [n for n, _ in promised] + chance.choices(range(begun, len(steps) + 1), k=count)
    for moment in sorted(chance.sample(moments, count)):
        said = max((s for n, s in promised if n <= moment), default=Said(0, 0, 0))
        most = next((s.edit for n, s in promised if n > moment), said.edit)
        for way in WAYS:
            disk.lay_out(steps[:moment], way)
            left = check_left(path, said._replace(edit=most), patch)
            assert left.recovered >= said.kept, (seed, moment, way, said, left)
            done += 1
    return done


def test_a_cut_at_any_step_loses_nothing_that_was_promised(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert cuts(tmp_path / "disk", 1, monkeypatch, 20) == 80


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_nor_do_thousands_of_cuts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for seed in range(2, 22):
        cuts(tmp_path / "disk", seed, monkeypatch, 40)
