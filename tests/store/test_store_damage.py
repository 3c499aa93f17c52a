"""A damaged file is refused, or opens with what was saved: never with something else."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from calib_model.errors import DamagedFile, FileProblem
from calib_model.store import read_set, read_set_here, write_set
from tests.store.making import small_image, small_set

ROOT = Path(__file__).resolve().parents[2]
WORKER = Path(__file__).with_name("worker.py")
MEBI = 1 << 20


def outcomes(file: Path, kind: str, count: int, *, first: int = 0) -> Counter[str]:
    """Spoil and read `count` times, many in a process; any crash or hang fails the test."""
    share = min(count, 5_000)
    running = [
        subprocess.Popen(
            [sys.executable, str(WORKER), str(file), kind, str(start), str(share)],
            cwd=ROOT, env={"PYTHONPATH": str(ROOT)}, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )
        for start in range(first, first + count, share)
    ]  # fmt: skip
    found: Counter[str] = Counter()
    for process in running:
        out, err = process.communicate(timeout=max(count, 300))
        assert process.returncode == 0, f"ended with {process.returncode} after {out[-200:]}{err}"
        *lines, (_, peak) = (line.split(maxsplit=1) for line in out.splitlines())
        assert int(peak) < 256 * MEBI
        found.update(result for _, result in lines)
    assert found.total() >= count
    return found


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "small.h5"
    path.write_bytes(small_image(2))
    return path


@pytest.mark.parametrize("first", [0, 500, 1000, 1500])
def test_no_flipped_bit_of_2000_gives_other_content(file: Path, first: int) -> None:
    found = outcomes(file, "flip", 500, first=first)
    assert set(found) <= {"refused", "same"}, found
    assert found["refused"] > 250, found  # or the damage would not have reached what matters


def test_every_flipped_bit_in_the_values_is_noticed(tmp_path: Path) -> None:
    """Where it matters most: every byte of one stored column, one bit each."""
    import h5py

    image = small_image(0)
    path = tmp_path / "columns.h5"
    path.write_bytes(image)
    with h5py.File(path) as stored:
        places = [
            stored[name].id.get_chunk_info(0) for name in ("values", "axis_values", "rule_text")
        ]
    for place in places:
        for offset in range(place.byte_offset, place.byte_offset + place.size):
            copy = bytearray(image)
            copy[offset] ^= 1 << offset % 8
            with pytest.raises(DamagedFile):
                read_set_here(bytes(copy), path)


def test_a_cut_file_is_refused_at_any_length(file: Path) -> None:
    assert outcomes(file, "cut", 300) == {"refused": 300}


def test_noise_is_refused_or_does_not_matter(file: Path) -> None:
    found = outcomes(file, "noise", 300)
    assert set(found) <= {"refused", "same"}, found


@pytest.mark.slow
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("kind", ["flip", "noise", "cut"])
def test_ten_thousand_damages(file: Path, kind: str) -> None:
    found = outcomes(file, kind, 10_000)
    assert set(found) <= {"refused", "same"}, found


def test_a_damaged_file_names_the_place_and_the_remedy_and_is_left_alone(tmp_path: Path) -> None:
    import h5py

    path = tmp_path / "larch.h5"
    write_set(path, small_set())
    with h5py.File(path) as stored:
        chunk = stored["values"].id.get_chunk_info(0)
    data = bytearray(path.read_bytes())
    data[chunk.byte_offset + 3] ^= 4
    path.write_bytes(data)
    before = path.stat()
    with pytest.raises(DamagedFile, match=r"larch\.h5: column values: .*backup") as caught:
        read_set(path)
    assert caught.value.place == "column values"
    after = path.stat()
    assert (path.read_bytes(), before.st_mtime_ns) == (bytes(data), after.st_mtime_ns)


def test_a_changed_text_is_noticed_even_with_right_check_sums(tmp_path: Path) -> None:
    """HDF5's own check sums say nothing about a file that another program rewrote."""
    import h5py

    path = tmp_path / "larch.h5"
    write_set(path, small_set())
    with h5py.File(path, "r+") as stored:
        stored["upper"][2] = 500.0
    with pytest.raises(DamagedFile, match="check sum is wrong"):
        read_set(path)
    write_set(path, small_set())
    with h5py.File(path, "r+") as stored:
        stored.attrs.modify("mode", b"towing")
    with pytest.raises(DamagedFile, match="check sum is wrong"):
        read_set(path)


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("text.h5", b"pedal;torque\n0;0\n", "set file"),
        ("empty.h5", b"", "set file"),
        ("nearly.h5", b"\x89HDF\r\n\x1a\n", "cannot be read"),
        ("zeros.h5", b"\0" * 4096, "set file"),
    ],
)
def test_a_foreign_file_is_called_foreign(
    tmp_path: Path, name: str, content: bytes, words: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(FileProblem, match=words) as caught:
        read_set(path)
    assert caught.value.remedy
    assert path.read_bytes() == content


def test_what_is_no_file_is_said_plainly(tmp_path: Path) -> None:
    for path, words in (
        (tmp_path / "missing.h5", "no such file"),
        (tmp_path, "folder"),
        (tmp_path / "x" / "y.h5", "no such file"),
        (Path("/dev/zero"), "not a plain file"),
    ):
        if path.exists() or words == "no such file":
            with pytest.raises(FileProblem, match=words) as caught:
                read_set(path)
            assert caught.value.remedy
