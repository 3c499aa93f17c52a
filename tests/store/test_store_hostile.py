"""Files made to do harm: refused in words, within limits, and never followed elsewhere."""

from __future__ import annotations

import subprocess
import sys
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.errors import BitepointError, DamagedFile, FileProblem, NewerFile
from calib_model.store import hdf5, read_set, read_set_here
from calib_model.store.encode import encode
from calib_model.store.hdf5 import make_image
from calib_model.store.history import HistoryColumns
from calib_model.store.layout import COLUMNS, Column
from calib_model.store.structure import Neutral
from tests.store.making import small_image, small_set

Spoil = Callable[[h5py.File, Path], None]


def _exchange(file: h5py.File, name: str) -> None:
    for scale in list(file[name].dims[0].values()):
        file[name].dims[0].detach_scale(scale)
    del file[name]


def external_storage(file: h5py.File, folder: Path) -> None:
    secret = folder / "secret.txt"
    secret.write_bytes(b"a secret " * 100)
    _exchange(file, "values")
    file.create_dataset("values", (46,), "<f8", external=[(str(secret), 0, 46 * 8)])


def soft_link(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file["values"] = h5py.SoftLink("/upper")


def external_link(file: h5py.File, folder: Path) -> None:
    other = folder / "other.h5"
    other.write_bytes(small_image())
    _exchange(file, "values")
    file["values"] = h5py.ExternalLink(str(other), "/values")


def virtual(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    layout = h5py.VirtualLayout((46,), "<f8")
    layout[:] = h5py.VirtualSource(str(folder / "other.h5"), "values", (46,))
    file.create_virtual_dataset("values", layout)


def huge(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file.create_dataset("values", (2**50,), "<f8", chunks=(1024,))


def huge_packed(file: h5py.File, folder: Path) -> None:
    """A bomb: 1 GiB of zeros in about a megabyte."""
    _exchange(file, "values")
    bomb = file.create_dataset("values", (2**27,), "<f8", chunks=(2**20,), compression="gzip")
    bomb[: 2**20] = 0.0


def many_chunks(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file.create_dataset("values", (2**24,), "<f8", chunks=(1,))


def one_huge_chunk(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file.create_dataset("values", (2**24,), "<f8", chunks=(2**24,), compression="gzip")


def wide_text(file: h5py.File, folder: Path) -> None:
    _exchange(file, "name")
    file.create_dataset("name", (6,), h5py.string_dtype("utf-8", 10_000_000))


def text_for_numbers(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file["values"] = np.array([b"1.0"] * 46)


def single_precision(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file["values"] = np.zeros(46, dtype="<f4")


def big_endian(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file["values"] = np.zeros(46, dtype=">f8")


def complex_numbers(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file["values"] = np.zeros(46, dtype=complex)


def variable_text(file: h5py.File, folder: Path) -> None:
    _exchange(file, "name")
    file.create_dataset("name", (6,), h5py.string_dtype(), data=["x"] * 6)


def object_references(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    made = file.create_dataset("values", (46,), h5py.ref_dtype)
    made[:] = file["upper"].ref


def two_dimensional(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file["values"] = np.zeros((23, 2))


def no_space(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file["values"] = h5py.Empty("<f8")


def a_group(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file.create_group("values")


def a_type(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file["values"] = np.dtype("<f8")


def odd_filter(file: h5py.File, folder: Path) -> None:
    _exchange(file, "edit_cell_number")
    file.create_dataset("edit_cell_number", data=np.zeros(6, "<i4"), scaleoffset=0)


def lzf_filter(file: h5py.File, folder: Path) -> None:
    _exchange(file, "values")
    file.create_dataset("values", data=np.zeros(46), compression="lzf")


def missing_column(file: h5py.File, folder: Path) -> None:
    _exchange(file, "upper")


def long_attribute(file: h5py.File, folder: Path) -> None:
    del file.attrs["name"]
    file.attrs["name"] = np.bytes_(b"x" * 60_000)


def list_attribute(file: h5py.File, folder: Path) -> None:
    del file.attrs["name"]
    file.attrs["name"] = np.array([b"a", b"b"])


def variable_attribute(file: h5py.File, folder: Path) -> None:
    del file.attrs["name"]
    file.attrs["name"] = "text of variable length"


def no_format(file: h5py.File, folder: Path) -> None:
    del file.attrs["format"]


def float_version(file: h5py.File, folder: Path) -> None:
    del file.attrs["format_version"]
    file.attrs["format_version"] = 1.0


SPOILS = [
    external_storage, soft_link, external_link, virtual, huge, huge_packed, many_chunks,
    one_huge_chunk, wide_text, text_for_numbers, single_precision, big_endian, complex_numbers,
    variable_text, object_references, two_dimensional, no_space, a_group, a_type, odd_filter,
    lzf_filter, missing_column, long_attribute, list_attribute, variable_attribute, no_format,
    float_version,
]  # fmt: skip


@pytest.mark.parametrize("spoil", SPOILS, ids=lambda s: s.__name__)
def test_a_hostile_file_is_refused_with_place_and_remedy(tmp_path: Path, spoil: Spoil) -> None:
    path = tmp_path / "hostile.h5"
    path.write_bytes(small_image(3))
    with h5py.File(path, "r+") as file:
        spoil(file, tmp_path)
    data = path.read_bytes()
    start = time.monotonic()
    with pytest.raises(DamagedFile) as caught:
        read_set_here(data, path)
    assert time.monotonic() - start < 5
    assert "check sum" not in str(caught.value) or spoil is missing_column
    assert caught.value.place
    assert caught.value.remedy
    assert "secret" not in str(caught.value)
    assert path.read_bytes() == data


def test_the_reading_process_refuses_it_too(tmp_path: Path) -> None:
    path = tmp_path / "hostile.h5"
    path.write_bytes(small_image())
    with h5py.File(path, "r+") as file:
        external_storage(file, tmp_path)
    with pytest.raises(DamagedFile, match="in another file"):
        read_set(path)


def test_deep_nesting_and_other_things_beside_the_columns_are_never_walked(tmp_path: Path) -> None:
    path = tmp_path / "deep.h5"
    path.write_bytes(small_image())
    with h5py.File(path, "r+") as file:
        group = file.id
        for _ in range(20_000):
            group = h5py.h5g.create(group, b"g")
        file["loop"] = file["/"]
        file["away"] = h5py.ExternalLink("/nowhere.h5", "/")
    start = time.monotonic()
    assert read_set(path).set == small_set()
    assert time.monotonic() - start < 5


@pytest.mark.skipif(sys.platform == "win32", reason="no memory limits there")
def test_a_chunk_that_unpacks_to_gigabytes_ends_in_an_error_below_1_gib(tmp_path: Path) -> None:
    path = tmp_path / "bomb.h5"
    path.write_bytes(small_image())
    packer = zlib.compressobj(9)
    head = packer.compress(bytes(1 << 24)) + packer.flush(zlib.Z_FULL_FLUSH)
    block = packer.compress(bytes(1 << 24)) + packer.flush(zlib.Z_FULL_FLUSH)
    with h5py.File(path, "r+") as file:
        _exchange(file, "values")
        made = file.create_dataset("values", (46,), "<f8", chunks=(46,), compression="gzip")
        made.id.write_direct_chunk((0,), head + block * 200)  # over 3 GiB
    # In a process of its own: the system's figure counts what the parent held at the fork.
    code = (
        "import resource, sys; from calib_model.store import read_set\n"
        "try: read_set(sys.argv[1])\n"
        "except Exception as error: print(type(error).__name__)\n"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    kind, peak = done.stdout.split()
    assert kind == DamagedFile.__name__
    assert int(peak) < 1 << 30


def test_a_file_that_is_too_large_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "large.h5"
    with path.open("wb") as file:
        file.truncate(1 << 40)  # holes: takes no room
    with pytest.raises(FileProblem, match="1048576 MiB large"):
        read_set(path)


@pytest.mark.skipif(not hasattr(__import__("os"), "mkfifo"), reason="no FIFOs on this system")
def test_a_pipe_does_not_hang_it(tmp_path: Path) -> None:
    import os

    path = tmp_path / "pipe.h5"
    os.mkfifo(path)
    with pytest.raises(FileProblem, match="not a plain file"):
        read_set(path)


def test_a_newer_file_is_refused_plainly(tmp_path: Path) -> None:
    neutral = encode(small_set(), {})
    attributes = {**neutral.attributes, "format_version": 9, "min_reader_version": 9}
    path = tmp_path / "newer.h5"
    path.write_bytes(make_image(Neutral(neutral.columns, attributes))[0])
    with pytest.raises(NewerFile, match=r"needs format version 9.*Update Bitepoint"):
        read_set(path)


def test_a_newer_file_that_this_version_can_read_is_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    neutral = encode(small_set(), {})
    attributes = {**neutral.attributes, "format_version": 9, "later": "unknown"}
    columns = {**neutral.columns, "later": np.arange(3, dtype="<i4")}
    later = Column("later", "<i4", ("later_row",), "a column of a later version")
    with monkeypatch.context() as patch:
        patch.setattr(hdf5, "COLUMNS", (*COLUMNS, later))
        image, sha = make_image(Neutral(columns, attributes))
    stored = read_set_here(image, "newer.h5")
    assert stored.set == small_set()
    assert stored.content_sha == sha
    attributes["format_version"] = 1  # and of this version it would be damage
    with monkeypatch.context() as patch:
        patch.setattr(hdf5, "COLUMNS", (*COLUMNS, later))
        image, _ = make_image(Neutral(columns, attributes))
    with pytest.raises(DamagedFile, match="check sum"):
        read_set_here(image, "newer.h5")


# -- sound HDF5 with a right hash, but columns that do not belong together -----------------


def crafted(**columns: object) -> bytes:
    """A file with some columns exchanged and a hash that fits."""
    neutral = encode(small_set(), HistoryColumns().columns())
    changed = {**neutral.columns, **columns}
    return make_image(Neutral(changed, neutral.attributes))[0]  # type: ignore[arg-type]


def _column(name: str) -> np.ndarray:
    return encode(small_set(), {}).columns[name].copy()


def _with(name: str, row: int, value: object) -> dict[str, np.ndarray]:
    column = _column(name)
    column[row] = value
    return {name: column}


def _text_with(name: str, row: int, value: bytes) -> dict[str, np.ndarray]:
    column = _column(name).astype("S400")
    column[row] = value
    return {name: column}


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        (_with("axis_values", 1, np.nan), "table wiper_factor, axis Wiper, breakpoint 2"),
        (_with("axis_values", 5, np.inf), "table torque, axis Pedal, breakpoint 3"),
        (_with("value_count", 0, -1), "negative count"),
        (_with("value_count", 0, 2), "counts 47 entries"),
        (_with("axis_count", 0, 2**31 - 1), "column axis_count"),
        (_with("axes", (2, 0), 99), "refers to something that is not there"),
        (_with("axes", (2, 0), -1), "table torque: .*do not fit its axes"),
        (_with("axes", (0, 0), 0), "table tick: .*do not fit its axes"),
        (_with("kind", 2, 1), "table torque: .*do not fit its axes"),
        (_with("kind", 0, 7), "column kind"),
        (_with("storage_type", 0, 100), "column storage_type"),
        (_with("storage_denominator", 4, 0), "positive numerator and denominator"),
        (_with("storage_numerator", 3, 2), "Float storage has no conversion"),
        (_with("rules", 0, 5), "column rules"),
        (_with("shared_axes", 0, -1), "column shared_axes"),
        (_with("relation_table", 0, 6), "column relation_table"),
        (_with("raw_values", 0, 21), "table tick: .*raw values"),
        (_with("values", 0, 20.6), "table tick: .*raw values"),
        (_text_with("table", 1, b"tick"), "same id twice"),
        (_text_with("table", 1, b"two words"), "cannot be an id"),
        (_text_with("table", 1, b"x" * 300), "cannot be an id"),
        (_text_with("name", 1, b"\xff\xfe"), "not valid UTF-8"),
        (_text_with("axis_shared", 1, b"nobody"), "shared axis 'nobody'"),
        (_text_with("rule_text", 0, b"[" * 300), "rules of table torque"),
        (_text_with("rule_text", 0, b'[{"kind":"unheard of"}]'), "rules of table torque"),
        (_text_with("rule_text", 0, b"{}"), "rules of table torque"),
        ({"upper": np.zeros(5)}, "column upper: It has 5 entries"),
    ],
)  # fmt: skip
def test_columns_that_do_not_belong_together_are_refused(
    columns: dict[str, np.ndarray], words: str
) -> None:
    if "rule_text" in columns:
        rest = len(_column("rule_text")) - 1
        columns["rule_text"][1 : 1 + rest] = b""
    with pytest.raises(DamagedFile, match=words) as caught:
        read_set_here(crafted(**columns), "crafted.h5")
    assert caught.value.remedy


def test_damaged_history_shows_when_it_is_asked_for() -> None:
    history = HistoryColumns().with_entries([{"title": "t", "edits": [{"kind": "axis"}]}])
    columns = history.columns()
    columns["edit_text"] = np.array([b"{no json"])
    neutral = encode(small_set(), columns)
    stored = read_set_here(make_image(neutral)[0], "crafted.h5")
    with pytest.raises(BitepointError, match="not the JSON"):
        list(stored.history.entries())


def test_unfinished_values_are_no_damage() -> None:
    table = Table("t", [np.nan, 1.0], (Axis([5.0, 5.0]),))
    image, _ = make_image(encode(CalibrationSet([table]), {}))
    assert read_set_here(image, "unfinished.h5").set["t"] == table
