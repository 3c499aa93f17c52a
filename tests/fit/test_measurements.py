"""Files of measurements as desks and benches write them, good and bad."""

from __future__ import annotations

import subprocess
import sys
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from calib_model.core.axis import Axis
from calib_model.core.table import Table
from calib_model.errors import FileProblem, UnitProblem
from calib_model.exchange import measurements
from calib_model.exchange.measurement_layout import unit_text
from calib_model.exchange.measurements import Choice, inspect, read_samples, suggested
from calib_model.shaping.fit import fit
from calib_model.shaping.samples import Samples
from tests.fit.making_fits import only

TABLE = Table(
    "current",
    [0.0, 10.0],
    (Axis(np.array([0.0, 12000.0]), "Clamp force", "N", "clamp"),),
    name="Motor current",
    unit="A",
)


def _file(folder: Path, text: str, encoding: str = "utf-8", name: str = "bench.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def _read(path: Path, **how: object) -> Samples:
    return read_samples(path, TABLE, [Choice("clamp")], Choice("amps"), **how)  # type: ignore[arg-type]


GOOD = [
    ("clamp,amps\n1000,1.5\n2000,2.5\n", "utf-8", ",", "."),
    ("clamp;amps\n1000;1.5\n2000;2.5\n", "utf-8", ";", "."),
    ("clamp;amps\n1000;1,5\n2000;2,5\n", "utf-8", ";", ","),
    ("clamp\tamps\r\n1000\t1,5\r\n2000\t2,5\r\n", "cp1252", "\t", ","),
    ("clamp amps\n1000   1.5\n2000  2.5\n", "utf-8", " ", "."),
    ("clamp|amps\n1000|1.5\n2000|2.5", "utf-8-sig", "|", "."),
    ("clamp;amps\n1000;1,5\n2000;2,5\n", "utf-16", ";", ","),
    ("Bench 7\nOperator; A\n\nclamp;amps\nN;A\n1000;1,5\n2000;2,5\n", "cp1252", ";", ","),
    ('"clamp","amps"\n"1000","1.5"\n"2000","2.5"\n', "utf-8", ",", "."),
    ("clamp [kN];amps [mA]\n1;1500\n2;2500\n", "utf-8", ";", "."),
    ("clamp (kN);amps (A)\n1;1,5\n2;2,5\n", "utf-8", ";", ","),
]  # fmt: skip


@pytest.mark.parametrize(("text", "encoding", "separator", "decimal"), GOOD)
def test_layouts_are_found_out(
    tmp_path: Path, text: str, encoding: str, separator: str, decimal: str
) -> None:
    path = _file(tmp_path, text, encoding)
    layout = inspect(path)
    assert (layout.separator, layout.decimal) == (separator, decimal)
    assert [c.name for c in layout.columns] == ["clamp", "amps"]
    samples = _read(path)
    np.testing.assert_allclose(samples.points[0], [1000, 2000])
    np.testing.assert_allclose(samples.values, [1.5, 2.5])
    first = text.splitlines().index(
        next(x for x in text.splitlines() if x[:2] in ("10", '"1', "1;"))
    )
    assert samples.line.tolist() == [first + 1, first + 2]


def test_a_file_without_a_header_numbers_its_columns(tmp_path: Path) -> None:
    path = _file(tmp_path, "1000;1.5\n2000;2.5\n")
    assert [c.name for c in inspect(path).columns] == ["column 1", "column 2"]
    samples = read_samples(path, TABLE, [Choice(1)], Choice("2", "mA"))
    np.testing.assert_allclose(samples.values, [0.0015, 0.0025])


def test_units_of_header_unit_row_and_choice(tmp_path: Path) -> None:
    path = _file(tmp_path, "clamp;heat;amps\nkN;\u00b0C;A\n1;20;1.5\n2;30;2.5\n")
    assert [c.unit for c in inspect(path).columns] == ["kN", "degC", "A"]
    heat = Table("warm", [0.0, 1.0], (Axis(np.array([200.0, 400.0]), "T", "K"),), unit="N")
    samples = read_samples(path, heat, [Choice("heat")], Choice("clamp"))
    np.testing.assert_allclose(samples.points[0], [293.15, 303.15])
    np.testing.assert_allclose(samples.values, [1000, 2000])
    with pytest.raises(UnitProblem, match="'clamp' is in 'kN', but Motor current is in 'A'"):
        read_samples(path, TABLE, [Choice("clamp")], Choice("clamp"))
    assert unit_text("Nm") == "N.m"
    assert unit_text("N·m") == "N.m"


def test_a_missing_unit_is_said(tmp_path: Path) -> None:
    samples = _read(_file(tmp_path, "clamp,amps\n1000,1.5\n2000,2.5\n"))
    assert samples.notes == (
        "Column 'clamp' states no unit; N was taken.",
        "Column 'amps' states no unit; A was taken.",
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("clamp;amps\n1000;1,500\n2000;2,500\n", "decimal comma or a thousands separator"),
        ("clamp;amps\n1000;1,5\n2000;2.5\n", "decimal comma or a thousands separator"),
        ("", "empty"),
        ("only words here\nand here\n", "No columns of numbers"),
        ("PK\0\0abc", "not a text file"),
    ],
)
def test_doubtful_files_are_refused(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(FileProblem, match=told):
        inspect(_file(tmp_path, text))


def test_the_decimal_mark_can_be_said(tmp_path: Path) -> None:
    path = _file(tmp_path, "clamp;amps\n1000;1,500\n2000;2,500\n")
    layout = inspect(path, decimal=",")
    np.testing.assert_allclose(_read(path, layout=layout).values, [1.5, 2.5])


def test_a_point_in_a_file_of_commas_is_never_a_factor_of_thousand(tmp_path: Path) -> None:
    path = _file(tmp_path, "clamp;amps\n1000;1,5\n2000;2,5\n" + "2000;2,5\n" * 300 + "3000;1.234\n")
    with pytest.raises(FileProblem, match=r"line 304, column 'amps': '1\.234' is not a number"):
        _read(path)


def test_text_in_a_number_column_is_refused_or_counted(tmp_path: Path) -> None:
    path = _file(tmp_path, "clamp,amps\n1000,1.5\n2000,over\n3000,\n4000,4.5\n")
    with pytest.raises(FileProblem, match="line 3, column 'amps': 'over' is not a number"):
        _read(path)
    samples = _read(path, skip_text=True)
    assert samples.line.tolist() == [2, 4, 5]
    assert np.isnan(samples.values[1])
    assert any("1 rows with text" in n and "line 3" in n for n in samples.notes)


def test_odd_numbers_are_not_read_as_numbers(tmp_path: Path) -> None:
    # Python's own float() would take 1_000 for a thousand.
    path = _file(tmp_path, "clamp,amps\n1000,1.5\n1_000,2.5\n")
    with pytest.raises(FileProblem, match="'1_000' is not a number"):
        _read(path)


def test_columns_that_do_not_exist_or_are_ambiguous(tmp_path: Path) -> None:
    path = _file(tmp_path, "clamp,amps,amps\n1,2,3\n4,5,6\n")
    with pytest.raises(FileProblem, match="2 columns are called 'amps'"):
        _read(path)
    with pytest.raises(FileProblem, match="no column 'force'"):
        inspect(path).column("force")
    with pytest.raises(FileProblem, match="Cannot be read"):
        inspect(tmp_path / "none.csv")
    with pytest.raises(FileProblem, match="0 columns were chosen"):
        read_samples(path, TABLE, [], Choice(2))


def test_columns_are_suggested_by_name_only_where_that_is_plain(tmp_path: Path) -> None:
    path = _file(tmp_path, "Clamp Force [kN];motor current [A];clamp force 2 [kN]\n1;2;3\n4;5;6\n")
    assert suggested(inspect(path), TABLE) == {"1": "Clamp Force", "value": "motor current"}
    path = _file(tmp_path, "clamp [K];current [A]\n1;2\n4;5\n", name="other.csv")
    assert suggested(inspect(path), TABLE) == {"value": "current"}


def test_units_under_test_are_read_as_names(tmp_path: Path) -> None:
    path = _file(tmp_path, "who;clamp;amps\nnew 1;1;2\nold;2;3\nnew 1;3;4\n")
    samples = _read(path, specimen="who")
    assert samples.specimens == ("new 1", "old")
    assert [samples.specimen_of(n) for n in range(3)] == ["new 1", "old", "new 1"]


@pytest.fixture
def small_spool(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(measurements, "SPOOL_ROWS", 50_000)
    monkeypatch.setattr(measurements, "BLOCK", 1 << 18)


def _many(folder: Path, rows: int) -> Path:
    rng = np.random.default_rng(0)
    path = folder / "many.csv"
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write("clamp;amps\nkN;A\n")
        for start in range(0, rows, 100_000):
            count = min(100_000, rows - start)
            force = rng.uniform(0, 12, count)
            amps = force * 10 / 12 + rng.normal(size=count) * 0.1
            lines = [f"{f:.3f};{a:.3f}\n" for f, a in zip(force, amps, strict=True)]
            file.write("".join(lines))
    return path


def test_many_rows_go_to_a_temporary_file_and_little_memory(
    tmp_path: Path, small_spool: None
) -> None:
    path = _many(tmp_path, 200_000)
    tracemalloc.start()
    samples = _read(path)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert isinstance(samples.points[0], np.memmap)
    # Two columns, lines and mask of 200,000 rows would be 5 MB; a block's text with its lines
    # split is what counts, however many rows there are.
    assert peak < 12e6
    assert len(samples) == 200_000
    assert samples.line_of(199_999) == 200_002
    found = fit(only(TABLE), "current", samples)
    np.testing.assert_allclose(found.values("current"), [0, 10], atol=0.01)
    assert found.fits["current"].sigma == pytest.approx(0.1, rel=0.02)


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_ten_million_rows(tmp_path: Path, record_property: Callable[[str, object], None]) -> None:
    resource = pytest.importorskip("resource")  # not on Windows
    assert resource.RUSAGE_SELF is not None
    part = _many(tmp_path, 500_000).read_text(encoding="utf-8").splitlines(keepends=True)
    path = tmp_path / "ten_million.csv"
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write("".join(part[:2]))
        for _ in range(20):
            file.write("".join(part[2:]))
    code = f"""
import resource, sys
from pathlib import Path
from tests.fit.test_measurements import TABLE, _read
from tests.fit.making_fits import only
from calib_model.shaping.fit import fit
import calib_model.shaping.fit_error, calib_model.lookup.compiled as compiled
compiled.load()
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
samples = _read(Path({str(path)!r}))
read = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
found = fit(only(TABLE), "current", samples)
after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(len(samples), *found.values("current"), read - before, after - before)
"""
    root = Path(__file__).resolve().parents[2]
    ran = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    count, low, high, read, fitted = map(float, ran.stdout.split())
    assert count == 10_000_000
    np.testing.assert_allclose([low, high], [0, 10], atol=0.001)
    unit = 1 if sys.platform == "darwin" else 1024
    # Four columns of doubles would be 320 MB.  Pages of the temporary file that the system keeps
    # at hand count here as well, though it can take them back at any time.
    assert read * unit < 200e6
    assert fitted * unit < 600e6
    record_property("10 million rows: megabytes to read, to fit", (read / 1e3, fitted / 1e3))
