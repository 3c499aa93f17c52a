"""The reading process is not trusted, and does not trust the folder it is started in."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from calib_model.errors import DamagedFile, FileProblem
from calib_model.store import Reading, write_set
from calib_model.store.layout import INTEGER_ATTRIBUTES, TEXT_ATTRIBUTES
from calib_model.store.message import PREFIX, pack_header
from tests.store.making import small_set

ATTRIBUTES: dict[str, Any] = {
    **dict.fromkeys(INTEGER_ATTRIBUTES, 1),
    **dict.fromkeys(TEXT_ATTRIBUTES, ""),
}
WHOLE: dict[str, Any] = {
    "columns": [["table", "|S2", [1]]],
    "attributes": ATTRIBUTES,
    "sha": "0",
    "stamp": [1, 2, 3],
}


class FakeChild:
    """Answers what a test says."""

    timed_out = False

    def __init__(self, answer: bytes) -> None:
        self._answer = io.BytesIO(answer)

    def read(self, size: int) -> bytes:
        return self._answer.read(size)

    def read_into(self, view: memoryview) -> int:
        return self._answer.readinto(view)

    def end(self) -> int:
        return 0

    def status(self) -> int:
        return 0


def answered(answer: bytes) -> str:
    """What a reading makes of an answer."""
    reading = Reading("asked.h5", child=FakeChild(answer))  # type: ignore[arg-type]
    with pytest.raises(DamagedFile) as caught:
        reading.result()
    assert caught.value.remedy
    return str(caught.value)


@pytest.mark.parametrize(
    "header",
    [
        {},
        {"columns": "x", "attributes": ATTRIBUTES},
        {**WHOLE, "attributes": []},
        {**WHOLE, "attributes": {**ATTRIBUTES, "mode": 1}},
        {**WHOLE, "attributes": {**ATTRIBUTES, "format_version": True}},
        {**WHOLE, "columns": [["unknown", "<f8", [1]]]},
        {**WHOLE, "columns": [["values", "|O8", [1]]]},
        {**WHOLE, "columns": [["values", "<f4", [1]]]},
        {**WHOLE, "columns": [["values", "<f8", [-1]]]},
        {**WHOLE, "columns": [["values", "<f8", [1, 1]]]},
        {**WHOLE, "columns": [["values", "<f8", [1.5]]]},
        {**WHOLE, "columns": [["values", "<f8"]]},
        {**WHOLE, "columns": [["table", "|S0", [1]]]},
        {**WHOLE, "columns": [["table", "|S99999999", [1]]]},
        {**WHOLE, "columns": [["table", "|S2", [1]], ["table", "|S2", [1]]]},
        {**WHOLE, "sha": 5},
        {**WHOLE, "stamp": [1, 2]},
        {**WHOLE, "stamp": [1, 2, "3"]},
        {"error": "damaged", "place": 1, "problem": None},
    ],
)
def test_an_answer_that_makes_no_sense_is_refused(header: dict[str, Any]) -> None:
    assert "wrong answer" in answered(pack_header(header) + bytes(64))


def test_the_parent_keeps_the_bounds_itself() -> None:
    header = {**WHOLE, "columns": [["values", "<f8", [2**40]]]}
    assert "1099511627776 rows; a file holds at most" in answered(pack_header(header) + bytes(64))


@pytest.mark.parametrize(
    "answer",
    [
        b"",
        b"BPCOLS01",
        b"x" * 100,
        PREFIX.pack(b"BPCOLS01", 2**31),
        PREFIX.pack(b"BPCOLS01", 4) + b"null",
        PREFIX.pack(b"BPCOLS01", 4) + b"{{{{",
        PREFIX.pack(b"BPCOLS01", 9) + b"{}",
        pack_header(WHOLE) + b"a",
    ],
)
def test_an_answer_that_breaks_off_is_refused(answer: bytes) -> None:
    assert "reading process" in answered(answer)


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_a_crash_of_the_reading_process_is_an_error_like_others(tmp_path: Path) -> None:
    from calib_model.store.launch import Child

    path = tmp_path / "larch.h5"
    write_set(path, small_set())
    child = Child()
    os.kill(child.process.pid, signal.SIGSEGV)
    with pytest.raises(DamagedFile, match=f"signal {int(signal.SIGSEGV)}"):
        Reading(path, child=child).result()


def test_a_process_that_cannot_be_started_is_said_plainly(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "executable", str(tmp_path / "no python"))
    with pytest.raises(FileProblem, match=r"No process to read it.*Close other programs"):
        Reading(tmp_path / "larch.h5")


def test_nothing_is_imported_from_the_folder_of_the_file(tmp_path: Path) -> None:
    write_set(tmp_path / "larch.h5", small_set())
    for name in ("numpy", "h5py", "json", "calib_model", "sitecustomize"):
        (tmp_path / f"{name}.py").write_text("open('ran', 'w').close()\n")
    root = Path(__file__).resolve().parents[2]
    script = (
        f"import sys; sys.path.remove('') if '' in sys.path else None;"
        f"sys.path.insert(0, {str(root)!r}); from calib_model.store import read_set;"
        "sys.path.insert(0, ''); print(len(read_set('larch.h5').set))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True,
        env={**os.environ, "PYTHONSAFEPATH": "1"},
    )  # fmt: skip
    assert (done.stdout, done.stderr) == ("6\n", "")
    assert not (tmp_path / "ran").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="no such limits there")
def test_the_reading_process_has_limits() -> None:
    script = (
        "from calib_model.store.child import limit_resources as limit; limit();"
        "import resource as r;"
        "print(*(r.getrlimit(getattr(r, 'RLIMIT_' + n))[0] for n in ('AS', 'FSIZE', 'CORE')))"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=root, stdout=subprocess.PIPE, text=True, check=True
    )
    assert done.stdout.split() == [str(1 << 30), "0", "0"]
