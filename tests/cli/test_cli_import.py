"""`bitepoint import`: what it shows, takes, refuses and writes."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

import calib_model as cm
from app.__main__ import main
from calib_model.store import read_set
from tests.cli.answers import strict_json

NORMAL = Path(__file__).resolve().parents[2] / "sample_sets" / "larch_normal.h5"
CURVES = "speed [km/h],limit [N.m],fade\n0,3,1\n50,2.5,0.5\n"
DOUBTFUL = "v;f\n0;1,234\n1;2\n"
BLOCKED = "v,g\n0,1\n1,x\n"


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    (tmp_path / "curves.csv").write_text(CURVES)
    (tmp_path / "doubtful.csv").write_text(DOUBTFUL)
    (tmp_path / "blocked.csv").write_text(BLOCKED)
    return tmp_path


def test_what_is_clear_is_taken_with_a_history(
    desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = desk / "made.h5"
    about = ["--name", "Mine", "--programme", "Larch", "--mode", "wet", "--base-mode", "normal"]
    why = ["--author", "Ada Berg", "--reason", "From the bench"]
    assert main(["import", str(desk / "curves.csv"), "-o", str(out), *about, *why]) == 0
    said = capsys.readouterr().out
    stored = read_set(out)
    assert f"Digest {cm.digest(stored.set)}" in said
    assert f"Digest of values {cm.values_digest(stored.set)}" in said
    assert [t.id for t in stored.set] == ["limit", "fade"]
    assert (stored.set.name, stored.set.mode, stored.set.base_mode) == ("Mine", "wet", "normal")
    (entry,) = stored.history.views()
    assert (entry["title"], entry["author"], entry["reason"]) == (
        "Import from curves.csv", "Ada Berg", "From the bench",
    )  # fmt: skip
    assert main(["import", str(desk / "curves.csv"), "-o", str(out)]) == 2


def test_what_is_doubtful_is_listed_and_not_taken_silently(
    desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = desk / "made.h5"
    given = ["import", str(desk / "curves.csv"), str(desk / "doubtful.csv"), "-o", str(out)]
    assert main(given) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "'1,234' in line 2, column 2 could be read in two ways" in said
    assert "Nothing was taken" in said
    assert not out.exists()
    layout = desk / "layout.toml"
    assert main([*given, "--save-layout", str(layout)]) == 1
    assert main([*given, "--layout", str(layout)]) == 0
    assert read_set(out).set["f"].values[0] == 1.234
    out.unlink()
    assert main([*given, "--as-understood"]) == 0
    assert len(read_set(out).set) == 3


def test_what_is_blocked_is_never_half_taken(
    desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = desk / "made.h5"
    given = ["import", str(desk / "curves.csv"), str(desk / "blocked.csv"), "-o", str(out)]
    assert main([*given, "--as-understood"]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "blocked.csv, lines 1 to 3 'x' stands in line 3, column 2" in said
    assert not out.exists()
    # Without the table, or with the cell left unfilled, it goes.
    assert main([*given, "--only", "limit", "--only", "fa*"]) == 0
    assert [t.id for t in read_set(out).set] == ["limit", "fade"]


def test_the_help_shows_a_layout_with_every_key(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["import", "--help"]) == 0
    shown = capsys.readouterr().out
    for key in ("decimal", "turned", "storage", "cells", "sure", "order"):
        assert f"{key} = " in shown


def test_looking_writes_nothing_and_json_tells_all(
    desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(desk.iterdir())
    assert main(["import", str(desk), "--look", "--json", "-o", str(desk / "made.h5")]) == 1
    told = strict_json(capsys.readouterr().out)
    assert sorted(desk.iterdir()) == before
    by_id = {one["id"]: one for one in told["tables"]}
    limit = by_id["limit"]
    assert (limit["unit"], limit["shape"], limit["low"], limit["high"]) == ("N.m", [2], 2.5, 3)
    assert limit["axes"] == [
        {"name": "speed", "unit": "km/h", "quantity": "", "breakpoints": [0, 50]}
    ]
    assert limit["storage_proposed"] == "uint8, step 0.5"
    assert [doubt["blocks"] for doubt in told["doubts"]] == [True, False]
    assert main(["import", str(desk / "curves.csv")]) == 0
    assert "limit" in capsys.readouterr().out


def test_into_a_set_as_one_change_that_the_history_holds(
    desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    content = cm.open_set(NORMAL)
    table = content["slip_target"]
    frame = pd.DataFrame(table.values, table.axes[0].values, table.axes[1].values)
    frame.iloc[0, 0] += 0.5
    frame.rename_axis("Vehicle speed [km/h]").to_csv(desk / "slip_target.csv")
    files = [str(desk / "slip_target.csv"), str(desk / "curves.csv")]
    out = desk / "made.h5"
    assert main(["import", *files, "--into", str(NORMAL), "--look"]) == 0
    said = capsys.readouterr().out
    assert "1 of 36 cells, by up to 0.5 km/h" in said
    assert "no unit is said" in said
    assert said.count("vanished") == 41
    assert main(["import", *files, "--into", str(NORMAL), "-o", str(out), "--reason", "Bench"]) == 0
    made = read_set(out)
    assert made.set["slip_target"].values[0, 0] == frame.iloc[0, 0]
    assert len(made.set) == 44
    (entry,) = list(made.history.views())[-1:]
    assert (entry["title"], entry["reason"]) == (
        "Import from slip_target.csv, curves.csv", "Bench",
    )  # fmt: skip
    touched = [edit.get("table") or edit["after"]["id"] for edit in entry["edits"]]
    assert touched == ["slip_target", "limit", "fade"]
    # The same again changes nothing; the file stays as it is.
    data = out.read_bytes()
    assert main(["import", *files, "--into", str(out), "-o", str(out)]) == 0
    assert "Nothing changes" in capsys.readouterr().out
    assert read_set(out).set == made.set
    assert out.read_bytes() == data
    assert main(["import", *files, "--into", str(out), "-o", str(out), "--remove-vanished"]) == 0
    assert [t.id for t in read_set(out).set] == ["slip_target", "limit", "fade"]


def test_what_does_not_go_together_is_refused(
    desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    curves = str(desk / "curves.csv")
    for wrong in (
        [curves, "--into", str(NORMAL), "--name", "x"],
        [curves, curves, "--from", "csv", "-o", str(desk / "x.h5")],
        [curves, "--from", "csv"],
        [str(desk / "none.csv")],
        [curves, "--layout", curves],
    ):
        assert main(["import", *wrong]) == 2, wrong
        assert len(capsys.readouterr().err.splitlines()) == 1


def test_a_spreadsheet_and_netcdf_written_here_are_the_same_set(desk: Path) -> None:
    content = cm.open_set(NORMAL)
    for form, suffix in (("spreadsheet", "xlsx"), ("netcdf", "nc"), ("text", "txt")):
        (made,) = [cm.export_set(content, desk / f"x.{suffix}", form)]
        assert main(["import", str(made), "-o", str(desk / f"{suffix}.h5")]) == 0
        assert cm.digest(cm.open_set(desk / f"{suffix}.h5")) == cm.digest(content)
