"""MDF 4 written by asammdf, Parquet by pyarrow, HDF5 by h5py: read as they were written."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from calib_model.errors import FileProblem
from calib_model.evidence.reading import UnclearLayout, inspect_recording, read_recording
from calib_model.evidence.reading.hdf5 import recording_image
from calib_model.evidence.recording import DROP_OUT, DUPLICATE, GAP
from tests.evidence_reading.making_recordings import write_hdf5, write_mdf4, write_parquet

pytestmark = pytest.mark.usefixtures("at_once")

FAST = np.round(np.arange(400) * 0.01, 6)
SLOW = np.round(np.arange(40) * 0.1, 6)
SPEED = 40 + 5 * np.sin(FAST)
AMBIENT = -8 + SLOW / 10
DIGEST = "0123456789abcdef" * 4


def test_mdf4_has_a_group_per_rate_units_and_what_it_says_of_itself(tmp_path: Path) -> None:
    path = write_mdf4(
        tmp_path / "run.mf4",
        [
            (FAST, {"VehSpd": ("km/h", SPEED), "count": ("", np.arange(400, dtype=np.uint8))}),
            (SLOW, {"AmbTemp": ("°C", AMBIENT)}),
        ],
        comment=f"<HDcomment><TX>A run. vehicle_set_digest: {DIGEST}</TX></HDcomment>",
    )
    layout = inspect_recording(path)
    assert layout.kind == "MDF 4"
    recording = read_recording(path, layout)
    np.testing.assert_array_equal(recording.channel("VehSpd").values, SPEED)
    np.testing.assert_array_equal(recording.channel("VehSpd").time, FAST)
    np.testing.assert_array_equal(recording.channel("count").values, np.arange(400) % 256)
    np.testing.assert_array_equal(recording.channel("AmbTemp").values, AMBIENT)
    assert recording.channel("AmbTemp").unit == "degC"
    assert recording.channel("AmbTemp").period == pytest.approx(0.1)
    assert recording.vehicle_set_digest == DIGEST
    assert recording.start.startswith("20")
    assert recording.faults == ()


def test_mdf4_marks_and_faults_are_masked(tmp_path: Path) -> None:
    from asammdf import MDF, Signal

    time = FAST.copy()
    time[100] = time[99]
    time = np.delete(time, slice(200, 250))
    values = np.delete(SPEED, slice(200, 250))
    bad = np.zeros(values.size, dtype=bool)
    bad[30:33] = True
    file = MDF(version="4.10")
    file.append(
        [
            Signal(values, time, name="a", unit="km/h", invalidation_bits=bad),
            Signal(values, time, name="b", unit="km/h"),
            Signal(np.array([b"text"] * values.size), time, name="note", encoding="utf-8"),
        ]
    )
    file.save(tmp_path / "run.mf4", overwrite=True)
    file.close()
    recording = read_recording(tmp_path / "run.mf4")
    found = [(f.kind, f.channels, round(f.start_s, 3), f.count) for f in recording.faults]
    assert found == [
        (DROP_OUT, ("a",), 0.3, 3),
        (DUPLICATE, ("a", "b"), 0.99, 1),
        (GAP, ("a", "b"), 1.99, 0),
    ]
    assert list(recording.channels) == ["a", "b"]


def test_mdf4_conversions_are_applied_and_words_are_not(tmp_path: Path) -> None:
    from asammdf import MDF, Signal

    raw = (np.arange(400) % 3).astype(np.uint8)
    linear = {"a": 0.5, "b": -40.0}
    words = {"val_0": 0, "text_0": b"off", "val_1": 1, "text_1": b"slow", "default": b"fast"}
    file = MDF(version="4.10")
    file.append(
        [
            Signal(raw, FAST, name="temp", unit="degC", conversion=linear),
            Signal(raw, FAST, name="wiper", conversion=words),
        ]
    )
    file.save(tmp_path / "run.mf4", overwrite=True)
    file.close()
    recording = read_recording(tmp_path / "run.mf4")
    np.testing.assert_array_equal(recording.channel("temp").values, raw * 0.5 - 40)
    np.testing.assert_array_equal(recording.channel("wiper").values, raw)


def test_mdf_of_other_versions_is_named(tmp_path: Path) -> None:
    from asammdf import MDF, Signal

    file = MDF(version="3.30")
    file.append([Signal(SPEED, FAST, name="a")])
    file.save(tmp_path / "old.mdf", overwrite=True)
    file.close()
    with pytest.raises(FileProblem, match=r"older version.*Convert it to MDF 4"):
        read_recording(tmp_path / "old.mdf")


def test_parquet_units_rates_and_types(tmp_path: Path) -> None:
    slow = pa.array([float(n) if n % 100 == 0 else None for n in range(400)])
    fields = [
        pa.field("time_s", pa.float64()),
        pa.field("VehSpd", pa.float32(), metadata={"unit": "km/h"}),
        pa.field("AmbTemp [°C]", pa.float64()),
        pa.field("Brake", pa.bool_()),
        pa.field("note", pa.string()),
    ]
    data = [FAST, SPEED.astype(np.float32), slow, FAST > 2, ["x"] * 400]
    table = pa.Table.from_arrays(
        [pa.array(d) if not isinstance(d, pa.Array) else d for d in data],
        schema=pa.schema(fields, metadata={"vehicle_set_digest": DIGEST, "comment": "A run"}),
    )
    pq.write_table(table, tmp_path / "run.parquet", row_group_size=150)
    layout = inspect_recording(tmp_path / "run.parquet")
    assert [(c.name, c.unit) for c in layout.channels] == [
        ("VehSpd", "km/h"), ("AmbTemp", "degC"), ("Brake", ""),
    ]  # fmt: skip
    assert layout.left_out == ("note",)
    recording = read_recording(tmp_path / "run.parquet", layout)
    np.testing.assert_array_equal(recording.channel("VehSpd").values, SPEED.astype(np.float32))
    np.testing.assert_array_equal(recording.channel("AmbTemp").time, FAST[::100])
    np.testing.assert_array_equal(recording.channel("AmbTemp").values, np.arange(0, 400, 100.0))
    np.testing.assert_array_equal(recording.channel("Brake").values, (FAST > 2) * 1.0)
    assert recording.vehicle_set_digest == DIGEST


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
def test_parquet_time_stamps(tmp_path: Path, unit: str) -> None:
    start = datetime(2026, 2, 11, 8, 0, tzinfo=UTC)
    origin = np.datetime64("2026-02-11T08:00:00", "ns")
    stamps = origin + (FAST * 1e9).round().astype("timedelta64[ns]")
    table = pa.table({"time": pa.array(stamps).cast(pa.timestamp(unit)), "a": SPEED})
    pq.write_table(table, tmp_path / "run.parquet")
    recording = read_recording(tmp_path / "run.parquet")
    np.testing.assert_allclose(recording.channel("a").time, FAST, atol=3e-7)
    assert recording.start == start.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def test_parquet_without_a_unit_of_time_is_asked_about(tmp_path: Path) -> None:
    pq.write_table(pa.table({"time": FAST * 1000, "a": SPEED}), tmp_path / "run.parquet")
    with pytest.raises(UnclearLayout) as asked:
        read_recording(tmp_path / "run.parquet")
    assert asked.value.what == "time_unit"
    layout = inspect_recording(tmp_path / "run.parquet", time_unit="ms")
    recording = read_recording(tmp_path / "run.parquet", layout)
    np.testing.assert_allclose(recording.channel("a").time, FAST, atol=1e-9)


def test_our_hdf5_goes_out_and_comes_back(tmp_path: Path) -> None:
    values = SPEED.copy()
    values[7] = np.nan
    path = write_parquet(tmp_path / "run.parquet", FAST, {"a": ("km/h", values), "b": ("", FAST)})
    recording = read_recording(path)
    (tmp_path / "again.h5").write_bytes(recording_image(recording))
    again = read_recording(tmp_path / "again.h5")
    for name, channel in recording.channels.items():
        other = again.channel(name)
        np.testing.assert_array_equal(other.time, channel.time)
        np.testing.assert_array_equal(other.masked(), channel.masked())
        assert other.unit == channel.unit
    assert [(f.kind, f.count) for f in again.faults] == [(DROP_OUT, 1)]


def h5(tmp_path: Path, change: Any) -> Path:
    path = write_hdf5(tmp_path / "run.h5", FAST, {"a": ("km/h", SPEED), "b": ("%", FAST)})
    with h5py.File(path, "r+") as file:
        change(file)
    return path


def external(file: Any) -> None:
    del file["values"]
    file.create_dataset("values", shape=(800,), dtype="<f8", external=[("other.bin", 0, 6400)])


def soft_link(file: Any) -> None:
    del file["values"]
    file["values"] = h5py.SoftLink("/times")


def too_long(file: Any) -> None:
    del file["values"]
    file.create_dataset("values", shape=(1 << 33,), dtype="<f8", chunks=(1 << 20,))


def counts(file: Any) -> None:
    file["base_count"][0] = 399


def base(file: Any) -> None:
    file["channel_base"][1] = 3


def twice(file: Any) -> None:
    file["channel"][1] = b"a"


def kind(file: Any) -> None:
    del file["channel_base"]
    file["channel_base"] = np.zeros(2)


def newer(file: Any) -> None:
    file.attrs.modify("format_version", 9)


def gone(file: Any) -> None:
    del file["channel_unit"]
    del file["times"]


@pytest.mark.parametrize(
    "change", [external, soft_link, too_long, counts, base, twice, kind, newer, gone]
)
def test_hdf5_that_is_not_as_documented_is_refused(tmp_path: Path, change: Any) -> None:
    with pytest.raises(FileProblem) as refused:
        read_recording(h5(tmp_path, change))
    assert refused.value.remedy
    assert "Install" not in refused.value.remedy


def test_a_calibration_set_is_no_recording(tmp_path: Path) -> None:
    sets = Path(__file__).resolve().parents[2] / "sample_sets"
    with pytest.raises(FileProblem, match="no recording"):
        read_recording(sets / "larch_normal.h5")


def test_a_name_that_stands_twice_is_kept_apart(tmp_path: Path) -> None:
    path = write_mdf4(
        tmp_path / "run.mf4", [(FAST, {"a": ("", SPEED)}), (SLOW, {"a": ("", AMBIENT)})]
    )
    assert list(read_recording(path).channels) == ["a", "a (group 2)"]


def test_a_file_that_changes_meanwhile_is_refused(tmp_path: Path) -> None:
    path = write_hdf5(tmp_path / "run.h5", FAST, {"a": ("km/h", SPEED)})
    data = path.read_bytes()

    def touch(share: float) -> None:
        path.write_bytes(data + b"more")

    with pytest.raises(FileProblem, match="changed while it was read"):
        read_recording(path, progress=touch)


def test_reading_can_be_stopped_and_tells_how_far_it_is(tmp_path: Path) -> None:
    path = write_hdf5(tmp_path / "run.h5", FAST, {"a": ("km/h", SPEED)})
    shares: list[float] = []
    read_recording(path, progress=shares.append)
    assert shares[-1] == 1.0
    assert shares == sorted(shares)

    class Stop(Exception):
        pass

    def stop(share: float) -> None:
        raise Stop

    with pytest.raises(Stop):
        read_recording(path, progress=stop)
