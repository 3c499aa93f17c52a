"""Writing and opening a set of 30,000 tables, against plain h5py over the same columns.

The goals (save under 3 s, open under 1 s) are for a machine that does nothing else.  The best of
three runs is held against them; on a busy machine the ratio to the plain pass, which is slowed
down alike, stands in for the time.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.store import HistoryColumns, Journal, launch, read_set, write_set
from calib_model.store.encode import encode
from tests.benchmarks.conftest import Best
from tests.generated import generated_set
from tests.store.making import entries

Record = Callable[[str, object], None]


def plain_write(path: Path, columns: dict[str, np.ndarray]) -> None:
    """The same columns, packed the same way, without checks, names or safety."""
    with h5py.File(path, "w") as file:
        for name, column in columns.items():
            if column.size:
                file.create_dataset(
                    name, data=column, compression="gzip", compression_opts=1, fletcher32=True,
                    shuffle=column.dtype.kind != "S",
                )  # fmt: skip


def plain_read(path: Path) -> dict[str, np.ndarray]:
    """Every column as an array."""
    with h5py.File(path) as file:
        return {name: file[name][...] for name in file}


@pytest.fixture(scope="module")
def content(timed: bool) -> CalibrationSet:
    """So many tables, even where no time is judged, that a column is kept in several chunks."""
    return generated_set(30_000 if timed else 10_000)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("bench")


def test_save_30000_tables(
    content: CalibrationSet,
    folder: Path,
    record_testsuite_property: Record,
    timed: bool,
    best: Best,
) -> None:
    history = HistoryColumns().with_entries(entries(500))
    columns = encode(content, history.columns()).columns
    plain, _ = best(lambda: plain_write(folder / "plain.h5", columns), clock=time.perf_counter)
    ours, _ = best(lambda: write_set(folder / "set.h5", content, history), clock=time.perf_counter)
    record_testsuite_property("save 30,000 tables: seconds", round(ours, 3))
    record_testsuite_property("save: times a plain h5py pass", round(ours / plain, 1))
    record_testsuite_property("size in MiB", round((folder / "set.h5").stat().st_size / 2**20, 1))
    assert not timed or ours < max(3.0, 8 * plain)


def work() -> float:
    """Seconds of work of this process, of those it started, and of the one that reads for it."""
    times = os.times()
    seconds = times.user + times.system + times.children_user + times.children_system
    for child in launch._resting:
        stat = Path(f"/proc/{child.process.pid}/stat").read_text().rsplit(")", 1)[1].split()
        seconds += sum(map(int, stat[11:15])) / os.sysconf("SC_CLK_TCK")
    return seconds


def of_each(job: Callable[[], object], rounds: int) -> float:
    """Seconds of work of one of several rounds: the system counts in hundredths."""
    start = work()
    for _ in range(rounds):
        job()
    return (work() - start) / rounds


def test_open_30000_tables(
    content: CalibrationSet, folder: Path, record_testsuite_property: Record, timed: bool
) -> None:
    columns = encode(content, {}).columns
    plain_write(folder / "plain.h5", columns)
    write_set(folder / "set.h5", content)
    launch.end_resting()
    rounds = 8 if timed else 1
    before = work()
    stored = read_set(folder / "set.h5")
    launch.end_resting()
    first = work() - before
    assert stored.set == content
    with h5py.File(folder / "set.h5") as file:
        assert file["values"].id.get_num_chunks() > 1
    read_set(folder / "set.h5")
    plain, ours = float("inf"), float("inf")
    for _ in range(3 if timed else 1):
        plain = min(plain, of_each(lambda: plain_read(folder / "plain.h5"), rounds))
        ours = min(ours, of_each(lambda: read_set(folder / "set.h5"), rounds))
    launch.end_resting()
    record_testsuite_property("open 30,000 tables: seconds of work", round(ours, 3))
    record_testsuite_property("open: times a plain h5py pass", round(ours / plain, 1))
    record_testsuite_property("open, process started anew: times", round(first / plain, 1))
    # 3.2 to 3.4; with a reading process started for it 4.7.
    assert not timed or ours < 4.5 * plain
    assert not timed or first < 6.5 * plain


def test_journal_one_edit(
    content: CalibrationSet, folder: Path, record_testsuite_property: Record, timed: bool
) -> None:
    saved = write_set(folder / "set.h5", content)
    journal = Journal.start(folder / "set.h5", saved.file_stamp, content, HistoryColumns())
    (entry,) = entries(1)
    start = time.perf_counter()
    journal.append(entry)
    first = time.perf_counter() - start
    start = time.perf_counter()
    for _ in range(200):
        journal.append(entry)
    each = (time.perf_counter() - start) / 200
    assert journal.problem == ""
    journal.close()
    record_testsuite_property("journal, first edit: ms", round(first * 1000, 2))
    record_testsuite_property("journal, each further edit: ms", round(each * 1000, 3))
    assert not timed or first < 0.2
    assert not timed or each < 0.005
