"""CSV recordings as other desks write them; what leaves a doubt is asked for, never guessed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calib_model.errors import FileProblem
from calib_model.evidence.reading import Layout, UnclearLayout, inspect_recording, read_recording
from calib_model.evidence.reading import csv_recording as reader
from calib_model.evidence.reading.csv_layout import inspect_csv
from calib_model.evidence.reading.stream import Remarks
from calib_model.evidence.recording import DAMAGED_ROW, DROP_OUT, DUPLICATE, GAP
from tests.evidence_reading.making_recordings import write_csv

pytestmark = pytest.mark.usefixtures("at_once")

TIME = np.round(np.arange(200) * 0.02, 6)
SPEED = np.round(40 + 5 * np.sin(TIME), 3)
PEDAL = np.round(20 + 15 * np.cos(TIME), 2)
CHANNELS = {"VehSpd": ("km/h", SPEED), "Pedal": ("%", PEDAL)}


def text(tmp_path: Path, content: str, name: str = "run.csv") -> Path:
    path = tmp_path / name
    path.write_text(content, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("separator", "unit_row"),
    [(";", True), (",", False), ("\t", True), ("|", False), (" ", True)],
)
def test_separators_and_places_of_units(tmp_path: Path, separator: str, unit_row: bool) -> None:
    path = write_csv(tmp_path / "run.csv", TIME, CHANNELS, separator=separator, unit_row=unit_row)
    layout = inspect_recording(path)
    assert (layout.separator, layout.decimal) == (separator, ".")
    assert [(t.name, t.unit) for t in layout.times] == [("time", "s")]
    recording = read_recording(path, layout)
    assert recording.faults == ()
    for name, (unit, values) in CHANNELS.items():
        found = recording.channel(name)
        assert found.unit == unit
        np.testing.assert_array_equal(found.time, TIME)
        np.testing.assert_array_equal(found.values, values)


@pytest.mark.parametrize(
    ("separator", "encoding", "end"),
    [
        (";", "utf-8", "\n"),
        ("\t", "utf-8-sig", "\r\n"),
        (";", "cp1252", "\r\n"),
        ("\t", "utf-16", "\n"),
        (";", "utf-16", "\r\n"),
        (";", "utf-8", "\r"),
    ],
)
def test_decimal_comma_encodings_and_line_ends(
    tmp_path: Path, separator: str, encoding: str, end: str
) -> None:
    channels = {**CHANNELS, "Außentemp": ("°C", SPEED / 10)}
    path = write_csv(
        tmp_path / "run.csv", TIME, channels, separator=separator, decimal=",", encoding=encoding,
        end=end,
    )  # fmt: skip
    recording = read_recording(path)
    np.testing.assert_array_equal(recording.channel("VehSpd").values, SPEED)
    assert recording.channel("Außentemp").unit == "degC"
    assert recording.faults == ()


def test_what_was_found_is_told_for_confirmation(tmp_path: Path) -> None:
    digest = "ab" * 32
    head = (f"# vehicle_set_digest: {digest}", "# start: 2026-02-11T08:00:00Z", "# title: A run")
    path = write_csv(tmp_path / "run.csv", TIME, CHANNELS, separator=";", decimal=",", head=head)
    layout = inspect_recording(path)
    assert layout.words() == (
        "Format: CSV",
        "Columns separated by: semicolon",
        "Decimal mark: comma",
        "Text encoding: utf-8",
        "First row of numbers: line 6",
        "Time: time (s)",
        "Channels: 2, 2 of them with a unit",
        "Started: 2026-02-11T08:00:00Z",
        f"Set in the vehicle: {digest[:12]}...",
    )
    recording = read_recording(path)
    assert recording.vehicle_set_digest == digest
    assert recording.start == "2026-02-11T08:00:00Z"
    assert recording.comment == "A run"
    assert recording.source == str(path)


@pytest.mark.parametrize(
    ("unit", "factor"), [("s", 1.0), ("ms", 1e3), ("us", 1e6), ("min", 1 / 60)]
)
def test_time_units(tmp_path: Path, unit: str, factor: float) -> None:
    path = write_csv(tmp_path / "run.csv", TIME * factor, CHANNELS, time_unit=unit)
    recording = read_recording(path)
    np.testing.assert_allclose(recording.channel("Pedal").time, TIME, atol=1e-9)


@pytest.mark.parametrize("name", ["time_ms", "t_ms", "Timestamp_ms"])
def test_a_unit_in_the_time_column_s_name(tmp_path: Path, name: str) -> None:
    path = write_csv(tmp_path / "run.csv", TIME * 1000, CHANNELS, time_name=name, time_unit="",
                     unit_row=False)  # fmt: skip
    assert read_recording(path).seconds == pytest.approx(TIME[-1])


@pytest.mark.parametrize(
    "form", ["{0}T08:00:{1:06.3f}Z", "{0} 08:00:{1:06.3f}", "{0}T09:00:{1:06.3f}+01:00"]
)
def test_iso_date_times(tmp_path: Path, form: str) -> None:
    stamps = np.array([form.format("2026-02-11", t) for t in TIME], dtype=object)
    path = write_csv(tmp_path / "run.csv", stamps, CHANNELS, separator=";", time_unit="")
    layout = inspect_recording(path)
    assert layout.times[0].unit == "ISO date-time"
    recording = read_recording(path, layout)
    assert recording.start == "2026-02-11T08:00:00.000Z"
    np.testing.assert_allclose(recording.channel("VehSpd").time, TIME, atol=1e-6)
    np.testing.assert_array_equal(recording.channel("VehSpd").values, SPEED)


def test_what_is_unclear_is_asked_and_the_answer_is_taken(tmp_path: Path) -> None:
    bare = write_csv(tmp_path / "a.csv", TIME, CHANNELS, time_unit="")
    with pytest.raises(UnclearLayout, match="does not say the unit") as asked:
        read_recording(bare)
    assert (asked.value.what, asked.value.choices) == ("time_unit", ("s", "ms"))
    layout = inspect_recording(bare, time_unit="ms")
    assert read_recording(bare, layout).seconds == pytest.approx(TIME[-1] / 1000)

    unnamed = write_csv(tmp_path / "b.csv", TIME, CHANNELS, time_name="x", time_unit="ms")
    with pytest.raises(UnclearLayout, match="No column is plainly the time") as asked:
        inspect_recording(unnamed)
    assert asked.value.what == "time"
    assert "x" in asked.value.choices
    for answer in ("x", "1"):
        assert inspect_recording(unnamed, time=answer).times[0].name == "x"
    with pytest.raises(FileProblem, match="no column 'y'"):
        inspect_recording(unnamed, time="y")

    groups = text(tmp_path, "time [s];a\n0;1,250\n1;1,300\n2;2,125\n")
    with pytest.raises(UnclearLayout, match="thousands") as asked:
        inspect_recording(groups)
    assert asked.value.what == "decimal"
    assert set(asked.value.choices) == {".", ","}
    comma = inspect_recording(groups, decimal=",")
    np.testing.assert_array_equal(read_recording(groups, comma).channel("a").values,
                                  [1.25, 1.3, 2.125])  # fmt: skip


def test_a_number_with_the_other_mark_further_down_is_refused(tmp_path: Path) -> None:
    rows = "".join(f"{n};{n}.5\n" for n in range(300)) + "300;1.234,5\n301;2,5\n"
    with pytest.raises(FileProblem, match=r"line 302, column 'a'.*decimal point"):
        read_recording(text(tmp_path, f"time [s];a [km/h]\n{rows}"))


def test_mixed_rates_are_empty_cells(tmp_path: Path) -> None:
    slow = np.where(np.arange(200) % 50 == 0, np.arange(200) / 100, np.nan)
    path = write_csv(tmp_path / "run.csv", TIME, {**CHANNELS, "Amb": ("degC", slow)})
    recording = read_recording(path)
    amb = recording.channel("Amb")
    np.testing.assert_array_equal(amb.time, TIME[::50])
    np.testing.assert_array_equal(amb.values, slow[::50])
    assert amb.period == pytest.approx(1.0)
    assert recording.channel("VehSpd").period == pytest.approx(0.02)
    assert recording.channel("VehSpd").time is recording.channel("Pedal").time
    assert recording.faults == ()


def test_time_columns_repeated_for_each_rate(tmp_path: Path) -> None:
    lines = ["time;a;time;b", "s;km/h;s;degC"]
    for n in range(100):
        right = f"{n * 0.5};{n + 0.25}" if n < 20 else ";"
        lines.append(f"{n * 0.1:.1f};{n};{right}")
    recording = read_recording(text(tmp_path, "\n".join(lines) + "\n"))
    np.testing.assert_allclose(recording.channel("a").time, np.arange(100) * 0.1)
    np.testing.assert_allclose(recording.channel("b").time, np.arange(20) * 0.5)
    np.testing.assert_array_equal(recording.channel("b").values, np.arange(20) + 0.25)
    assert recording.faults == ()


def test_cells_without_a_reading_are_drop_outs_and_text_is_told(tmp_path: Path) -> None:
    lines = ["time [s],a [km/h],note"]
    lines += [f"{n * 0.1:.1f},{50 + n * 0.01:.2f},go" for n in range(100)]
    for row, cell in ((11, "n/a"), (12, "NaN"), (13, "---"), (41, "ERR 7")):
        stamp = lines[row].split(",")[0]
        lines[row] = f"{stamp},{cell},go"
    recording = read_recording(text(tmp_path, "\n".join(lines) + "\n"))
    assert [(f.kind, f.channel, round(f.start_s, 3), f.count) for f in recording.faults] == [
        (DROP_OUT, "a", 1.0, 3),
        (DROP_OUT, "a", 4.0, 1),
    ]
    assert recording.remarks == (
        "1 cells hold text instead of a number and are masked (line 42, column 'a': 'ERR 7').",
    )
    assert inspect_recording(tmp_path / "run.csv").left_out == ("note",)


def test_rows_that_do_not_fit_are_left_out_and_counted(tmp_path: Path) -> None:
    lines = ["time [s];a [km/h];b [%]"]
    lines += [f"{n * 0.1:.1f};{n};{n / 2}" for n in range(100)]
    lines[50] = "4.9;49"
    lines[60] = "5.9;59;29.5;7;7"
    recording = read_recording(text(tmp_path, "\n".join(lines) + "\n"))
    assert recording.channel("a").values.size == 98
    damaged = [f for f in recording.faults if f.kind == DAMAGED_ROW]
    assert sum(f.count for f in damaged) == 2
    assert "rows that do not have 3 cells" in damaged[0].words


def test_a_file_that_ends_in_a_number_says_that_it_may_be_cut(tmp_path: Path) -> None:
    recording = read_recording(
        text(tmp_path, "time [s];a\n" + "\n".join(f"{n};{n}" for n in range(9)))
    )
    assert recording.channel("a").values.size == 9
    assert "may be cut short" in recording.remarks[0]


def test_faults_of_stamps_are_told_per_rate(tmp_path: Path) -> None:
    lines = ["time,a,b", "s,km/h,%"]
    for n in range(300):
        if not 100 <= n < 150:
            lines.append(f"{n * 0.02:.2f},{n},{n if n % 5 == 0 else ''}")
    lines.insert(42, lines[41])
    recording = read_recording(text(tmp_path, "\n".join(lines) + "\n"))
    found = [(f.kind, f.channels, round(f.start_s, 2), round(f.end_s, 2)) for f in recording.faults]
    assert found == [
        (DUPLICATE, ("a",), 0.78, 0.78),
        (GAP, ("b",), 1.9, 3.0),
        (GAP, ("a",), 1.98, 3.0),
    ]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "empty"),
        ("hello\nworld\n", "No columns of numbers"),
        ("time [s];a\nx;y\n", "no rows of numbers|No columns of numbers"),
        ("time [s]\n1\n2\n", "No columns"),
        ("\0\0\0\0", "not a text file"),
    ],
)
def test_what_is_no_recording_is_refused(tmp_path: Path, content: str, words: str) -> None:
    with pytest.raises(FileProblem, match=words):
        read_recording(text(tmp_path, content))


def test_places_that_are_no_files(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="no such file"):
        read_recording(tmp_path / "none.csv")
    with pytest.raises(FileProblem, match="folder"):
        read_recording(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(FileProblem, match="plain file"):
            read_recording(tmp_path / "pipe")


# -- three ways to read a block give the same -----------------------------------------------


def columns_by(path: Path, layout: Layout, way: str) -> dict[int, Any]:
    remarks = Remarks()
    one = reader._CsvReader(path, layout, remarks)
    if way != "arrow":
        one.arrow = None
    if way == "cells":
        one._quick = lambda data: None  # type: ignore[method-assign]
    found: dict[int, Any] = {}
    for block in one.blocks():
        for number, (values, _) in block.columns.items():
            found[number] = (
                values if number not in found else np.ma.concatenate([found[number], values])
            )
    return found


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("block", [200, 1000, 1 << 20])
def test_pyarrow_numpy_and_cell_by_cell_agree(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, decimal: str, block: int
) -> None:
    rng = np.random.default_rng(4)
    mixed = {f"c{n}": ("km/h", np.where(rng.random(200) < 0.3, np.nan, rng.normal(0, 1e3, 200)))
             for n in range(5)}  # fmt: skip
    mixed["c5"] = ("km/h", rng.normal(0, 1, 200) * 10.0 ** rng.integers(-30, 30, 200))
    path = write_csv(tmp_path / "run.csv", TIME, mixed, separator=";", decimal=decimal)
    layout = inspect_csv(path)
    monkeypatch.setattr(reader, "BLOCK_BYTES", block)
    arrow, numpy_, cells = (columns_by(path, layout, w) for w in ("arrow", "numpy", "cells"))
    for number, (unit, values) in enumerate([("s", TIME), *mixed.values()]):
        del unit
        for way in (arrow, numpy_, cells):
            np.testing.assert_array_equal(np.ma.filled(way[number], np.nan), values)
            np.testing.assert_array_equal(np.ma.getmaskarray(way[number]), np.isnan(values))


def test_without_pyarrow_a_recording_still_opens(tmp_path: Path) -> None:
    # A module of that name that cannot be imported, found before the real one.
    hidden = tmp_path / "hidden"
    hidden.mkdir()
    (hidden / "pyarrow.py").write_text("raise ImportError('hidden')\n")
    path = write_csv(tmp_path / "run.csv", TIME, CHANNELS)
    code = (
        f"import sys; sys.path.insert(0, {str(hidden)!r})\n"
        "from calib_model.evidence.reading import read_recording\n"
        f"r = read_recording({str(path)!r})\n"
        "print(r.channel('VehSpd').values.size, r.faults)\n"
        "try: read_recording(sys.argv[1])\n"
        "except Exception as error: print(error)\n"
    )
    import subprocess
    import sys

    import pyarrow as pa
    import pyarrow.parquet as pq

    pq.write_table(pa.table({"time_s": TIME, "a": SPEED}), tmp_path / "run.parquet")
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "run.parquet")], capture_output=True, text=True,
        cwd=Path(__file__).resolve().parents[2],
    )  # fmt: skip
    lines = done.stdout.splitlines()
    assert lines[0] == "200 ()", done.stderr
    assert "needs the package pyarrow" in lines[1]
    assert "python -m pip install" in lines[1]
