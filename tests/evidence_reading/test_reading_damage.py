"""Damaged recordings give a clear error or a warning; they never crash, hang or bloat us."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from calib_model.errors import DamagedFile, FileProblem
from calib_model.evidence.reading import read_recording
from tests.evidence_reading.making_recordings import (
    write_csv,
    write_hdf5,
    write_mdf4,
    write_parquet,
)

ROOT = Path(__file__).resolve().parents[2]
TIME = np.round(np.arange(300) * 0.02, 6)
CHANNELS = {
    "VehSpd": ("km/h", np.round(40 + 5 * np.sin(TIME), 3)),
    "Pedal": ("%", np.round(20 + 15 * np.cos(TIME), 2)),
    "AmbTemp": ("degC", np.where(np.arange(300) % 50 == 0, -8.5, np.nan)),
}
WRITERS = {
    "CSV": lambda path: write_csv(path, TIME, CHANNELS, separator=";"),
    "Parquet": lambda path: write_parquet(path, TIME, CHANNELS),
    "MDF 4": lambda path: write_mdf4(path, [(TIME, CHANNELS)]),
    "HDF5": lambda path: write_hdf5(path, TIME, CHANNELS),
}


def damaged(data: bytes, count: int, seed: int) -> list[bytes]:
    """Cut and flipped copies: a third are cut."""
    rng = np.random.default_rng(seed)
    found = []
    for number in range(count):
        if number % 3 == 0:
            found.append(data[: int(rng.integers(20, len(data)))])
            continue
        flipped = bytearray(data)
        for _ in range(int(rng.integers(1, 4))):
            flipped[int(rng.integers(12, len(data)))] ^= 1 << int(rng.integers(0, 8))
        found.append(bytes(flipped))
    return found


WORKER = """
import json, signal, sys
from pathlib import Path
from calib_model.store.child import limit_resources
folder, kind, first, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
from calib_model.evidence.reading.child import answers, ADDRESS_BYTES
limit_resources(ADDRESS_BYTES, 4096 if kind == "MDF 4" else 0)
sys.dont_write_bytecode = True

class Late(BaseException):
    pass

def late(*_):
    raise Late

signal.signal(signal.SIGALRM, late)
for number in range(first, count):
    path = folder / str(number)
    request = {"kind": kind, "columns": True, "hints": {}}
    print(json.dumps([number, "started", "", 0]), flush=True)
    signal.alarm(10)
    said, total = {}, 0
    try:
        for said, buffers in answers(path, request):
            total += sum(len(memoryview(b)) for b in buffers)
    except Late:
        said = {"error": "late"}
    signal.alarm(0)
    words = str(said.get("problem", "")) + str(said.get("remedy", ""))
    what = said.get("error", "end" if "end" in said else "cut off")
    print(json.dumps([number, what, words, total]), flush=True)
"""


def outcomes(folder: Path, kind: str, count: int) -> dict[int, tuple[str, str, int]]:
    """What the reader makes of each file, in processes of its own; a crash counts as such."""
    found: dict[int, tuple[str, str, int]] = {}
    first = 0
    while first < count:
        done = subprocess.run(
            [sys.executable, "-c", WORKER, str(folder), kind, str(first), str(count)],
            capture_output=True, text=True, cwd=ROOT, timeout=3000,
        )  # fmt: skip
        rows = [json.loads(line) for line in done.stdout.splitlines() if line.startswith("[")]
        for number, what, words, total in rows:
            found[number] = (what, words, total)
        last = max(found, default=first - 1)
        if found.get(last, ("", "", 0))[0] == "started":
            found[last] = ("crash", done.stderr[-500:], 0)
        elif last + 1 < count:
            pytest.fail(f"The worker ended early: {done.stderr[-2000:]}")
        first = last + 1
    return found


def check_outcomes(kind: str, tmp_path: Path, count: int, seed: int) -> None:
    whole = WRITERS[kind](tmp_path / "whole").read_bytes()
    folder = tmp_path / "damaged"
    folder.mkdir()
    files = damaged(whole, count, seed)
    for number, data in enumerate(files):
        (folder / str(number)).write_bytes(data)
    found = outcomes(folder, kind, count)
    assert len(found) == count
    tally: dict[str, int] = {}
    for number, (what, words, total) in found.items():
        tally[what] = tally.get(what, 0) + 1
        assert what in ("end", "refused", "unclear", "late", "crash"), (number, what, words)
        if what in ("refused", "unclear"):
            assert len(words) > 20, (number, words)
        assert total < 64 << 20
    assert tally.get("refused", 0) > 0, tally


@pytest.mark.parametrize(
    ("kind", "count"), [("CSV", 90), ("Parquet", 90), ("HDF5", 90), ("MDF 4", 45)]
)
def test_damaged_files_are_refused_or_read_in_words(kind: str, count: int, tmp_path: Path) -> None:
    check_outcomes(kind, tmp_path, count, 11)


@pytest.mark.slow
@pytest.mark.parametrize("kind", WRITERS)
def test_very_many_damaged_files(kind: str, tmp_path: Path) -> None:
    check_outcomes(kind, tmp_path, 3000, 12)


@pytest.mark.parametrize("kind", WRITERS)
def test_damage_through_the_front_door(kind: str, tmp_path: Path) -> None:
    whole = WRITERS[kind](tmp_path / "whole").read_bytes()
    for data in (whole[: len(whole) // 2], whole[: len(whole) - 9], whole[:1000]):
        path = tmp_path / "part"
        path.write_bytes(data)
        if kind == "CSV":
            # A text that is cut still has whole rows before the cut; it says so.
            recording = read_recording(path)
            assert recording.faults or recording.remarks
            continue
        with pytest.raises(FileProblem) as refused:
            read_recording(path, seconds=20)
        assert refused.value.remedy


def test_a_file_that_only_begins_like_one_is_damaged(tmp_path: Path) -> None:
    for name, head in {"a.mf4": b"MDF     4.10    ", "b.parquet": b"PAR1",
                       "c.h5": b"\x89HDF\r\n\x1a\n"}.items():  # fmt: skip
        (tmp_path / name).write_bytes(head + bytes(400))
        with pytest.raises(DamagedFile, match="damaged"):
            read_recording(tmp_path / name)


def test_a_circle_of_links_ends_at_the_time_limit(tmp_path: Path) -> None:
    # The library follows the chain of channel groups; here it leads back to its beginning.
    path = write_mdf4(tmp_path / "run.mf4", [(TIME, {"a": ("", TIME)}), (TIME, {"b": ("", TIME)})])
    data = bytearray(path.read_bytes())
    at = data.find(b"##DG")
    links_at = at + 24  # identifier, reserved, length, number of links: 24 bytes (ASAM MDF 4.1)
    data[links_at : links_at + 8] = at.to_bytes(8, "little")  # the next data group is this one
    path.write_bytes(data)
    start = time.monotonic()
    with pytest.raises(DamagedFile, match="took too long and was stopped"):
        read_recording(path, seconds=2)
    assert time.monotonic() - start < 60


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on work there")
def test_a_circle_of_links_is_stopped_after_five_seconds_of_work(tmp_path: Path) -> None:
    import resource

    path = write_mdf4(tmp_path / "run.mf4", [(TIME, {"a": ("", TIME)}), (TIME, {"b": ("", TIME)})])
    data = bytearray(path.read_bytes())
    at = data.find(b"##DG")
    data[at + 24 : at + 32] = at.to_bytes(8, "little")
    path.write_bytes(data)
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with pytest.raises(DamagedFile, match="took too long and was stopped"):
        read_recording(path)  # two minutes of waiting, were it not for the work
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    assert 4 < spent < 7


@pytest.mark.skipif(sys.platform == "win32", reason="no such limits there")
def test_the_reading_process_has_limits_and_leaves_nothing_behind(tmp_path: Path) -> None:
    script = (
        "from calib_model.store.child import limit_resources as limit\n"
        "from calib_model.evidence.reading.child import ADDRESS_BYTES\n"
        "limit(ADDRESS_BYTES, 0)\n"
        "import resource as r\n"
        "print(*(r.getrlimit(getattr(r, 'RLIMIT_' + n))[0] for n in ('AS', 'DATA', 'FSIZE')))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True
    )
    assert done.stdout.split() == [str(2 << 30), str(1 << 30), "0"]
    folder = tmp_path / "run"
    folder.mkdir()
    path = WRITERS["MDF 4"](folder / "run.mf4")
    read_recording(path)
    assert [p.name for p in folder.iterdir()] == ["run.mf4"]


def test_a_file_that_asks_for_too_much_memory_is_refused(tmp_path: Path) -> None:
    import h5py

    path = tmp_path / "run.h5"
    with h5py.File(path, "w") as file:
        file.attrs.create("format", np.bytes_(b"bitepoint recording"))
        file.attrs.create("format_version", 1, dtype="<i4")
        n = 1 << 28  # 2 GiB of names, were they read
        file.create_dataset("base_count", data=np.array([1], dtype="<i8"))
        file.create_dataset("channel", shape=(n,), dtype="S8", chunks=(1 << 20,))
        file.create_dataset("channel_base", shape=(n,), dtype="<i4", chunks=(1 << 20,))
    with pytest.raises(FileProblem, match=r"memory|more data|rows"):
        read_recording(path)
