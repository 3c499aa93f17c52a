"""The reading process is kept, and reads each file in a copy of itself."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from calib_model.core.axis import Axis
from calib_model.core.table import Table, are_ids, check_id
from calib_model.errors import DamagedFile, ModelError
from calib_model.store import decode, launch, read_set, write_set
from calib_model.store.child import FILE_SECONDS
from calib_model.store.encode import encode
from calib_model.store.launch import Child, end_resting
from calib_model.store.message import read_header
from calib_model.store.migrate import to_current
from tests.generated import generated_set
from tests.store.making import small_set

ROOT = Path(__file__).resolve().parents[2]
linux = pytest.mark.skipif(sys.platform != "linux", reason="files are read in copies on Linux only")


@pytest.fixture
def file(tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "larch.h5"
    write_set(path, small_set())
    end_resting()
    yield path
    end_resting()


def resting() -> list[int]:
    return [child.process.pid for child in launch._resting]


@linux
def test_one_process_reads_one_file_after_another(file: Path) -> None:
    assert read_set(file).set == small_set()
    kept = resting()
    assert len(kept) == 1
    assert read_set(file).set == small_set()
    assert resting() == kept


@linux
def test_after_a_file_that_was_refused_none_is_kept(file: Path) -> None:
    read_set(file)
    file.write_bytes(file.read_bytes()[:-500])
    with pytest.raises(DamagedFile):
        read_set(file)
    assert resting() == []


@linux
def test_one_that_ended_meanwhile_is_replaced(file: Path) -> None:
    read_set(file)
    (pid,) = resting()
    launch._resting[0].process.kill()
    launch._resting[0].process.wait()
    assert read_set(file).set == small_set()
    assert resting() != [pid]


def test_a_relative_name_means_the_folder_the_user_stands_in_now(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_set(file)
    monkeypatch.chdir(file.parent)
    assert read_set(Path(file.name)).set == small_set()


@linux
def test_a_copy_of_this_process_has_its_own(file: Path) -> None:
    read_set(file)
    kept = resting()
    copy = os.fork()
    if not copy:
        status = 1
        try:
            assert resting() == []
            status = int(read_set(file).set != small_set())
            end_resting()
        finally:
            os._exit(status)
    assert os.waitpid(copy, 0)[1] == 0
    assert read_set(file).set == small_set()
    assert resting() == kept


def in_a_process(code: str) -> subprocess.CompletedProcess[str]:
    script = f"import os, signal, sys\nfrom calib_model.store import child\n{code}"
    return subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True)


@linux
@pytest.mark.parametrize("how", [signal.SIGSEGV, signal.SIGXCPU, signal.SIGKILL])
def test_a_copy_that_ends_badly_takes_its_process_with_it(how: signal.Signals) -> None:
    done = in_a_process(
        "child.limit_resources()\n"
        f"child.answer = lambda *_: os.kill(os.getpid(), {int(how)})\n"
        "child.answered_by_a_copy({}, None)\nprint('went on')"
    )
    assert (done.returncode, done.stdout) == (-how, "")


@linux
def test_an_answer_that_breaks_off_ends_both() -> None:
    done = in_a_process("child.answered_by_a_copy({}, None)\nprint('went on')")
    assert (done.returncode, done.stdout) == (1, "")


@linux
def test_what_a_copy_does_stays_there_and_it_may_start_no_process() -> None:
    done = in_a_process(
        "import resource as r\n"
        "def answer(request, target):\n"
        "    child.spoilt = True\n"
        "    limits = [r.getrlimit(what)[0] for what in (r.RLIMIT_NPROC, r.RLIMIT_CPU)]\n"
        "    os.write(1, repr(limits).encode())\n"
        "child.answer = answer\n"
        "for _ in range(2):\n"
        "    assert child.answered_by_a_copy({}, None)\n"
        "    assert not hasattr(child, 'spoilt')"
    )
    # Each has the seconds of work of one file, and the start of a second for none used yet.
    seconds = {str(FILE_SECONDS), str(FILE_SECONDS + 1)}
    assert done.returncode == 0, done.stderr
    assert set(done.stdout.strip("[]").replace("][", ", ").split(", ")) <= {"0", *seconds}
    assert done.stdout.count("[0, ") == 2


@linux
def test_ending_a_process_ends_the_copy_that_reads() -> None:
    child = Child(module="tests.store.forking_reader")
    header = read_header(child.read)
    assert header is not None
    child.end()

    def gone() -> bool:
        stat = Path(f"/proc/{header['copy']}/stat")
        try:
            return stat.read_text().rsplit(")", 1)[1].split()[0] in "ZX"
        except OSError:
            return True

    give_up = time.monotonic() + 20
    while not gone():
        assert time.monotonic() < give_up
        time.sleep(0.01)


def test_tables_made_in_bulk_are_those_made_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    neutral = to_current(encode(generated_set(200), {}))
    bulk, _ = decode.decode(neutral, Path("a.h5"))
    monkeypatch.setattr(decode, "_is_sound", lambda *_: False)
    each, _ = decode.decode(neutral, Path("a.h5"))
    assert bulk == each == generated_set(200)
    for one, other in zip(bulk, each, strict=True):
        for name in Table.__dataclass_fields__:
            assert type(getattr(one, name)) is type(getattr(other, name)), name
        for axis in one.axes:
            assert axis == Axis(*(getattr(axis, name) for name in Axis.__dataclass_fields__))
            assert not axis.values.flags.writeable
        assert one.values.flags.c_contiguous
        assert not one.values.flags.writeable


@pytest.mark.parametrize(
    "wrong",
    [{"table": [b"a b"]}, {"table": [b"x" * 201]}, {"table": [b"a\0b"]}, {"table": ["ä".encode()]},
     {"lower": [np.nan]}, {"upper": [np.nan]}, {"table": [b""]}],
    ids=["sign", "long", "nul", "letter", "lower", "upper", "empty"],
)  # fmt: skip
def test_what_a_table_refuses_is_refused_in_bulk(wrong: dict[str, list[object]]) -> None:
    neutral = to_current(encode(generated_set(40), {}))
    for name, (value,) in wrong.items():
        column = neutral.columns[name]
        column = column.astype("S201") if column.dtype.kind == "S" else column.copy()
        column[7] = value
        neutral.columns[name] = column
    with pytest.raises(DamagedFile, match=r"cannot be an id|is not a number"):
        decode.decode(neutral, Path("a.h5"))


def test_ids_are_told_alike_one_by_one_and_together() -> None:
    texts = ["a", "A.b_[0]", "x" * 200, "", "x" * 201, "a b", "a\0", "é", "a\n", "-", "٣"]
    for text in texts:
        try:
            check_id(text)
            alone = True
        except ModelError:
            alone = False
        assert are_ids([text]) is are_ids(["first", text]) is alone, text
    assert are_ids([])


def test_columns_that_do_not_fit_make_no_tables() -> None:
    with pytest.raises(ValueError, match="shorter"):
        Table.of_checked(["a"], [np.zeros(())])
    with pytest.raises(ValueError, match="differ"):
        Table.of_checked(*([[1]] * 14), [1, 2])
