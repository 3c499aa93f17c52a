"""What is written is what is read."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.errors import FileProblem, ModelError, SaveFailed
from calib_model.rules.shape import Slope
from calib_model.store import (
    HistoryColumns,
    image_of,
    open_file,
    read_set,
    read_set_here,
    write_set,
)
from tests.store.making import entries, sets, small_set


def test_a_saved_set_is_read_back_whole(tmp_path: Path) -> None:
    path = tmp_path / "larch – normal.h5"
    history = HistoryColumns().with_entries(entries())
    records = [("remark", {"text": "µ"}), ("waiver", {"cells": [1, 2], "size": 0.5})]
    saved = write_set(path, small_set(), history, records=records)
    stored = read_set(path)
    assert stored.set == small_set()
    assert list(stored.history.entries()) == entries()
    assert list(stored.records) == records
    assert stored.file_stamp == saved.file_stamp
    assert stored.content_sha == saved.content_sha
    assert stored.set["fade"].rules[0] is not None
    assert list(stored.set.tables) == list(small_set().tables)


@given(sets())
def test_any_set_is_read_back_whole(content: CalibrationSet) -> None:
    image, sha = image_of(content)
    stored = read_set_here(image, "any.h5")
    assert stored.set == content
    assert stored.content_sha == sha
    assert image_of(stored.set)[1] == sha


def test_equal_axes_are_kept_once_but_not_shared() -> None:
    twins = [Table(f"t{i}", [1.0, 2.0], (Axis([0.0, 1.0], "x"),)) for i in range(9)]
    stored = read_set_here(image_of(CalibrationSet(twins))[0], "twins.h5").set
    assert len({id(t.axes[0]) for t in stored}) == 1
    assert not stored.shared_axes
    assert all(t.axes[0].shared == "" for t in stored)


def test_values_are_read_only_and_minus_zero_is_zero() -> None:
    values = np.array([-0.0, 1.0])
    values.setflags(write=False)  # such an array passes into a table as it is
    table = read_set_here(image_of(CalibrationSet([Table("t", values, (Axis([0, 1]),))]))[0], "t")
    read = table.set["t"].values
    assert not read.flags.writeable
    assert not np.signbit(read[0])


def test_history_grows_without_being_decoded(tmp_path: Path) -> None:
    path = tmp_path / "grows.h5"
    first = write_set(path, small_set(), HistoryColumns().with_entries(entries(2)))
    again = read_set(path).history
    again.append(*entries(4)[2:])
    saved = write_set(path, small_set(), again, expected_stamp=first.file_stamp)
    assert len(saved.history) == 4
    assert list(read_set(path).history.entries()) == entries(4)
    assert list(again.entries()) == entries(4)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (Table("t", 1.0, name="x" * 3000), "name of table t"),
        (Table("t", 1.0, unit="a\0b"), "unit of table t"),
        (Table("t", 1.0, description="\ud800"), "description of table t"),
    ],
)
def test_what_no_file_can_keep_is_refused_with_its_place(
    table: Table, words: str, tmp_path: Path
) -> None:
    with pytest.raises(ModelError, match=words):
        image_of(CalibrationSet([table]))
    with pytest.raises(SaveFailed, match=words):
        write_set(tmp_path / "never.h5", CalibrationSet([table]))
    assert list(tmp_path.glob("*.h5*")) == []


def test_a_rule_with_an_open_end_is_kept() -> None:
    rule = Slope(axis="1", most=float("-inf"))
    content = CalibrationSet([Table("t", [1.0, 2.0], (Axis([0, 1]),), rules=(rule,))])
    assert read_set_here(image_of(content)[0], "t").set["t"].rules == (rule,)


def test_reading_can_be_called_off_and_runs_beside_other_work(tmp_path: Path) -> None:
    path = tmp_path / "set.h5"
    write_set(path, small_set())
    readings = [open_file(path) for _ in range(3)]
    readings.pop().cancel()
    assert all(reading.result().set == small_set() for reading in readings)


def test_a_reading_that_takes_too_long_is_stopped(tmp_path: Path) -> None:
    path = tmp_path / "set.h5"
    write_set(path, small_set())
    with pytest.raises(FileProblem, match="too long"):
        read_set(path, seconds=0.001)


def test_opening_imports_neither_the_writer_nor_qt(tmp_path: Path) -> None:
    path = tmp_path / "set.h5"
    write_set(path, CalibrationSet([Table("t", 1.0)]))
    script = (
        "import sys; from calib_model.store import read_set; read_set(sys.argv[1]);"
        "bad = [m for m in ('h5py', 'PySide6', 'scipy', 'numba', 'pint') if m in sys.modules];"
        "sys.exit(', '.join(bad) or 0)"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", script, str(path)], cwd=root, capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_the_reading_process_imports_next_to_nothing() -> None:
    script = (
        "import sys, h5py, numpy; before = set(sys.modules);"
        "import calib_model.store.child, calib_model.store.hdf5, calib_model.store.source;"
        "new = {m for m in set(sys.modules) - before if m.startswith('calib_model.')};"
        "print(*sorted(m.split('.', 1)[1] for m in new if 'store' not in m))"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=root, capture_output=True, text=True, check=True
    )
    assert set(done.stdout.split()) == {"core", "core.plain_file", "errors", "foreign_text"}
