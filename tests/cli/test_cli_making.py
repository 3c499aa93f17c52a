"""`new`, `table` and `set`: a set made from nothing on the command line."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from calib_model.core.table import Table
from calib_model.store import read_set
from tests.cli.answers import strict_json

Run = Callable[..., tuple[int, str, str]]
NORMAL = Path(__file__).parents[2] / "sample_sets" / "larch_normal.h5"


@pytest.fixture
def made(run: Run, tmp_path: Path) -> Path:
    """A set with a map, a curve over states, and a scalar of yes or no."""
    path = tmp_path / "mine.h5"
    for arguments in (
        ("new", path, "--programme", "Larch", "--mode", "normal", "--name", "Mine"),
        ("table", path, "add", "creep", "--axis", "ambient_temperature: -20 0 20", "--axis",
         "pedal [%]: 0, 25, 50", "--unit", "N.m", "--limits", "0", "450", "--store", "uint16",
         "0.5", "--fill", "40", "--name", "Creep torque", "--function", "clutch", "-o", path),
        ("table", path, "add", "wash", "--axis", "wiper_state: off interval slow fast",
         "--yes-no", "--fill", "no", "-o", path),
        ("table", path, "add", "awake", "--yes-no", "--fill", "yes", "-o", path),
    ):  # fmt: skip
        status, _, err = run(*arguments, *(("--author", "A. Calibrator")))
        assert (status, err) == (0, "")
    return path


def test_a_set_is_made_from_nothing(run: Run, made: Path) -> None:
    stored = read_set(made)
    content = stored.set
    assert (content.programme, content.mode, content.is_base) == ("Larch", "normal", True)
    creep = content["creep"]
    assert (creep.name, creep.unit, creep.upper, creep.function) == (
        "Creep torque", "N.m", 450, "clutch",
    )  # fmt: skip
    assert [a.quantity for a in creep.axes] == ["ambient_temperature", "pedal"]
    assert [a.unit for a in creep.axes] == ["degC", "%"]
    assert str(creep.storage) == "uint16, step 0.5"
    assert (creep.values == 40).all()
    assert content["wash"].axes[0].labels.names == ("off", "interval", "slow", "fast")
    assert content["wash"].axes[0].interpolation == "step"
    assert float(content["awake"].values) == 1
    assert [e["author"] for e in stored.history.entries()] == ["A. Calibrator"] * 3
    status, out, _ = run("show", made, "wash")
    assert status == 0
    assert "0 no, 1 yes" in out


def test_cells_are_set_by_breakpoints_labels_and_sums(run: Run, made: Path) -> None:
    status, out, _ = run(
        "set", made, "creep", "+10%", "--at", "pedal=25..50", "--at", "ambient_temperature=0",
        "-o", made, "--reason", "Trip in the snow", "--author", "B. Calibrator",
    )  # fmt: skip
    assert status == 0
    assert out.startswith("Raise 2 cells of Creep torque by 10 % of what is there.\n")
    rows = [line.split() for line in out.splitlines()[2:5]]
    assert rows[0] == ["Ambient", "temperature", "Pedal", "before", "after", "difference"]
    assert rows[1:] == [
        ["0", "°C", "25", "%", "40", "44", "+4"],
        ["0", "°C", "50", "%", "40", "44", "+4"],
    ]
    stored = read_set(made)
    assert stored.set["creep"].values.tolist() == [[40, 40, 40], [40, 44, 44], [40, 40, 40]]
    last = list(stored.history.entries())[-1]
    assert (last["reason"], last["author"]) == ("Trip in the snow", "B. Calibrator")
    assert run("set", made, "wash", "Yes", "--at", "wiper_state=slow,fast", "-o", made)[0] == 0
    assert read_set(made).set["wash"].values.tolist() == [0, 0, 1, 1]
    for value, expected in (("-3%", 38.8), ("-5", -5.0), ("+-5", 35.0), ("=2*30", 60.0)):
        status, out, err = run("set", made, "creep", value, "--at", "1=20", "--at", "2=0", "--json")
        assert (status, err) == (0, "")
        (cell,) = strict_json(out)["cells"]
        assert (cell["at"], cell["before"], cell["after"]) == ([20, 0], 40, expected)
    assert read_set(made).set["creep"].values[2, 0] == 40  # shown only, without -o


def test_a_block_comes_from_a_file(run: Run, made: Path, tmp_path: Path) -> None:
    block = tmp_path / "block.txt"
    block.write_text("1\t2,5\n3\t4\n")
    out = tmp_path / "new.h5"
    status, _, err = run(
        "set", made, "creep", "--values", block, "--at", "1=-20..0", "--at", "pedal=25..50",
        "-o", out,
    )  # fmt: skip
    assert (status, err) == (0, "")
    assert read_set(out).set["creep"].values.tolist() == [[40, 1, 2.5], [40, 3, 4], [40, 40, 40]]
    assert read_set(made).set["creep"].values[0, 1] == 40


def _first(table: Table) -> float:
    return round(float(table.axes[0].values[0]), 9)


@pytest.mark.parametrize(
    ("words", "check"),
    [
        (("copy", "creep", "creep2"), lambda s: s["creep2"].name == "Creep torque (copy)"),
        (("add", "creep3", "--like", "creep"), lambda s: np.isnan(s["creep3"].values).all()),
        (("rename", "creep", "crawl", "--name", "Crawl"), lambda s: s["crawl"].name == "Crawl"),
        (("remove", "wash"), lambda s: "wash" not in s),
        (("unit", "creep", "kN.m"), lambda s: s["creep"].values[0, 0] == 0.04),
        (("unit", "creep", "K", "--of", "1"), lambda s: _first(s["creep"]) == 253.15),
        (("storage", "creep", "uint8", "16"), lambda s: s["creep"].values[0, 0] == 32),
        (("label", "awake", "0 asleep, 1 awake"), lambda s: s["awake"].said(1) == "awake"),
        (("label", "wash", "", "--of", "wiper_state"), lambda s: not s["wash"].axes[0].labels),
        (("transpose", "creep"), lambda s: s["creep"].axes[0].name == "Pedal"),
        (("add-axis", "creep", "wiper_state: dry wet", "--first"),
         lambda s: s["creep"].shape == (2, 3, 3)),
        (("drop-axis", "wash", "1", "slow"), lambda s: s["wash"].kind == "scalar"),
        (("insert", "creep", "pedal", "75"), lambda s: s["creep"].shape == (3, 4)),
        (("delete", "wash", "wiper_state", "Interval"), lambda s: s["wash"].shape == (3,)),
        (("share", "creep", "pedal", "axis.pedal"), lambda s: s.shared_axes["axis.pedal"]),
    ],
)  # fmt: skip
def test_every_action_is_shown_first_and_written_when_asked(
    run: Run, made: Path, tmp_path: Path, words: tuple[str, ...], check: Callable[..., bool]
) -> None:
    before = made.read_bytes()
    status, out, err = run("table", made, *words)
    assert (status, err) == (0, "")
    assert "Nothing is written; name a file with -o." in out
    new = tmp_path / "new.h5"
    assert run("table", made, *words, "-o", new)[0] == 0
    assert made.read_bytes() == before
    assert check(read_set(new).set)
    assert strict_json(run("table", made, *words, "--json")[1])["change"]


def test_a_set_like_another_takes_its_tables_and_no_record(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "sand.h5"
    assert run("new", out, "--like", NORMAL, "--mode", "sand", "--name", "Sand")[0] == 0
    old, new = read_set(NORMAL).set, read_set(out)
    assert dict(new.set.tables) == dict(old.tables)
    assert (new.set.mode, new.set.base_mode, new.set.programme) == ("sand", "normal", "Larch")
    assert not new.set.record
    assert not len(new.history)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("table", "SET", "add", "creep"), "a table 'creep' already"),
        (("table", "SET", "add", "x y"), "cannot be an id"),
        (("table", "SET", "add", "x", "--axis", "pedal: 50 25"), "do not rise strictly"),
        (("table", "SET", "add", "x", "--axis", "pedal: 0,25"), "could be one number or several"),
        (("table", "SET", "add", "x", "--axis", "pedal"), "is no axis"),
        (
            ("table", "SET", "add", "x", "--axis", "load [nonsense]: 0 1"),
            "Unit 'nonsense' of load is not known",
        ),
        (("table", "SET", "add", "x", "--axis", "w: off slow OFF"), "used twice"),
        (("table", "SET", "add", "x", "--axis", "@axis.x"), "no shared axis 'axis.x'"),
        (("table", "SET", "add", "x", "--unit", "nonsense"), "Unit 'nonsense' is not known"),
        (("table", "SET", "fill", "creep"), "no action 'fill'"),
        (("table", "SET", "copy", "creep"), "copy takes NEW after the table"),
        (("table", "SET", "copy", "creeep", "x"), "Perhaps creep"),
        (("table", "SET", "unit", "creep", "km/h"), "cannot be converted"),
        (("table", "SET", "storage", "creep", "uint7", "1"), "uint7"),
        (("table", "SET", "drop-axis", "creep", "pedal", "30"), "no breakpoint at 30 %"),
        (("table", "SET", "drop-axis", "creep", "load", "30"), "has no axis 'load'"),
        (("table", "SET", "rename", "creep"), "Neither a new id nor a name"),
        (("table", "SET", "insert", "wash", "1", "slow"), "There is a breakpoint 'slow' already"),
        (("set", "SET", "creep", "60", "--at", "pedal=30"), "no breakpoint at 30 %"),
        (("set", "SET", "creep", "60", "--at", "pedal"), "names no place"),
        (("set", "SET", "creep", "60", "--at", "pedal=0", "--at", "2=25"), "names its axis again"),
        (("set", "SET", "wash", "maybe"), "no label here. The labels are 0 no, 1 yes"),
        (("set", "SET", "creep", "=2**3"), "is not understood"),
        (("set", "SET", "creep"), "Neither a value nor a file of values"),
        (("set", "SET", "creep", "1", "-o", "OTHER"), "such a file already"),
        (("new", "SET", "--programme", "a", "--mode", "b"), "such a file already"),
        (("new", "NEW"), "Add --programme and --mode"),
    ],
)
def test_bad_input_is_one_line_with_place_and_remedy(
    run: Run, made: Path, tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    other = tmp_path / "other.h5"
    other.write_bytes(b"x")
    named = {"SET": made, "OTHER": other, "NEW": tmp_path / "new.h5"}
    before = made.read_bytes()
    status, out, err = run(*(named.get(word, word) for word in words))
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert re.search(said, err), err
    assert made.read_bytes() == before
    assert not (tmp_path / "new.h5").exists()
